"""What is wrong with a settings tree, in the house's words: pydantic's own prose never reaches a person."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, time
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, SecretStr, ValidationError
from pydantic.fields import FieldInfo

from haulm.errors import Fault
from haulm.settings.lines import KeyPath
from haulm.settings.names import Tree, dotted, find, known_values, value_at
from haulm.settings.quantities import FAULT
from haulm.settings.table import choices_of, file_key, keys_of, list_words, note_of, range_words, table_in

_GIVEN_MOST = 60


@dataclass(frozen=True, slots=True)
class Found:
    """Something wrong at a path, before it is known where that path was written.

    `beside` is the path whose line is meant when the faulty one was not written at all.
    """

    path: KeyPath
    what: str
    show: bool = True
    nearest: str = ""
    beside: KeyPath = ()


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, and where: the tree, the line of each key of the file, and what the environment set."""

    model: type[BaseModel]
    tree: Tree
    lines: Mapping[KeyPath, int]
    set_by: Mapping[KeyPath, str]

    def fault(self, found: Found) -> Fault:
        """A finding with the place where a person finds it: a line of the file, or a variable."""
        given = self._given(found.path) if found.show else ""
        for path in (found.path, found.beside):
            if path in self.set_by:
                return Fault(found.what, self.set_by[path], None, given, found.nearest)
            if path in self.lines:
                return Fault(found.what, dotted(found.path), self.lines[path], given, found.nearest)
        for length in range(len(found.path) - 1, 0, -1):  # the nearest table that was written
            table, rest = found.path[:length], found.path[length:]
            if table in self.set_by:
                return Fault(found.what, f"{self.set_by[table]}.{dotted(rest)}", None, given, found.nearest)
            if table in self.lines:
                return Fault(found.what, dotted(found.path), self.lines[table], given, found.nearest)
        return Fault(found.what, dotted(found.path), None, given, found.nearest)

    def _given(self, path: KeyPath) -> str:
        """What stands at a path, as written; nothing for a secret, or where one may have strayed to.

        That is an unknown key, and text where a table is wanted.
        """
        _, field = find(self.model, path)
        value = value_at(self.tree, path)
        if field is None or is_secret(field) or table_in(field.annotation)[0]:
            return ""
        if not isinstance(value, str | int | float | date | time):
            return ""
        if isinstance(value, bool):
            return str(value).lower()
        shown = json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)
        return shown if len(shown) <= _GIVEN_MOST else f"{shown[:_GIVEN_MOST]}…"


def is_secret(field: FieldInfo) -> bool:
    """Whether a field's value may never be shown."""
    return SecretStr in (field.annotation, *get_args(field.annotation))


def findings(error: ValidationError, model: type[BaseModel], tree: Tree) -> Iterator[Found]:
    """Everything that pydantic found, in the house's words."""
    for detail in error.errors(include_url=False, include_input=False):
        path = detail["loc"] if detail["type"] == "extra_forbidden" else _in_the_file(model, detail["loc"])
        if detail["loc"][-1] == "[key]":
            what = "a key is written in small letters, digits, - and _, and begins with a letter or digit"
            yield Found(path[:-1], what)
        elif detail["type"] == FAULT:
            told = detail["ctx"]
            beside = (*path[:-1], told["beside"]) if told["beside"] else ()
            yield Found(path, told["what"], told["show"], told["nearest"], beside)
        elif detail["type"] == "extra_forbidden":
            yield Found(path, "unknown key", show=False, nearest=_nearest_key(model, tree, path))
        else:
            yield _plain(detail["type"], model, tree, path)


def _in_the_file(model: type[BaseModel], path: KeyPath) -> KeyPath:
    """A path with the file's key at its end: for a default out of place, pydantic gives the name of the field."""
    table, field = find(model, path)
    named = table.model_fields.get(str(path[-1])) if table and field is None else None
    return (*path[:-1], named.alias) if named and named.alias else path


def _plain(kind: str, model: type[BaseModel], tree: Tree, path: KeyPath) -> Found:
    _, field = find(model, path)
    if field is None:
        return Found(path, "cannot be read", show=False)
    if kind == "missing":
        return Found(path, _missing(field, str(path[-1])), show=False)
    if kind in {"greater_than_equal", "less_than_equal"}:
        return Found(path, f"must be {range_words(field)}")
    if kind in {"literal_error", "enum"}:
        close = get_close_matches(str(value_at(tree, path)), choices_of(field), n=1)
        return Found(path, f"must be {list_words(choices_of(field))}", nearest="".join(close))
    return Found(path, _SENTENCES.get(kind, "must be text in quotes"))


_SENTENCES: Mapping[str, str] = {
    "model_type": "must be a table, with keys of its own",
    "model_attributes_type": "must be a table, with keys of its own",
    "dict_type": "must be a table, with a key for each one in it",
    "tuple_type": "must be a list in square brackets",
    "string_too_short": "must not be empty",
    "string_pattern_mismatch": "is written in small letters, digits, - and _",
}


def _missing(field: FieldInfo, key: str) -> str:
    told = note_of(field).get("missing")
    if told:
        return str(told)
    reason = str(field.description).rstrip(".")
    reason = reason[0].lower() + reason[1:]
    if table_in(field.annotation)[0]:
        return f"this table is missing: {reason}"
    return f"is missing: {reason}; for example {key} = {_shown(field.examples)}"


def _shown(examples: list[Any] | None) -> str:
    example = (examples or [""])[0]
    return f'"{example}"' if isinstance(example, str) else str(example)


def _nearest_key(model: type[BaseModel], tree: Tree, path: KeyPath) -> str:
    """The key of the same table that an unknown one resembles, else the place where a key of that name belongs."""
    table, _ = find(model, path)
    siblings = keys_of(table) if table else {}
    close = get_close_matches(file_key(str(path[-1])), siblings, n=1, cutoff=0.6)
    if close:
        return close[0]
    elsewhere = {str(known[-1]): dotted(known) for known, _ in known_values(model, tree)}
    close = get_close_matches(str(path[-1]), elsewhere, n=1, cutoff=0.8)
    return elsewhere[close[0]] if close else ""
