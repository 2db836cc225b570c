"""Every threshold as a person may look it up: what it is now, its default, its reason, and what that rests on."""

from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from haulm.settings.names import dotted
from haulm.settings.quantities import unit_of
from haulm.settings.table import keys_of, note_of
from haulm.settings.thresholds import Thresholds


@dataclass(frozen=True, slots=True)
class Explained:
    """One threshold, with its values as they would be written in the settings file."""

    key: str
    now: str
    usual: str
    reason: str
    basis: str

    @property
    def changed(self) -> bool:
        """Whether it is not at its default."""
        return self.now != self.usual


def explained(thresholds: Thresholds) -> tuple[tuple[str, tuple[Explained, ...]], ...]:
    """Each table of thresholds under what it is about, in the order of the settings file."""
    usual = Thresholds()
    return tuple(
        (str(field.description), tuple(_rows(getattr(thresholds, name), getattr(usual, name), name)))
        for name, field in Thresholds.model_fields.items()
    )


def _rows(now: BaseModel, usual: BaseModel, table: str) -> Iterator[Explained]:
    names = {field.alias or name: name for name, field in type(now).model_fields.items()}
    for key, field in keys_of(type(now)).items():
        own, default = (_written(field, getattr(one, names[key])) for one in (now, usual))
        path = dotted(("thresholds", table, key))
        yield Explained(path, own, default, str(field.description), str(note_of(field).get("basis", "")))


def _written(field: FieldInfo, value: object) -> str:
    if value is None:
        return "none"
    unit = unit_of(field)
    return unit.write(value) if unit and isinstance(value, float) else str(value)
