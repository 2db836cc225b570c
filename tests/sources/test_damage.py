"""Whatever a service sends, the answer is either read or refused with a reason: no other exception comes out."""

import copy
import gzip
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haulm.errors import SourceError
from haulm.garden import Place
from haulm.sources import met_norway, meteostat_places, ncei, nws
from haulm.sources.meteostat_text import Tidy, tidy, unpack
from haulm.sources.stations import Station

CAME = datetime(2024, 4, 20, 5, 12, tzinfo=UTC)
JUNK = st.sampled_from([None, True, -1, 0.5, 1e308, "", "x", "2024-04-20T05:00:00Z", [], [None], [{}], {}, {"a": 1}])
fuzzed = settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
Reader = Callable[[bytes], object]


def spots(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The path of every node, the root first."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [path, *(spot for key, one in inside for spot in spots(one, (*path, key)))]


def refusal(reading: Callable[[], object]) -> SourceError | None:
    try:
        reading()
    except SourceError as told:
        return told
    return None


def replaced(value: Any, path: tuple[Any, ...], junk: Any) -> Any:
    if not path:
        return junk
    changed = copy.deepcopy(value)
    node = changed
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = junk
    return changed


@pytest.fixture
def bodies(
    met_body: Callable[..., bytes], met_run: Any, nws_grid: Callable[..., bytes], ncei_body: Callable[..., bytes],
    place: Place,
) -> dict[str, tuple[Any, Reader]]:  # fmt: skip
    when = "2024-04-20T04:00:00+00:00/PT3H"
    grid = nws_grid({"temperature": ("wmoUnit:degC", [(when, 5.0)]), "windGust": ("wmoUnit:km_h-1", [(when, None)])})
    days = ncei_body({date(2024, 4, 14): {"TMAX": "13.9", "TMIN": "2.8", "TMAX_ATTRIBUTES": ",,7,0700"}})
    told = {"name": {"en": "Brackenford Hill"}, "location": {"latitude": 51.2, "longitude": -1.0, "elevation": 115}}
    few = [*met_run[:2], *met_run[-3:]]
    zone = ZoneInfo("Europe/London")
    return {
        "met_norway": (json.loads(met_body(few)), lambda body: met_norway.parse(body, CAME, zone)),
        "nws": (json.loads(grid), lambda body: nws.parse(body, CAME, zone)),
        "ncei": (json.loads(days), lambda body: ncei.parse([(body, CAME)], Station("X"), CAME.date())),
        "station": (told, lambda body: meteostat_places.parse_description(body, "99901", place)),
    }


@pytest.mark.parametrize("source", ["met_norway", "nws", "ncei", "station"])
@fuzzed
@given(data=st.data())
def test_a_node_of_another_kind_is_read_or_refused(
    bodies: dict[str, tuple[Any, Reader]], source: str, data: st.DataObject
) -> None:
    whole, read = bodies[source]
    read(json.dumps(whole).encode())  # as it is, it can be read
    spot = data.draw(st.sampled_from(spots(whole)))
    body = json.dumps(replaced(whole, spot, data.draw(JUNK))).encode()
    refused = refusal(lambda: read(body))
    assert refused is None or (refused.what and refused.where)


@fuzzed
@given(data=st.data())
def test_a_bulk_file_with_any_byte_changed_is_read_or_refused(
    year_text: Callable[..., str], spring: dict[date, Any], data: st.DataObject
) -> None:
    few = dict(list(spring.items())[:3])
    text = bytearray(year_text(few).encode())
    at = data.draw(st.integers(0, len(text) - 1))
    text[at] = data.draw(st.integers(0, 255))
    body = bytes(text) if data.draw(st.booleans()) else gzip.compress(bytes(text))
    kept: list[Tidy] = []
    refused = refusal(lambda: kept.append(tidy(unpack(body, "here"), ("year", "month", "day"), "here")))
    assert refused is None or refused.what
    assert refused or kept[0].count == len(kept[0].text.splitlines()) - 1
