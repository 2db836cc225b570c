"""Links in a letter that open an answer: each carries a signed word that tells whose answer it is, and until when.

The word is bound to garden, bed, letter and recipient by a key that never leaves this machine (HMAC-SHA256, RFC 2104).
"""

import base64
import hashlib
import hmac
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape
from textwrap import fill
from urllib.parse import quote

_MARK = re.compile(r"\[H([0-9]{6})[a-z]-[A-Z2-7]{16}\]")  # ASCII alone: what is compared in constant time has to be
KINDS = ("morning", "evening", "evening-worse")  # of letters that carry links
_BASIS = '<section class="basis">'
_BASIS_TITLE = "What this is based on"
COLUMNS = 72  # as the rest of the letter
HOW = "Answer in plain words, a line each, or use a link:"


@dataclass(frozen=True, slots=True)
class Offer:
    """An answer that a letter offers: what the link is called, the bed it is about (key and name), its words.

    `asked` is the sentence that it makes clear, where it does.
    """

    label: str
    bed: str
    bed_name: str
    phrase: str
    asked: str = ""


@dataclass(frozen=True, slots=True)
class Letter:
    """The letter that an answer belongs to."""

    garden: str
    kind: str
    day: date


@dataclass(frozen=True, slots=True)
class Whose:
    """What a good mark tells: the bed its link was about, and to whom the letter went."""

    bed: str
    recipient: str
    day: date


def mark(key: bytes, letter: Letter, bed: str, recipient: str) -> str:
    """The signed word of one link."""
    signed = base64.b32encode(_digest(key, letter, bed, recipient)[:10]).decode("ascii")
    return f"[H{letter.day:%y%m%d}{letter.kind[0]}-{signed}]"


def has_mark(text: str) -> bool:
    """Whether a mark stands somewhere, good or not: an answer's own words hold none, a quoted header does."""
    return _MARK.search(text) is not None


def whose(
    key: bytes,
    subject: str,
    garden: str,
    beds: Iterable[str],
    recipients: Iterable[str],
    today: date,
    good_for: timedelta,
) -> Whose | None:
    """What a subject's mark tells; None where there is none, it is forged, foreign or too old.

    A mark of a day to come is good as well, for only this machine signs: one of its clocks, then or now, is wrong.
    """
    found = _MARK.search(subject)
    if found is None:
        return None
    told = found[1]
    try:
        day = date(2000 + int(told[:2]), int(told[2:4]), int(told[4:]))
    except ValueError:
        return None
    if abs(today - day) > good_for:
        return None
    known = list(recipients)
    for kind in KINDS:
        for bed in beds:
            for recipient in known:
                if hmac.compare_digest(found.group(), mark(key, Letter(garden, kind, day), bed, recipient)):
                    return Whose(bed, recipient, day)
    return None


def with_links(
    text: str, html: str, offers: Iterable[Offer], letter: Letter, recipient: str, address: str, key: bytes
) -> tuple[str, str]:  # fmt: skip
    """The letter's text and HTML for one recipient, with the ways to answer before what it is based on."""
    links = [(offer, _mailto(offer, letter, recipient, address, key)) for offer in offers]
    if not links:
        return text, html
    asked = dict.fromkeys(offer.asked for offer, _ in links if offer.asked)
    lists = [(f"“{sentence}” was not clear. What did it mean?", sentence) for sentence in asked]
    lists += [(HOW, "")] if any(not offer.asked for offer, _ in links) else []
    listed = "".join(_list(title, [pair for pair in links if pair[0].asked == sentence]) for title, sentence in lists)
    section = f'<section class="answers">\n<h2>Tell haulm</h2>\n{listed}</section>\n'
    phrases = "; ".join(dict.fromkeys(offer.phrase for offer, _ in links))
    phrases = fill(phrases, COLUMNS, initial_indent="    ", subsequent_indent="    ", break_on_hyphens=False)
    plain = f"Tell haulm\n\n  Answer this letter in plain words, a line each:\n{phrases}\n\n"
    return _before(text, _BASIS_TITLE, plain), _before(html, _BASIS, section)


def _list(title: str, links: Iterable[tuple[Offer, str]]) -> str:
    items = "\n".join(f'<li><a href="{escape(link)}">{escape(_named(offer))}</a></li>' for offer, link in links)
    return f"<p>{escape(title, quote=False)}</p>\n<ul>\n{items}\n</ul>\n"


def _mailto(offer: Offer, letter: Letter, recipient: str, address: str, key: bytes) -> str:
    what = offer.label if offer.asked else f"{offer.bed_name}: {offer.label}"
    subject = f"{what} {mark(key, letter, offer.bed, recipient)}"
    return f"mailto:{quote(address, safe='@')}?subject={quote(subject)}&body={quote(offer.phrase)}"


def _named(offer: Offer) -> str:
    return offer.label if offer.asked else f"{offer.label} ({offer.bed_name})"


def _before(whole: str, what: str, added: str) -> str:
    head, found, tail = whole.rpartition(what)
    return f"{head}{added}{found}{tail}" if found else f"{whole}\n{added}"


def _digest(key: bytes, letter: Letter, bed: str, recipient: str) -> bytes:
    told = "\0".join((letter.garden, letter.kind, letter.day.isoformat(), bed, recipient.casefold()))
    return hmac.new(key, told.encode("utf-8"), hashlib.sha256).digest()
