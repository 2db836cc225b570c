"""The commented settings sample and its JSON Schema, both written out of the model.

After a change to the model: ``python -m haulm.settings.sample config``
"""

import json
import sys
import textwrap
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from haulm.settings.file_form import SettingsFile
from haulm.settings.names import dotted
from haulm.settings.quantities import unit_of
from haulm.settings.table import keys_of, note_of, range_words, table_in

_WIDTH = 110
_HEAD = """\
# Settings of haulm, for one garden: one file a garden.
# Brackenford is an invented place, its position a round spot on the map, its people and addresses made up.
#
# A quantity is written in quotes with its unit, in whichever unit you like: "50 F" or "10 C", "1 in" or "25 mm".
# A line that begins with "# " and a key shows a default, or an example where there is no default: take the mark
# away to change it. Where the name of a table in square brackets is marked too, the table may be left out; to have
# it, take that mark away first. The reason for each key stands above it, with its range and what the default rests on.
# The environment can set any of these: HAULM_THRESHOLDS__PLANTING__SOIL_READY_SPRING="52 F"
# Written by the program from its own model; haulm check tells every fault in your copy.
"""
# Keys with a default that the scenario sets all the same.
_SET = frozenset({"place.units", "beds.name", "beds.texture", "beds.soil_depth", "beds.straw", "plantings.name",
                  "plantings.spacing", "weather.file", "weather.station",
                  "post.folder"})  # fmt: skip


def sample_toml() -> str:
    """The commented sample: every key with its reason, unit, range and basis. It loads as it stands."""
    return _HEAD + "\n".join(_table(SettingsFile, (), ())) + "\n"


def schema_json() -> str:
    """The JSON Schema (draft 2020-12) of the file's form, as TOML is read into JSON; dates as text."""
    schema = SettingsFile.model_json_schema(by_alias=True, mode="validation")
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:haulm:settings:1",
        "title": "Settings of haulm",
    }
    return json.dumps({**head, **_for_toml({**schema, "title": ""})}, indent=2, ensure_ascii=False) + "\n"


def write(folder: Path) -> None:
    """Write both files into a folder."""
    (folder / "haulm.toml").write_text(sample_toml(), encoding="utf-8", newline="\n")
    (folder / "haulm.schema.json").write_text(schema_json(), encoding="utf-8", newline="\n")


def _table(
    table: type[BaseModel], path: tuple[str, ...], plain: tuple[str, ...], *, asleep: bool = False
) -> Iterator[str]:
    """The lines of a table; `path` as in the file, `plain` without the keys a grower chooses; all marked if asleep."""
    inner = {key: field for key, field in keys_of(table).items() if table_in(field.annotation)[1] in {"one", "keyed"}}
    for key, field in keys_of(table).items():
        if key not in inner:
            yield ""
            yield from _key(key, field, dotted((*plain, key)), asleep=asleep)
    for key, field in inner.items():
        below, how = table_in(field.annotation)
        if below is None:
            continue
        sleeps = asleep or field.default is None
        named = (*path, key, note_of(field)["key"]) if how == "keyed" else (*path, key)
        yield from ("", "", *_comment(str(field.description)))
        if any(not table_in(below_field.annotation)[0] for below_field in keys_of(below).values()):
            yield f"{'# ' if sleeps else ''}[{dotted(named)}]"
        yield from _table(below, named, (*plain, key), asleep=sleeps)


def _key(key: str, field: FieldInfo, plain: str, *, asleep: bool) -> Iterator[str]:
    yield from _comment(str(field.description))
    unit = unit_of(field)
    facts = {"Unit": unit.words if unit else "", "Range": range_words(field), "Basis": note_of(field).get("basis")}
    yield from _comment(" ".join(f"{title}: {fact}." for title, fact in facts.items() if fact))
    live = (field.is_required() or plain in _SET) and not asleep
    bare = live or field.is_required() or field.default in (None, ())
    value = (field.examples or [field.default])[0] if bare else field.default
    yield f"{'' if live else '# '}{key} = {_toml(value)}"


def _comment(text: str) -> list[str]:
    return [f"# {line}" for line in textwrap.wrap(text, _WIDTH)]


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(below)}" for key, below in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(below) for below in value) + "]"
    if isinstance(value, int | float | date):
        return str(value)
    return json.dumps(str(value), ensure_ascii=False)


def _for_toml(schema: Any) -> Any:
    """The schema as a TOML file needs it: no null, no title made out of a name, no key but those a pattern allows."""
    if isinstance(schema, list):
        return [_for_toml(entry) for entry in schema]
    if not isinstance(schema, dict):
        return schema
    plain = {key: _for_toml(value) for key, value in schema.items() if not _of_python(key, value)}
    choices = [choice for choice in plain.get("anyOf", []) if choice != {"type": "null"}]
    if len(choices) == 1:
        plain.pop("anyOf")
        plain = {**choices[0], **plain}
    if "required" in plain and "properties" in plain:  # a secret may stand elsewhere than in the file
        plain["required"] = [key for key in plain["required"] if not plain["properties"][key].get("writeOnly")]
    if "patternProperties" in plain:
        plain["additionalProperties"] = False
    return plain


def _of_python(key: str, value: Any) -> bool:
    if key in {"title", "key", "missing"}:
        return isinstance(value, str)
    return (key == "default" and value is None) or key in {"below", "above", "ge", "le"}


if __name__ == "__main__":
    write(Path(sys.argv[1]))
