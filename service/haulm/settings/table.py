"""What all tables of the settings file share: frozen, no unknown key, a reason, range and basis beside each key."""

import re
from collections.abc import Mapping, Sequence
from enum import StrEnum
from types import UnionType
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator
from pydantic.fields import FieldInfo

from haulm.settings.quantities import fault, unit_of

_HOUSE_UNIT = re.compile(r"_(c|m|mm|ms|l|l_min)$")


def file_key(field_name: str) -> str:
    """The key in the file for a field of the model: its name without the house unit."""
    return _HOUSE_UNIT.sub("", field_name)


class Table(BaseModel):
    """One table of the file. A field is named with its house unit, the key in the file without."""

    model_config = ConfigDict(frozen=True, extra="forbid", validate_default=True, alias_generator=file_key)

    @field_validator("*", mode="after")
    @classmethod
    def _on_its_side(cls, value: Any, info: ValidationInfo) -> Any:
        """Hold an off threshold, or a graver one, on the right side of those it belongs to."""
        field = cls.model_fields[str(info.field_name)]
        for side in ("below", "above"):
            for other in note_of(field).get(side, ()):
                if value is not None and info.data.get(other) is not None:
                    _check_side(field, value, side, other, info.data[other])
        return value


def _check_side(field: FieldInfo, value: Any, side: str, other: str, limit: Any) -> None:
    if (value < limit) if side == "below" else (value > limit):
        return
    unit = unit_of(field)
    write = unit.write if unit else str
    beside = file_key(other)
    raise fault(f"must be {side} {beside}, which is {write(limit)}; it is {write(value)}", show=False, beside=beside)


def setting(
    default: Any,
    reason: str,
    basis: str = "",
    *,
    low: float | None = None,
    high: float | None = None,
    example: Any = None,
    **note: Any,
) -> Any:
    """A key of the file.

    Parameters
    ----------
    default
        As a person would write it ("10 C"); ``...`` where the key must be there.
    reason
        One line: what it is for.
    basis
        "published: <source>", "common practice, no source" or "judgement"; empty for what only the grower knows.
    low, high
        The range allowed, in the house unit.
    example
        For the sample, and for the fault when the key is missing.
    note
        `below`, `above`: names of earlier fields that this one must stay on that side of; `key`: a key for the
        sample, of a table of tables; `missing`: what to say when it is not there; `range`: the range in words.
    """
    extra: dict[str, Any] = {**({"basis": basis} if basis else {}), **note}
    examples = None if example is None else [example]
    return Field(
        default, validate_default=True, description=reason, ge=low, le=high, examples=examples, json_schema_extra=extra
    )


def note_of(field: FieldInfo) -> Mapping[str, Any]:
    """What `setting` noted beside a field."""
    return field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}


def limits_of(field: FieldInfo) -> tuple[float | None, float | None]:
    """The lowest and the highest value allowed, in the house unit."""
    low = next((entry.ge for entry in field.metadata if hasattr(entry, "ge")), None)
    high = next((entry.le for entry in field.metadata if hasattr(entry, "le")), None)
    return low, high


def choices_of(field: FieldInfo) -> tuple[str, ...]:
    """The words a field may be, where it is a choice of words."""
    for kind in (field.annotation, *get_args(field.annotation)):
        if get_origin(kind) is Literal:
            return get_args(kind)
        if isinstance(kind, type) and issubclass(kind, StrEnum):
            return tuple(str(choice) for choice in kind)
    return ()


def list_words(words: Sequence[str], last: str = "or") -> str:
    """Words in a row: "early, mid or late"."""
    return f"{', '.join(words[:-1])} {last} {words[-1]}" if len(words) > 1 else "".join(words)


def range_words(field: FieldInfo) -> str:
    """The range allowed, in words and in both systems of units; empty without one."""
    noted, choices = note_of(field).get("range"), choices_of(field)
    if noted or choices:
        return str(noted or list_words(choices))
    unit = unit_of(field)
    low, high = limits_of(field)
    if unit is None or (low is None and high is None):
        return ""
    if low is None or high is None:
        return f"at least {unit.write(low)}" if high is None else f"at most {unit.write(high)}"
    return f"between {unit.write(low)} and {unit.write(high)}"


def keys_of(table: type[BaseModel]) -> dict[str, FieldInfo]:
    """The fields of a table under the keys of the file."""
    return {field.alias or name: field for name, field in table.model_fields.items()}


def table_in(annotation: Any) -> tuple[type[BaseModel] | None, str]:
    """The table that a field holds, and how: "one", "keyed" (a table of tables) or "list"; None for a value."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, "one"
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is UnionType and type(None) in inner:  # a table that one may do without
        return table_in(next(kind for kind in inner if kind is not type(None)))
    if origin is dict:
        return table_in(inner[1])[0], "keyed"
    if origin is tuple:
        return table_in(inner[0])[0], "list"
    return None, ""
