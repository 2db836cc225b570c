"""A decision written out: the letter in each of its forms, its picture drawn once."""

import json
from dataclasses import dataclass

from haulm.advice import Decision
from haulm.letter import chart
from haulm.letter.as_json import as_json
from haulm.letter.compose import MORNING, compose
from haulm.letter.render import Picture, as_html, as_text
from haulm.settings.thresholds import Thresholds
from haulm.store.letters import StoredLetter


@dataclass(frozen=True, slots=True)
class Forms:
    """One letter as it may be read: plain text, HTML beside its picture, and JSON."""

    subject: str
    text: str
    html: str
    json: str
    picture: bytes | None


def files_of(forms: Forms | StoredLetter) -> dict[str, bytes]:
    """The bytes of each form by the ending of its file."""
    files = {"txt": forms.text.encode(), "html": forms.html.encode(), "json": forms.json.encode()}
    return files | ({"png": forms.picture} if forms.picture is not None else {})


def write_out(
    decision: Decision,
    thresholds: Thresholds,
    picture_name: str,
    *,
    with_picture: bool = True,
    kind: str = MORNING,
) -> Forms:
    """The letter of a decision.

    Parameters
    ----------
    picture_name
        How the HTML names the picture: a file beside it, or ``cid:…`` in a mail.
    kind
        "morning", or a kind of evening's letter.
    """
    letter = compose(decision, thresholds, kind)
    subject_of_picture = chart.choose(decision.conditions) if with_picture else None
    drawn, picture = None, None
    if subject_of_picture is not None:
        drawn = chart.soil_chart(subject_of_picture, decision.timeline, thresholds)
        picture = Picture(picture_name, chart.alt_text(subject_of_picture, decision.timeline, thresholds))
    return Forms(
        subject=letter.subject,
        text=as_text(letter),
        html=as_html(letter, picture),
        json=json.dumps(as_json(letter, decision), ensure_ascii=False, indent=1),
        picture=drawn,
    )
