"""The letter set as text and as HTML."""

import re
import textwrap
from dataclasses import dataclass
from functools import lru_cache

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from haulm.advice import Letter
from haulm.letter.amounts import full_day
from haulm.letter.words import TEMPLATES, text_environment

COLUMNS = 72
NO_BREAK = "\u00a0"
# A number stays with what it counts, a day with its month.
_TOGETHER = re.compile(
    r"(?<=\d) (?=(?:°|%|mm|cm|m|km|in|ft|mph|l|litres?|gallons?|kg|lb|days?|hours?|years?|miles?|[A-Z][a-z]+)\b|%|°)"
    r"|(?<=\bthe) (?=\d+(?:st|nd|rd|th)\b)"
    r"|(?<=\bMon|\bTue|\bWed|\bThu|\bFri|\bSat|\bSun) (?=\d)"
)


@dataclass(frozen=True, slots=True)
class Picture:
    """Where the letter's picture is found (`cid:…` or a file name), and what it shows in words."""

    source: str
    alt: str


def as_text(letter: Letter) -> str:
    """The letter as plain text in lines of at most 72 characters (a longer word stands alone)."""
    template = text_environment().get_template("letter.txt")
    text = template.render(letter=letter, date=full_day(letter.day), wrap=_wrap)
    return re.sub(r"\n{3,}", "\n\n", text).strip("\n").replace(NO_BREAK, " ") + "\n"


def as_html(letter: Letter, picture: Picture | None = None) -> str:
    """The letter as one HTML document that loads nothing but its picture."""
    template = html_environment().get_template("letter.html")
    return template.render(letter=letter, date=full_day(letter.day), picture=picture)


@lru_cache(maxsize=1)
def html_environment() -> Environment:
    """The templates as HTML: escaped, and strict about what is missing."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES, encoding="utf-8"),
        undefined=StrictUndefined,
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["together"] = _together
    return environment


def _together(text: str) -> str:
    return _TOGETHER.sub(NO_BREAK, text)


def _wrap(text: str, indent: int, hang: int = 0) -> str:
    return textwrap.fill(
        _together(text),
        width=COLUMNS,
        initial_indent=" " * indent,
        subsequent_indent=" " * (indent + hang),
        break_long_words=False,
        break_on_hyphens=False,
    )
