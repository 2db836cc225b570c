"""The text of Meteostat's bulk files: unpacked within bounds, and freed of lines that would cost the whole year.

The library gives up a whole file for one line that is broken or stands there twice. Here such a line is left out and
told by its number.
"""

import gzip
import math
import zlib
from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from haulm.errors import Complaint, SourceError

# A year of hours is about 1.3 MB of text; far more than that is no file of one year.
MOST_BYTES = 24 * 1024 * 1024
TOLD_LINES = 3
_REMEDY = "Nothing to do now: the next morning asks again. If it stays so, choose another station."


@dataclass(frozen=True, slots=True)
class Tidy:
    """A file's text with every line well formed, in order of time, none twice; `count` is how many they are."""

    text: bytes
    count: int
    complaints: tuple[Complaint, ...]


def pack(text: bytes) -> bytes:
    """The text packed as the files are; the same text gives the same bytes."""
    return gzip.compress(text, mtime=0)


def unpack(body: bytes, where: str) -> bytes:
    """The text of a file as fetched, packed or not.

    Raises
    ------
    SourceError
        It is cut off, damaged, far too long, or no such file.
    """
    text = body
    if body.startswith(b"\x1f\x8b"):
        unpacker = zlib.decompressobj(wbits=31)
        try:
            text = unpacker.decompress(body, MOST_BYTES)
        except zlib.error as error:
            raise SourceError("the packed file is damaged", where=where, remedy=_REMEDY) from error
        if unpacker.unconsumed_tail:
            raise SourceError(f"the file is longer than {MOST_BYTES} bytes: given up", where=where, remedy=_REMEDY)
        if not unpacker.eof:
            raise SourceError("the packed file is cut off", where=where, remedy=_REMEDY)
    if not text.startswith(b"year,"):
        raise SourceError("that is no file of a station: its first line is another", where=where, remedy=_REMEDY)
    return text


def tidy(text: bytes, clock: tuple[str, ...], where: str) -> Tidy:
    """The text without its faulty lines. `clock` are the first columns, which tell the time of a line.

    Raises
    ------
    SourceError
        The first line does not name these columns, or no line is left.
    """
    lines = text.decode("utf-8", errors="replace").splitlines()
    header = lines[0].split(",")
    if tuple(header[: len(clock)]) != clock or len(set(header)) != len(header):
        raise SourceError(f'the first line is "{lines[0][:60]}", not as expected', where=where, remedy=_REMEDY)
    kept: dict[datetime, str] = {}
    faults: list[Complaint] = []
    notes: Counter[str] = Counter()
    for number, line in enumerate(lines[1:], start=2):
        fields = line.split(",")
        fault = _fault(fields, header, len(clock))
        if fault:
            faults.append(Complaint(f"{fault}: left out", where, number, line[:60]))
            continue
        moment = datetime(*(int(one) for one in fields[: len(clock)]))  # type: ignore[arg-type]  # noqa: DTZ001
        nameless = _sourceless(fields, header, len(clock))
        notes["lines that stand there twice: the later one counts"] += moment in kept
        notes["values that do not name their source, so may be a model's: left out"] += len(nameless)
        kept[moment] = ",".join("" if at in nameless else one for at, one in enumerate(fields))
    if not kept:
        raise SourceError("the file holds no line that can be read", where=where, remedy=_REMEDY)
    whole = "\n".join([lines[0], *(kept[moment] for moment in sorted(kept)), ""])
    told = [Complaint(f"{what} ({count})", where) for what, count in notes.items() if count]
    return Tidy(whole.encode(), len(kept), (*_shortened(faults, where), *told))


def _fault(fields: list[str], header: list[str], clock: int) -> str:
    if len(fields) != len(header):
        return f"{len(fields)} fields instead of {len(header)}"
    try:
        datetime(*(int(one) for one in fields[:clock]))  # type: ignore[arg-type]  # noqa: DTZ001
    except ValueError:
        return "no date"
    for name, written in zip(header[clock:], fields[clock:], strict=True):
        if written and not name.endswith("_source") and not _is_number(written):
            return f"{name} is no number"
    return ""


def _is_number(written: str) -> bool:
    try:
        return math.isfinite(float(written))
    except ValueError:
        return False


def _sourceless(fields: list[str], header: list[str], clock: int) -> set[int]:
    """Positions of values whose source column is empty or absent: one of them makes the library give up the file."""
    at = {name: position for position, name in enumerate(header)}
    return {
        position
        for name, position in at.items()
        if position >= clock
        and not name.endswith("_source")
        and fields[position]
        and not (f"{name}_source" in at and fields[at[f"{name}_source"]].strip())
    }


def _shortened(faults: list[Complaint], where: str) -> list[Complaint]:
    if len(faults) <= TOLD_LINES:
        return faults
    return [*faults[:TOLD_LINES], Complaint(f"{len(faults) - TOLD_LINES} more lines are broken: left out", where)]
