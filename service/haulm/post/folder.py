"""A letter put into a folder, a file for each of its forms."""

import hashlib
import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path

from haulm.errors import DeliveryError
from haulm.files import explain, make_folder, sweep, write_together
from haulm.steps import Step

FORMS = ("txt", "html", "json", "png")

_LONGEST_NAME = 60


def put_in_folder(
    folder: Path, garden: str, kind: str, day: date, forms: Mapping[str, bytes], *, mode: int = 0o600,
    tidy: bool = True,
) -> tuple[Path, ...]:  # fmt: skip
    """Write a letter's forms as ``YYYY/MM/YYYY-MM-DD-garden-kind.form`` below a folder, in place of older ones.

    Parameters
    ----------
    forms
        The bytes of each form by its ending, one of `FORMS`.
    mode
        Who may read the files; the folders that have to be made are open to their owner alone.
    tidy
        Look through the folder for what runs that were cut off have left: once for all letters of a run.

    Returns
    -------
    tuple of Path
        The files written, in the order of `forms`.

    Raises
    ------
    DeliveryError
        They cannot be written; nothing half written is left.
    """
    unknown = set(forms) - set(FORMS)
    if unknown:
        raise ValueError(f"not a form of a letter: {', '.join(sorted(unknown))}")
    place = _month(folder, day)
    stem = letter_stem(garden, kind, day)
    files = {place / f"{stem}.{form}": data for form, data in forms.items()}
    try:
        make_folder(place)
        write_together(files, Step.FOLDER_FILLED, mode, tidy=tidy)
    except OSError as fault:
        what, remedy = explain(fault)
        raise DeliveryError(f"the letter could not be put there: {what}", where=str(place), remedy=remedy) from fault
    # The last run of a month may have been cut off, and nothing more is written there.
    if tidy:
        sweep(_month(folder, day.replace(day=1) - timedelta(days=1)), next(iter(files), place))
    return tuple(files)


def take_from_folder(folder: Path, garden: str, kind: str, day: date) -> dict[str, bytes]:
    """The forms of a letter that lie in a folder and can be read, by their ending; none if it was never put there."""
    place, stem = _month(folder, day), letter_stem(garden, kind, day)
    found: dict[str, bytes] = {}
    for form in FORMS:
        with suppress(OSError):
            found[form] = (place / f"{stem}.{form}").read_bytes()
    return found


def _month(folder: Path, day: date) -> Path:
    return folder / f"{day:%Y}" / f"{day:%m}"


def letter_stem(garden: str, kind: str, day: date) -> str:
    """The name that a letter's files share, without their endings; its page finds its picture by it."""
    return f"{day.isoformat()}-{safe_name(garden)}-{safe_name(kind)}"


def safe_name(text: str) -> str:
    """A name as a part of a file name: letters, digits, ``_`` and ``-`` alone.

    A name that had to be changed carries a mark of what it was, so that two gardens never share a file.
    """
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", text).strip("-")[:_LONGEST_NAME]
    if plain and plain == text:
        return plain
    mark = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{plain}-{mark}" if plain else mark
