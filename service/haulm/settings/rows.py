"""Tables as a spreadsheet writes them (CSV), a row a line: where each row begins is kept, not what stands in it."""

import csv
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from io import BufferedReader
from pathlib import Path

from haulm.errors import Fault, SettingsError
from haulm.files import explain

LONGEST_ROW = 20_000  # bytes; judgement: a longer one is no table of ours
_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its line in the file, from 1, and what stands under each heading, blank cells left out."""

    line: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class Rows:
    """A table of which only the places of its rows are held, so that a long one takes little room."""

    path: Path
    headings: tuple[str, ...]
    mark: str
    starts: "array[int]" = field(default_factory=lambda: array("Q"))
    lines: "array[int]" = field(default_factory=lambda: array("Q"))

    def walk(self) -> Iterator[tuple[int, Row]]:
        """All rows once, each with its number, by which `read` finds it again.

        Raises
        ------
        SettingsError
            From some line on it is no such table.
        """
        with _opened(self.path) as file:
            start, number = 0, 0
            while line := file.readline(LONGEST_ROW + 1):
                number += 1
                if number > 1 and line.strip(b" ,;\r\n"):
                    row = self._row(line, number)
                    self.starts.append(start)
                    self.lines.append(number)
                    yield len(self.starts) - 1, row
                start = file.tell()

    def read(self, numbers: Iterable[int]) -> list[Row]:
        """The rows of some numbers, in that order.

        Raises
        ------
        SettingsError
            The file has gone, or changed since it was walked.
        """
        found = []
        with _opened(self.path) as file:
            for number in numbers:
                file.seek(self.starts[number])
                found.append(self._row(file.readline(LONGEST_ROW + 1), self.lines[number]))
        return found

    def _row(self, line: bytes, number: int) -> Row:
        cells = _cells(line, self.mark, self.path, number)
        if any(cells[len(self.headings) :]):
            raise _fault(self.path, number, f"this row has {len(cells)} cells, the first line {len(self.headings)}")
        return Row(number, {name: cell for name, cell in zip(self.headings, cells, strict=False) if cell and name})


def open_rows(path: Path) -> Rows:
    """A table, by its headings.

    Parameters
    ----------
    path
        UTF-8, with or without a byte order mark; columns parted by commas or semicolons.

    Raises
    ------
    SettingsError
        It cannot be read, names no columns, or one twice.
    """
    with _opened(path) as file:
        first = file.readline(LONGEST_ROW + 1).removeprefix(_BOM)
    mark = ";" if first.count(b";") > first.count(b",") else ","
    headings = tuple(_cells(first, mark, path, 1)) if first.strip() else ()
    doubled = sorted({name for name in headings if name and headings.count(name) > 1})
    if not any(headings):
        raise _fault(path, 1, "the first line must name the columns")
    if doubled:
        raise _fault(path, 1, f'two columns are called "{doubled[0]}"')
    return Rows(path, headings, mark)


def _cells(line: bytes, mark: str, path: Path, number: int) -> list[str]:
    if len(line) > LONGEST_ROW:
        raise _fault(path, number, f"this row is longer than {LONGEST_ROW:,} bytes")
    try:
        return [cell.strip() for cell in next(csv.reader([line.decode("utf-8")], delimiter=mark, strict=True), [])]
    except UnicodeDecodeError as error:
        what = "this row is not UTF-8; the table may have been saved as Latin-1"
        raise _fault(path, number, what) from error
    except csv.Error as error:
        raise _fault(path, number, "a quote is opened and not closed on its line") from error


def _opened(path: Path) -> BufferedReader:
    try:
        return path.open("rb")
    except OSError as error:
        what, remedy = explain(error)
        raise SettingsError(str(path), (Fault(f"cannot be read: {what}"),), remedy=remedy) from error


def _fault(path: Path, line: int, what: str) -> SettingsError:
    return SettingsError(str(path), (Fault(what, line=line),), remedy="Correct the table and run it again.")
