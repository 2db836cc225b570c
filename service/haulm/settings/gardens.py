"""Many gardens in one folder: settings files, or tables of places, growers and beds that make the same settings.

A folder holds settings files (``*.toml``), each a garden of its own. For an office with many growers it holds instead,
or besides, ``common.toml`` with what is the same for all (a settings file without place, beds and recipients) and:

- ``places.csv``: `place`, its key, and under their own names the keys of [place]: name, latitude, longitude, …
- ``growers.csv``: `grower`, the garden's key, `place`, `name`, `address`;
- ``beds.csv``: a row a bed: `grower`, `bed`, and the keys of a bed's table: length, width, texture, …; straw that lay
  on it as `straw.since` and `straw.depth`; its crop under `planting.maturity`, `planting.window_first` and so on. A
  second row of the same bed is a second crop in it.

Any other value is set by a column with its dotted path, like `weather.stations` or `thresholds.frost.cover_chance`.
The nearer one wins: what a grower's row says over the place's, and that over ``common.toml``.

One table is enough to begin with: without ``places.csv`` all lie at the [place] of ``common.toml`` (or where their own
columns say: `place.latitude`, …), and without ``beds.csv`` the rows of ``growers.csv`` have the columns of a bed too
(but for `name`, which is the grower's), a row a bed.
"""

from array import array
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType
from typing import Any

from haulm.errors import Fault, SettingsError
from haulm.settings.faults import is_secret
from haulm.settings.file_form import VERSION, BedTable, PlaceTable, PlantingTable, SettingsFile
from haulm.settings.folder import BEDS, COMMON, GROWERS, PLACES
from haulm.settings.hidden import Hidden, bring_in
from haulm.settings.lines import KeyPath, lines_of_keys
from haulm.settings.load import Given, Settings, Shared, load, parse, read_text, settled
from haulm.settings.names import Tree, dotted, find, from_environment, from_text, override, put
from haulm.settings.rows import Row, Rows, open_rows
from haulm.settings.table import Table, keys_of, table_in

# Columns that are no settings of their own: keys, and what ties the tables to each other.
GROWER, PLACE, BED, PLANTING = "grower", "place", "bed", "planting"
_RECIPIENT = ("recipients", "grower")
_STRAW = ("straw.since", "straw.depth")


@dataclass(frozen=True, slots=True)
class Many:
    """The gardens of a folder, by their keys; what each is stands in the files until it is asked for.

    `faults` are those of rows and files that no garden can be made of; the others are served all the same.
    """

    folder: Path
    environ: Mapping[str, str]
    files: Mapping[str, Path]
    tables: "_Tables | None"
    faults: tuple[str, ...]
    shared: Shared = field(default_factory=Shared)

    def __len__(self) -> int:
        return len(self.files) + (len(self.tables) if self.tables else 0)

    def groups(self) -> Iterator[tuple[str, ...]]:
        """The keys of all gardens, those of one place together."""
        yield from ((key,) for key in self.files)
        if self.tables is not None:
            yield from self.tables.groups()

    def settings(self, keys: Iterable[str]) -> Iterator[tuple[str, Settings | SettingsError]]:
        """Each garden's settings, or what is wrong with them: one grower's slip holds up nobody else's letter."""
        asked = list(keys)
        of_tables = [key for key in asked if key not in self.files]
        given = self.tables.given(of_tables) if self.tables is not None else {}
        for key in asked:
            try:
                yield key, self._one(key, given)
            except SettingsError as error:
                yield key, error

    def one(self, key: str, changes: Mapping[str, str]) -> Settings:
        """One garden's settings, some values changed.

        Raises
        ------
        SettingsError
            There is no such garden, or something is wrong with its settings.
        """
        given = self.tables.given([key]) if self.tables is not None and key not in self.files else {}
        return self._one(key, given, changes)

    def _one(
        self, key: str, given: Mapping[str, Given | SettingsError], changes: Mapping[str, str] = MappingProxyType({})
    ) -> Settings:
        if key in self.files:
            return load(self.files[key], self.environ, changes)
        found = given.get(key)
        if found is None:
            near = get_close_matches(key, self.tables.growers if self.tables else (), n=1, cutoff=0.6)
            fault = Fault(f'no garden has the key "{key}"', nearest="".join(near))
            raise SettingsError(str(self.folder), (fault,), remedy=f"The keys stand in {GROWERS}.")
        if isinstance(found, SettingsError):
            raise found
        if changes:
            set_by: dict[KeyPath, str] = {tuple(path.split(".")): f"changed value of {path}" for path in changes}
            found = replace(found, tree=override(found.tree, changes), set_by={**found.set_by, **set_by})
        return settled(found, self.tables.hidden if self.tables else Hidden({}), shared=self.shared)


def settings_of(path: Path, environ: Mapping[str, str], changes: Mapping[str, str] = MappingProxyType({})) -> Settings:
    """The settings of one garden: of a file, or of a grower in the tables of a folder, as ``FOLDER/KEY``.

    `changes` are values changed for this once, by dotted path; the errors are those of `load`.
    """
    if path.exists() or path.suffix or not (path.parent / GROWERS).is_file():
        return load(path, environ, changes)
    many = gardens_in(path.parent, environ)
    return many.one(path.name, changes)


def gardens_in(folder: Path, environ: Mapping[str, str]) -> Many:
    """What a folder holds.

    Raises
    ------
    SettingsError
        There is no such folder, no garden in it, or a table that cannot be read as one.
    """
    try:
        names = sorted(path.name for path in folder.iterdir())
    except OSError as error:
        what = (
            "there is no such folder" if isinstance(error, FileNotFoundError) else f"cannot be read ({error.strerror})"
        )
        raise SettingsError(str(folder), (Fault(what),), remedy="Name the folder that holds the gardens.") from error
    files = {Path(name).stem: folder / name for name in names if name.endswith(".toml") and name != COMMON}
    tables = _tables_in(folder, environ) if GROWERS in names else None
    faults = list(tables.faults) if tables is not None else []
    for key in sorted(files.keys() & (tables.growers.keys() if tables is not None else set())):
        faults.append(f"{folder / GROWERS}: the grower {key} has a settings file too, which is the one that counts.")
    if not files and tables is None:
        remedy = f"Put settings files in it, or the tables {GROWERS}, {PLACES} and {BEDS} with {COMMON}."
        raise SettingsError(str(folder), (Fault("there is no garden in this folder"),), remedy=remedy)
    return Many(folder, environ, files, tables, tuple(faults))


@dataclass(slots=True)
class _Tables:
    """The three tables, as places of rows, and what all gardens share.

    `growers` has the number of each grower's row, `beds` those of each grower's beds, by the grower's number; `places`
    the rows of the places, which are few.
    """

    folder: Path
    common: Tree
    set_by: dict[KeyPath, str]
    hidden: Hidden
    rows_of_growers: Rows
    rows_of_beds: Rows
    places: dict[str, Row]
    one_table: bool = False
    growers: dict[str, int] = field(default_factory=dict)
    at_place: dict[str, list[str]] = field(default_factory=dict)
    beds: "dict[str, array[int]]" = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def __len__(self) -> int:
        return len(self.growers)

    def groups(self) -> Iterator[tuple[str, ...]]:
        for keys in self.at_place.values():
            yield tuple(keys)

    def given(self, keys: list[str]) -> dict[str, Given | SettingsError]:
        """The trees of some gardens, read from the tables now."""
        known = [key for key in keys if key in self.growers]
        rows = self.rows_of_growers.read(self.growers[key] for key in known)
        numbers = [number for key in known for number in self.beds.get(key, ())]
        beds: dict[str, list[Row]] = {}
        for bed in self.rows_of_beds.read(numbers):
            beds.setdefault(bed.cells.get(GROWER, ""), []).append(bed)
        found: dict[str, Given | SettingsError] = {}
        for key, row in zip(known, rows, strict=True):
            found[key] = self._garden(key, row, beds.get(key, []))
        return found

    def _garden(self, key: str, row: Row, beds: list[Row]) -> Given | SettingsError:
        building = _Building(self.common, dict(self.set_by))
        if row.cells.get(PLACE):
            building.add(self.places[row.cells[PLACE]], PLACES, _PLACE_COLUMNS, skip={PLACE})
        building.put(("place", "key"), key, GROWERS, row.line, GROWER)
        building.add(row, GROWERS, _GROWER_COLUMNS, {GROWER, PLACE, *(_BED_HEADINGS if self.one_table else ())})
        for bed in beds:
            building.add_bed(bed, *((GROWERS, _BED_HEADINGS) if self.one_table else (BEDS, None)))
        where = f"{self.folder / GROWERS}, line {row.line}, {key}"
        if building.faults:
            again = "Correct the table and run it again."
            return SettingsError(where, tuple(building.faults), remedy=again, placed=True)
        return Given(self.folder / GROWERS, key, building.tree, building.set_by, where=where)


def _columns(table: type[Table], below: KeyPath) -> dict[str, KeyPath]:
    """The headings under which a table's own values stand, and where each belongs."""
    return {key: (*below, key) for key, field in keys_of(table).items() if table_in(field.annotation)[0] is None}


_PLACE_COLUMNS = _columns(PlaceTable, ("place",))
_GROWER_COLUMNS = {name: (*_RECIPIENT, name) for name in ("name", "address")}
_BED_COLUMNS = _columns(BedTable, ())
_PLANTING_COLUMNS = {f"{PLANTING}.{key}": (key,) for key in _columns(PlantingTable, ()) if key != BED}


# Those of a bed's row in a table that is the growers' too, whose own name it has.
_BED_HEADINGS = {BED, PLANTING, *_STRAW, *_BED_COLUMNS, *_PLANTING_COLUMNS} - {"name"}


@dataclass(slots=True)
class _Building:
    """A garden's tree as it grows out of rows, with the cell that each value came from."""

    tree: Tree
    set_by: dict[KeyPath, str]
    faults: list[Fault] = field(default_factory=list)

    def add(self, row: Row, table: str, columns: Mapping[str, KeyPath], skip: set[str]) -> None:
        """All cells of a row, each under its column's path."""
        for heading, cell in row.cells.items():
            if heading in skip:
                continue
            path = columns.get(heading) or _dotted_path(heading)
            if path is None:
                near = get_close_matches(heading, [*columns, *skip], n=1, cutoff=0.6)
                told = Fault("no value has this name", f"{table}, column {heading}", nearest="".join(near))
                self.faults.append(told)
            else:
                self.put(path, cell, table, row.line, heading)

    def add_bed(self, row: Row, table: str = BEDS, headings: Collection[str] | None = None) -> None:
        """A bed's row (or what it has under some headings): the bed, unless an earlier row told it, and its crop."""
        cells = {h: cell for h, cell in row.cells.items() if headings is None or h in headings}
        key, at = cells.get(BED, ""), f"{table}, line {row.line}"
        if not key:
            self.faults.append(Fault("this row names no bed", f"{at}, {BED}"))
            return
        own = {h: c for h, c in cells.items() if h not in {GROWER, BED, PLANTING, *_STRAW, *_PLANTING_COLUMNS}}
        self.add(Row(row.line, own), table, {name: ("beds", key, *path) for name, path in _BED_COLUMNS.items()}, set())
        self._add_straw(Row(row.line, cells), key, table)
        crop = {heading: cells[heading] for heading in _PLANTING_COLUMNS if heading in cells}
        if not crop:
            return
        planting = cells.get(PLANTING) or f"{key}-{cells.get(f'{PLANTING}.window_first', '')}".strip("-")
        below: KeyPath = ("plantings", planting)
        self.put((*below, BED), key, table, row.line, BED)
        for heading, cell in crop.items():
            self.put((*below, *_PLANTING_COLUMNS[heading]), cell, table, row.line, heading)

    def _add_straw(self, row: Row, bed: str, table: str) -> None:
        since, depth = (row.cells.get(heading) for heading in _STRAW)
        if since or depth:
            layer = {name: cell for name, cell in (("since", since), ("depth", depth)) if cell}
            self.tree = put(self.tree, ("beds", bed, "straw"), [layer])
            self.set_by[("beds", bed, "straw")] = f"{table}, line {row.line}, straw"
            for name in ("since", "depth"):
                self.set_by[("beds", bed, "straw", 0, name)] = f"{table}, line {row.line}, straw.{name}"

    def put(self, path: KeyPath, cell: str, table: str, line: int, heading: str) -> None:
        """One value, as text of its kind."""
        _, known = find(SettingsFile, path)
        at = f"{table}, line {line}, {heading}"
        if known is not None and is_secret(known):
            self.faults.append(Fault("a secret does not belong in a table that goes from hand to hand", at))
            return
        value: Any = cell if known is None else from_text(cell, known)
        self.tree = put(self.tree, path, value)
        self.set_by[path] = at


def _dotted_path(heading: str) -> KeyPath | None:
    """The path that a heading spells out, if the settings file has such a value."""
    path = tuple(heading.split("."))
    if len(path) < 2 or path[0] in {"beds", "plantings", "recipients"}:
        return None
    table, known = find(SettingsFile, path)
    return path if table is not None and known is not None and table_in(known.annotation)[0] is None else None


def _tables_in(folder: Path, environ: Mapping[str, str]) -> _Tables:
    common, set_by, hidden = _common(folder / COMMON, environ)
    one_table, has_places = not (folder / BEDS).exists(), (folder / PLACES).exists()
    places = {row.cells.get(PLACE, ""): row for _, row in open_rows(folder / PLACES).walk()} if has_places else {}
    growers = open_rows(folder / GROWERS)
    beds = growers if one_table else open_rows(folder / BEDS)
    tables = _Tables(folder, common, set_by, hidden, growers, beds, places, one_table)
    for number, row in growers.walk():
        _take_grower(tables, number, row)
    if one_table:
        return tables
    for number, row in beds.walk():
        key = row.cells.get(GROWER, "")
        if key in tables.growers:
            tables.beds.setdefault(key, array("L")).append(number)
        else:
            told = f'the grower "{key}" of this bed is not in {GROWERS}' if key else "this bed has no grower"
            tables.faults.append(f"{folder / BEDS}, line {row.line}: {told}.")
    return tables


def _take_grower(tables: _Tables, number: int, row: Row) -> None:
    key, place, where = (
        row.cells.get(GROWER, ""),
        row.cells.get(PLACE, ""),
        f"{tables.folder / GROWERS}, line {row.line}",
    )
    if not key:
        tables.faults.append(f"{where}: this row has no {GROWER}: a key of small letters and digits.")
    elif key in tables.growers and tables.one_table:
        tables.beds[key].append(number)
    elif key in tables.growers:
        tables.faults.append(f"{where}: the grower {key} stands here a second time; the first row counts.")
    elif place not in tables.places and (place or tables.places):
        near = get_close_matches(place, tables.places, n=1, cutoff=0.6)
        hint = f' Did you mean "{near[0]}"?' if near else ""
        tables.faults.append(f'{where}: the place "{place}" of {key} is not in {PLACES}.{hint}')
    else:
        tables.growers[key] = number
        if tables.one_table:
            tables.beds[key] = array("L", [number])
        tables.at_place.setdefault(place, []).append(key)


def _common(path: Path, environ: Mapping[str, str]) -> tuple[Tree, dict[KeyPath, str], Hidden]:
    """What all gardens of the tables share, with the environment's values and the secrets in it."""
    text = read_text(path)
    tree, set_by, unknown = from_environment({"version": VERSION, **parse(text, path)}, environ)
    if unknown:
        raise SettingsError(str(path), tuple(unknown))
    lines = {key: f"{path.name}, line {line}, {dotted(key)}" for key, line in lines_of_keys(text).items()}
    hidden = bring_in(tree, path, set_by, environ)
    return hidden.tree, {**lines, **set_by}, hidden
