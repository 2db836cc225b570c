"""The one place that calls the meteostat library, and the memory that spares calling it for a file already parsed.

The library and the pandas it brings take a third of a second to import, so both are imported only when a file is new.
"""

import io
import json
import zipfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from haulm.errors import Complaint, SourceError
from haulm.files import passing_folder
from haulm.sources.meteostat_text import Tidy, pack, tidy, unpack
from haulm.sources.readings import IDS
from haulm.sources.spool import Kept, save_beside
from haulm.units import metres_per_second_from_kmh
from haulm.weather import FloatArray

# Values of these providers are forecasts; a value put together from several is one if any of them is.
MODELLED = frozenset({"dwd_mosmix", "metno_forecast"})
FORM = 1  # of the parsed memory: raise it when what is kept there changes
OKTAS = 8.0


class Kind(StrEnum):
    """Which of the station's files."""

    DAILY = "daily"
    HOURLY = "hourly"


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """One file, parsed: observed values only, in house units, with each value's source id.

    `times` counts days (or hours) since 1970 UTC; `modelled` is how many values were a model's and were left out.
    """

    times: NDArray[np.int64]
    values: Mapping[str, FloatArray]
    ids: Mapping[str, NDArray[np.str_]]
    attribution: str
    modelled: int
    complaints: tuple[Complaint, ...]


_CLOCK = {Kind.DAILY: ("year", "month", "day"), Kind.HOURLY: ("year", "month", "day", "hour")}
# Snow depth is left alone: its unit is not the same everywhere.
_COLUMNS = {
    Kind.DAILY: {
        "tmin": "air_min_c", "tmax": "air_max_c", "prcp": "rain_mm", "rhum": "humidity_pct",
        "wspd": "wind_ms", "wpgt": "gust_ms", "cldc": "cloud",
    },
    Kind.HOURLY: {
        "temp": "air_c", "prcp": "rain_mm", "rhum": "humidity_pct",
        "wspd": "wind_ms", "wpgt": "gust_ms", "cldc": "cloud",
    },
}  # fmt: skip


def table(held: Kept, station: str, year: int, kind: Kind) -> Table:
    """A file of the spool, parsed; from memory if it has not changed since.

    Raises
    ------
    SourceError
        It is damaged, or the library does not read it.
    """
    memory = held.path.with_name(held.path.name + ".parsed.npz")
    remembered = _remembered(memory, held.sha256)
    if remembered:
        return remembered
    where = f"Meteostat, station {station}, {kind} file of {year}"
    parsed = parse(held.body, station, year, kind, where)
    save_beside(memory, _packed(parsed, held.sha256))
    return parsed


def parse(body: bytes, station: str, year: int, kind: Kind, where: str) -> Table:
    """The observed values of one file, by way of the library.

    Raises
    ------
    SourceError
        The file is damaged, or the library does not read it.
    """
    clean = tidy(unpack(body, where), _CLOCK[kind], where)
    with passing_folder() as folder:
        path = folder / f"{year}_{station}.csv.gz"
        path.write_bytes(pack(clean.text))
        with bound_to(folder, kind) as meteostat:
            series = _series(meteostat, station, year, kind)
    frame = series.fetch(sources=True)
    if frame is None or not len(frame):
        raise SourceError(
            f"the meteostat library finds nothing in a file of {clean.count} lines",
            where=where,
            remedy="Look for a newer haulm.",
        )
    # The library names itself first and then its providers, in the chance order of a set.
    house, *providers = str(series.attribution).split(", ")
    return _table(frame, ", ".join([house, *sorted(providers)]), kind, clean)


@contextmanager
def bound_to(folder: Path, kind: Kind) -> Iterator[ModuleType]:
    """The library, reading files named `{year}_{station}.csv.gz` from a folder, its cache off.

    Its provider module took its address from the configuration when it was imported, so it is set there.

    Raises
    ------
    SourceError
        The library has no longer the name that is set here.
    """
    meteostat = import_module("meteostat")
    provider = import_module(f"meteostat.providers.meteostat.{kind}")
    if not hasattr(provider, "ENDPOINT") or not hasattr(meteostat.config, "cache_enable"):
        raise SourceError(
            f"this version of the meteostat library ({meteostat.__version__}) is not one that haulm knows",
            where="meteostat",
            remedy="Install the version that haulm asks for.",
        )
    before = provider.ENDPOINT, meteostat.config.cache_enable
    setattr(provider, "ENDPOINT", str(folder / "{year}_{station}.csv.gz"))  # noqa: B010
    meteostat.config.cache_enable = False
    try:
        yield meteostat
    finally:
        setattr(provider, "ENDPOINT", before[0])  # noqa: B010
        meteostat.config.cache_enable = before[1]


def _series(meteostat: ModuleType, station: str, year: int, kind: Kind) -> Any:
    fetch = {Kind.DAILY: meteostat.daily, Kind.HOURLY: meteostat.hourly}[kind]
    first, last = datetime(year, 1, 1), datetime(year, 12, 31, 23)  # noqa: DTZ001  # the library wants them bare
    parameters = [meteostat.Parameter(column) for column in _COLUMNS[kind]]
    return fetch(meteostat.Station(id=station), first, last, parameters=parameters)


def _table(frame: Any, attribution: str, kind: Kind, clean: Tidy) -> Table:
    unit = "datetime64[D]" if kind is Kind.DAILY else "datetime64[h]"
    times = frame.index.to_numpy().astype(unit).astype(np.int64)
    values: dict[str, FloatArray] = {}
    ids: dict[str, NDArray[np.str_]] = {}
    modelled = 0
    for column, name in _COLUMNS[kind].items():
        if column not in frame.columns or not frame[column].notna().any():
            continue  # what a station never reports is not there
        numbers = _in_house_units(name, frame[column].to_numpy(dtype=float, na_value=np.nan))
        sources = [str(source) for source in frame[f"{column}_source"].fillna("")]
        model = np.array([not MODELLED.isdisjoint(source.split()) for source in sources], dtype=bool)
        modelled += int((model & np.isfinite(numbers)).sum())
        values[name] = np.where(model, np.nan, numbers)
        ids[name] = np.where(np.isfinite(values[name]), np.array(sources, dtype=IDS), "")
    measured = np.zeros(len(times), dtype=bool)
    for observed in values.values():
        measured |= np.isfinite(observed)
    return Table(
        times[measured],
        {name: column[measured] for name, column in values.items()},
        {name: named[measured] for name, named in ids.items()},
        attribution,
        modelled,
        clean.complaints,
    )


def _in_house_units(name: str, values: FloatArray) -> FloatArray:
    if name in {"wind_ms", "gust_ms"}:
        return np.asarray(metres_per_second_from_kmh(values), dtype=np.float64)  # type: ignore[arg-type]
    return values / OKTAS if name == "cloud" else values


def _packed(parsed: Table, sha256: str) -> bytes:
    told = {
        "form": FORM,
        "sha256": sha256,
        "attribution": parsed.attribution,
        "modelled": parsed.modelled,
        "complaints": [[one.what, one.where, one.line, one.given] for one in parsed.complaints],
    }
    columns: dict[str, NDArray[Any]] = {f"values.{name}": column for name, column in parsed.values.items()}
    columns |= {f"ids.{name}": named for name, named in parsed.ids.items()}
    packed = io.BytesIO()
    np.savez_compressed(packed, told=np.array(json.dumps(told)), times=parsed.times, **columns)  # type: ignore[arg-type]
    return packed.getvalue()


def _remembered(memory: Path, sha256: str) -> Table | None:
    try:
        with np.load(io.BytesIO(memory.read_bytes()), allow_pickle=False) as held:
            told = json.loads(str(held["told"]))
            if told["form"] != FORM or told["sha256"] != sha256:
                return None
            values = {name[7:]: held[name] for name in held.files if name.startswith("values.")}
            ids = {name[4:]: held[name] for name in held.files if name.startswith("ids.")}
            complaints = tuple(Complaint(*one) for one in told["complaints"])
            return Table(held["times"], values, ids, told["attribution"], told["modelled"], complaints)
    except (OSError, ValueError, KeyError, TypeError, EOFError, RecursionError, zipfile.BadZipFile):
        return None  # only a help: what cannot be read is parsed anew
