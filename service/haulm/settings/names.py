"""One dotted path names every value: in faults, in the environment, and in what a replay changes."""

import re
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from haulm.errors import Fault, SettingsError
from haulm.settings.file_form import SettingsFile
from haulm.settings.lines import KeyPath
from haulm.settings.quantities import unit_of
from haulm.settings.table import keys_of, table_in

PREFIX = "HAULM_"
# Read elsewhere in the program; no part of the settings file.
RESERVED = frozenset({"HAULM_SETTINGS", "HAULM_STATE", "HAULM_TRACE", "HAULM_MEASURED_DATA"})
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")

Tree = Mapping[str, Any]


def dotted(path: KeyPath) -> str:
    """A path as people write it; elements of a list are counted from 1."""
    return ".".join(str(part + 1) if isinstance(part, int) else part for part in path)


def environment_name(path: KeyPath) -> str:
    """The environment variable that sets a value."""
    return PREFIX + "__".join(str(part) for part in path).replace("-", "_").upper()


def find(model: type[BaseModel], path: KeyPath) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """The table that a path's last key stands in, and its field there; None for either that the model does not know."""
    table: type[BaseModel] = model
    field: FieldInfo | None = None
    rest = list(path)
    while rest:
        field = keys_of(table).get(str(rest.pop(0)))
        inner, how = table_in(field.annotation) if field else (None, "")
        if inner is None or not rest:
            return table, field
        if how != "one":
            rest.pop(0)
            if not rest:
                return None, field
        table = inner
    return table, field


def value_at(tree: Any, path: KeyPath) -> Any:
    """The value at a path; None where there is none."""
    for part in path:
        try:
            tree = tree[part]
        except (KeyError, IndexError, TypeError):
            return None
    return tree


def known_values(model: type[BaseModel], tree: Any, path: KeyPath = ()) -> Iterator[tuple[KeyPath, FieldInfo]]:
    """Every single value that the model knows, with the keys that a file gives to its beds, plantings and so on."""
    for key, field in keys_of(model).items():
        inner, how = table_in(field.annotation)
        below = tree.get(key) if isinstance(tree, Mapping) else None
        if inner is None:
            yield (*path, key), field
        elif how == "one":
            yield from known_values(inner, below, (*path, key))
        elif how == "keyed" and isinstance(below, Mapping):
            for name in below:
                yield from known_values(inner, below[name], (*path, key, name))


def put(tree: Tree, path: KeyPath, value: Any) -> Tree:
    """A copy of a tree with one value set. What stands in the way of it, and is a fault itself, is left to be told."""
    key = str(path[0])
    if len(path) == 1:
        return {**tree, key: value}
    below = tree.get(key, {})
    return {**tree, key: put(below, path[1:], value)} if isinstance(below, Mapping) else tree


def from_text(text: str, field: FieldInfo) -> Any:
    """A value written outside TOML, where all is text: numbers and switches are taken out of it where one is wanted."""
    if unit_of(field) is None:
        return text
    plain = text.strip()
    if _NUMBER.fullmatch(plain):
        return float(plain) if "." in plain else int(plain)
    return {"true": True, "false": False}.get(plain.casefold(), text)


def override(tree: Tree, changes: Mapping[str, str]) -> Tree:
    """A copy of a settings tree with values changed, each named by its dotted path and written as text.

    Raises
    ------
    SettingsError
        A path that names no value, with the nearest that does. The values themselves are judged when loaded.
    """
    known = {dotted(path): (path, field) for path, field in known_values(SettingsFile, tree)}
    unknown = [key for key in changes if key not in known]
    if unknown:
        faults = (Fault("no value has this name", key, nearest=_nearest(key, known)) for key in unknown)
        raise SettingsError("the values to change", tuple(faults))
    for key, text in changes.items():
        path, field = known[key]
        tree = put(tree, path, from_text(text, field))
    return tree


def from_environment(tree: Tree, environ: Mapping[str, str]) -> tuple[Tree, dict[KeyPath, str], list[Fault]]:
    """The tree with what the environment sets, the variable that set each value, and the variables nothing knows."""
    known = {environment_name(path): (path, field) for path, field in known_values(SettingsFile, tree)}
    faults: list[Fault] = []
    set_by: dict[KeyPath, str] = {}
    for name in sorted(name for name in environ if name.startswith(PREFIX) and name not in RESERVED):
        if name.upper() not in known:
            nearest = _nearest(name.upper(), [*known, *RESERVED])
            faults.append(Fault("no setting has this name", name, nearest=nearest))
            continue
        path, field = known[name.upper()]
        tree, set_by[path] = put(tree, path, from_text(environ[name], field)), name
    return tree, set_by, faults


def _nearest(name: str, known: Mapping[str, Any] | list[str]) -> str:
    return next(iter(get_close_matches(name, list(known), n=1, cutoff=0.6)), "")
