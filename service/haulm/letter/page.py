"""The static pages of a garden: plain HTML that works from a folder, without a script."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from markupsafe import Markup, escape

from haulm.letter import amounts
from haulm.letter.dates import Coming
from haulm.letter.render import Picture, html_environment
from haulm.letter.season import CAUTION
from haulm.settings.explain import Explained

TODAY, ARCHIVE, REVIEW = "index.html", "letters.html", "review.html"
_MAIN = re.compile(r"<main>.*</main>", re.DOTALL)
_PICTURE = re.compile(r'(<img src=")[^"]+(")')


@dataclass(frozen=True, slots=True)
class Link:
    """One page as the others name it: its file in the folder, and its name."""

    file: str
    name: str


HELP = (
    Link("how.html", "How the numbers come about"),
    Link("words.html", "Words"),
    Link("thresholds.html", "Thresholds"),
)


@dataclass(frozen=True, slots=True)
class Listed:
    """One letter of the archive: its day and subject, its own page, and its picture if it has one."""

    day: date
    subject: str
    file: str
    picture: str | None


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a bed's season: what a letter said, or what the grower noted."""

    day: date
    what: str
    noted: bool


@dataclass(frozen=True, slots=True)
class StageRow:
    """One step of a planting's season: what came, and when, noted or estimated, told or still ahead."""

    name: str
    when: str
    noted: bool
    ahead: bool = False


@dataclass(frozen=True, slots=True)
class BedWindows:
    """The planting windows of one bed: how they were reckoned, each with its rows, and the picture of the year."""

    name: str
    intro: str
    windows: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    picture: Picture | None


def plain_html(text: str) -> str:
    """The HTML of a letter of which only plain text is left: its paragraphs, the first of them the heading."""
    heading, *paragraphs = (escape(one) for one in text.strip().split("\n\n"))
    body = "".join(f"<p>{one}</p>\n" for one in paragraphs)
    return f"<main>\n<h1>{heading}</h1>\n{body}</main>"


def letter_page(letter: Listed, html: str, links: Sequence[Link], here: str) -> str:
    """A stored letter (its HTML) with the way to the other pages; `here` is its file in the folder."""
    found = _MAIN.search(html)
    up = "../" * here.count("/")
    picture = f"{up}{letter.picture}" if letter.picture else ""
    # The letter is haulm's own HTML, escaped when it was written.
    main = Markup(_PICTURE.sub(rf"\g<1>{picture}\g<2>", found.group() if found else ""))  # noqa: S704
    return _page("letter.html", links, here, title=letter.subject, main=main)


def nothing_page(name: str, links: Sequence[Link]) -> str:
    """The first page before the first letter."""
    return _page("nothing.html", links, TODAY, title=name)


def archive_page(letters: Iterable[Listed], links: Sequence[Link]) -> str:
    """All letters, newest first, by month."""

    def month(one: Listed) -> str:
        return f"{amounts.MONTHS[one.day.month - 1]} {one.day.year}"

    newest = sorted(letters, key=lambda one: one.day, reverse=True)
    months = [
        (name, [{"subject": one.subject, "file": one.file} for one in each])
        for name, each in groupby(newest, key=month)
    ]
    return _page("archive.html", links, ARCHIVE, months=months)


def bed_page(
    link: Link,
    links: Sequence[Link],
    stages: Iterable[StageRow],
    pictures: Iterable[Picture],
    coming: Iterable[Coming],
    rows: Iterable[Row],
) -> str:
    """One planting's season so far: its stages, its pictures, what is coming, what was said and noted, newest first."""
    listed = [
        {"day": _day(row.day), "what": row.what, "noted": row.noted}
        for row in sorted(rows, key=lambda row: row.day, reverse=True)
    ]
    ahead = [{"day": amounts.full_day(one.day), "title": one.title, "told": one.told} for one in coming]
    return _page(
        "bed.html", links, link.file, title=link.name, stages=list(stages), pictures=list(pictures), coming=ahead,
        rows=listed,
    )  # fmt: skip


def lines_page(
    link: Link, links: Sequence[Link], parts: Iterable[tuple[str, Sequence[str]]], picture: Picture | None = None
) -> str:
    """A page of paragraphs under headings; a heading may be empty."""
    return _page("lines.html", links, link.file, title=link.name, parts=parts, picture=picture)


def windows_page(link: Link, links: Sequence[Link], beds: Iterable[BedWindows]) -> str:
    """When to plant, for each bed: the windows of its year and a picture of them."""
    return _page("windows.html", links, link.file, title=link.name, beds=list(beds), caution=CAUTION)


def help_pages(links: Sequence[Link], tables: Iterable[tuple[str, Sequence[Explained]]]) -> dict[str, str]:
    """The pages that explain: the trade's words, how the numbers come about, every threshold with its reason."""
    return {
        HELP[0].file: _page("how.html", links, HELP[0].file),
        HELP[1].file: _page("words.html", links, HELP[1].file),
        HELP[2].file: _page("thresholds.html", links, HELP[2].file, tables=tables),
    }


def _day(day: date) -> str:
    return f"{amounts.WEEKDAYS[day.weekday()]} {day.day} {amounts.MONTHS[day.month - 1][:3]}"


def _page(template: str, links: Sequence[Link], here: str, **more: object) -> str:
    found = html_environment().get_template(f"page/{template}")
    return found.render(links=links, help_links=HELP, here=here, up="../" * here.count("/"), **more)
