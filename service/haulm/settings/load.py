"""Read one garden's settings: every fault told at once, and the garden built in the words of the vocabulary."""

import os
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar, cast

from pydantic import ValidationError

from haulm.errors import Fault, SettingsError
from haulm.garden import Garden
from haulm.settings.across import findings_across
from haulm.settings.build import garden_of
from haulm.settings.faults import Found, Written, findings
from haulm.settings.file_form import BackupsTable, LetterTable, SettingsFile
from haulm.settings.hidden import Hidden, bring_in
from haulm.settings.lines import KeyPath, lines_of_keys
from haulm.settings.names import Tree, from_environment, override
from haulm.settings.post_form import PostTable
from haulm.settings.table import Table
from haulm.settings.thresholds import Thresholds
from haulm.settings.weather_form import WeatherTable

_AGAIN = "Correct the file and run haulm check again."
_NO_FILE = "Copy config/haulm.toml and write your own garden into it; haulm demo needs no settings."
_T = TypeVar("_T", bound=Table)
# Tables that many gardens write alike, and how many of each are remembered.
SHARED, MOST_SHARED = ("thresholds", "weather", "letter", "post", "backups", "store"), 200
_NOTHING: Mapping[str, str] = MappingProxyType({})
_MOST_PARTS = 200
_NO_KEY = re.compile(r"[^\w.\"'-]+")
_LARGEST_BYTES = 4 * 1024 * 1024  # a thousand gardens' worth of the longest file we know (judgement)
_AT = re.compile(r" \(at (?:line (\d+), column \d+|end of document)\)$")
# What the standard library's reader says of the commonest slips, in plainer words.
_SYNTAX = {
    "Cannot overwrite a value": "this key is written twice",
    "Cannot declare": "this table is written twice",
    "Invalid value": "the value cannot be read; text and amounts with a unit stand in quotes",
    "Expected '=' after a key": 'a key is followed by "=" and its value',
    "Expected newline or end of document": "something stands behind the value; text and amounts stand in quotes",
    "Unclosed array": "a list is not closed",
    "Unterminated string": "a text is not closed by a quote",
    "Illegal character '\\n'": "a text is not closed by a quote on its own line",
    "Invalid initial character for a key part": "a key begins with a letter or digit",
}


@dataclass(frozen=True, slots=True)
class Settings:
    """One garden's settings, read once and passed down. Relative paths have been made to start at the file.

    `notes` tell what is allowed, but not wise.
    """

    path: Path
    garden: Garden
    thresholds: Thresholds
    weather: WeatherTable
    letter: LetterTable
    post: PostTable
    backups: BackupsTable
    notes: tuple[str, ...] = ()


def load(path: Path, environ: Mapping[str, str] = _NOTHING, changes: Mapping[str, str] = _NOTHING) -> Settings:
    """The settings of one file.

    Parameters
    ----------
    path
        The TOML file.
    environ
        The environment; variables like ``HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING`` override the file, and
        ``CREDENTIALS_DIRECTORY`` may hold its secrets.
    changes
        Values changed for this once, by dotted path: ``{"thresholds.planting.soil_ready_spring": "52 F"}``.

    Raises
    ------
    SettingsError
        With every fault of the file, of the environment and of the changes.
    """
    text = read_text(path)
    tree, set_by, unknown = from_environment(parse(text, path), environ)
    tree = override(tree, changes)
    set_by |= {tuple(key.split(".")): f"changed value of {key}" for key in changes}
    hidden = bring_in(tree, path, set_by, environ)
    return settled(Given(path, path.stem, hidden.tree, set_by, lines_of_keys(text)), hidden, unknown)


@dataclass(frozen=True, slots=True)
class Given:
    """A garden's settings as they were written: the tree, and where each value of it stands.

    `key` names the garden where the tree does not; `where` is what a person is told beside the faults where these name
    their own files, the path if empty.
    """

    path: Path
    key: str
    tree: Tree
    set_by: Mapping[KeyPath, str]
    lines: Mapping[KeyPath, int] = field(default_factory=dict)
    where: str = ""


class Shared:
    """What many gardens write alike, judged once: the same words give the same table, and the same object."""

    def __init__(self) -> None:
        self._judged: dict[tuple[str, str], Table] = {}
        self._placed: dict[tuple[int, Path], tuple[Table, Table]] = {}

    def brought_in(self, tree: Tree) -> Tree:
        """The tree with those of its tables that have been judged before."""
        known = ((name, self._judged.get(words)) for name, words in _words(tree))
        return {**tree, **{name: table for name, table in known if table is not None}}

    def keep(self, tree: Tree, file: SettingsFile) -> None:
        """Remember the tables of a tree that was judged good."""
        if len(self._judged) > MOST_SHARED:
            self._judged.clear()
        for name, words in _words(tree):
            self._judged.setdefault(words, getattr(file, name))

    def placed(self, folder: Path, table: _T) -> _T:
        """A table whose relative paths start at a folder."""
        known = self._placed.get((id(table), folder))
        if known is None or known[0] is not table:
            if len(self._placed) > MOST_SHARED:
                self._placed.clear()
            known = self._placed[id(table), folder] = (table, _from(folder, table))
        return cast("_T", known[1])


def _words(tree: Tree) -> Iterator[tuple[str, tuple[str, str]]]:
    """The tables that may be shared, and how each is written: to the letter, since 1 and true are equal in Python."""
    return ((name, (name, repr(tree.get(name, {})))) for name in SHARED)


def settled(given: Given, hidden: Hidden, unknown: Sequence[Fault] = (), shared: Shared | None = None) -> Settings:
    """The settings of a tree, once all of it has been judged; `shared` is lent by whoever reads many.

    Raises
    ------
    SettingsError
        With every fault: of the tree, of its secrets, and those found before.
    """
    shared = shared or Shared()
    file, found = check(given.tree, shared)
    found = [*hidden.found, *_untold(found, hidden.found)]
    if file is None or found or unknown:
        written = Written(SettingsFile, given.tree, given.lines, given.set_by)
        faults = [*unknown, *(written.fault(finding) for finding in found)]
        ordered = sorted(faults, key=lambda fault: (fault.line is None, fault.line or 0, fault.key))
        where = given.where or str(given.path)
        raise SettingsError(where, tuple(ordered), remedy=_AGAIN, placed=bool(given.where))
    folder = given.path.absolute().parent
    weather, post = shared.placed(folder, file.weather), shared.placed(folder, file.post)
    garden = garden_of(file, given.key)
    return Settings(given.path, garden, file.thresholds, weather, file.letter, post, file.backups, tuple(hidden.notes))


def _untold(found: list[Found], told: list[Found]) -> list[Found]:
    """What is left to tell: a secret is not also missing where its file could not be read."""
    keys = {(*one.path[:-1], str(one.path[-1]).removesuffix("_file")) for one in told}
    return [one for one in found if one.path not in keys]


def check(tree: Tree, shared: Shared | None = None) -> tuple[SettingsFile | None, list[Found]]:
    """Judge a settings tree: its model if it can be made, and everything wrong, within tables and between them."""
    shared, found = shared or Shared(), list(findings_across(tree))
    try:
        file = SettingsFile.model_validate(shared.brought_in(tree))
    except ValidationError as error:
        return None, [*findings(error, SettingsFile, tree), *found]
    if not found:
        shared.keep(tree, file)
    return file, found


def read_text(path: Path) -> str:
    """The text of a settings file, with or without a byte order mark.

    Raises
    ------
    SettingsError
        No such file, a file that cannot be read, or one that is not UTF-8, with the line.
    """
    try:
        with path.open("rb") as stream:
            raw = stream.read(_LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise SettingsError(str(path), (Fault("there is no such file"),), remedy=_NO_FILE) from error
    except OSError as error:
        what, remedy = _unreadable(path, error)
        raise SettingsError(str(path), (Fault(what),), remedy=remedy) from error
    if len(raw) > _LARGEST_BYTES:
        raise SettingsError(str(path), (Fault(f"is longer than {_LARGEST_BYTES} bytes: no settings file"),))
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        what = f"this letter is not UTF-8 (byte {raw[error.start]:#04x}); the file may have been saved as Latin-1"
        raise SettingsError(str(path), (Fault(what, line=line),), remedy="Save the file as UTF-8.") from error


def _unreadable(path: Path, error: OSError) -> tuple[str, str]:
    if isinstance(error, IsADirectoryError) or path.is_dir():
        within = sorted(one.name for one in path.glob("*.toml"))
        return "is a folder", f"Name a file in it, like {path / (within[0] if within else 'haulm.toml')}."
    if isinstance(error, PermissionError):
        return "may not be read", "Give the user that runs haulm the right to read it, or name another with --settings."
    return f"cannot be read ({error.strerror})", "Check the path, and the disk that it lies on."


def parse(text: str, path: Path) -> Tree:
    """The tree of a TOML text.

    Raises
    ------
    SettingsError
        The text is not TOML, with the line at which reading stopped.
    """
    try:
        _refuse_depth(text)
        return tomllib.loads(text)
    except RecursionError:
        raise SettingsError(str(path), (Fault("lists stand within lists without end"),), remedy=_AGAIN) from None
    except ValueError as error:  # a number of thousands of digits is not reported as a fault of TOML
        raise SettingsError(str(path), (_syntax_fault(str(error), text),), remedy=_AGAIN) from error


def _refuse_depth(text: str) -> None:
    """A key of very many parts would keep the reader busy for minutes and fill the memory."""
    for line in text.splitlines():
        if line.count(".") > _MOST_PARTS and not line.lstrip().startswith("#"):
            parts = max(run.count(".") for run in _NO_KEY.split("".join(line.split())))
            if parts > _MOST_PARTS:
                raise ValueError(f"a key has more than {_MOST_PARTS} parts")


def _syntax_fault(told: str, text: str) -> Fault:
    at = _AT.search(told)
    line = (int(at[1]) if at[1] else len(text.rstrip().splitlines())) if at else None
    bare = told[: at.start()] if at else told
    plain = next((words for begin, words in _SYNTAX.items() if bare.startswith(begin)), bare[:1].lower() + bare[1:])
    return Fault(f"this is not TOML: {plain}", line=line)


def _from(folder: Path, table: _T) -> _T:
    """A table, and those in it, with every relative path made to start at a folder."""
    changed: dict[str, object] = {}
    for name in type(table).model_fields:
        value = getattr(table, name)
        if isinstance(value, Path):
            changed[name] = _shortest(folder / value)
        elif isinstance(value, Table):
            changed[name] = _from(folder, value)
    return table.model_copy(update=changed)


def _shortest(path: Path) -> Path:
    """The path without its steps up, where that leads to the same place: behind a link it may not."""
    short = Path(os.path.normpath(path))
    try:
        return short if short.resolve() == path.resolve() else path
    except (OSError, RuntimeError):  # links in a ring; whoever opens the file tells of it
        return path
