"""Coverage-guided fuzzing of everything that reads what others wrote: values or a fault that a person can read.

    pip install atheris
    python tests/fuzz/run.py TARGET CORPUS [--minutes N] [--seeds FOLDER]

CORPUS is a folder outside the repository, kept from run to run; files of --seeds are taken in first. `list` in place of
a target names them all. What is found is written to CORPUS.found and ends the run: it becomes a test. Any exception but
haulm's own (and ValueError where a parser is documented to raise it) counts, and so does an input that takes over 10 s.
"""

import argparse
import email
import email.policy
import sys
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import atheris

with atheris.instrument_imports(include=["haulm"]):
    from haulm.errors import HaulmError
    from haulm.jobs import note_words
    from haulm.jobs.answer_words import About, understand
    from haulm.post.answer_links import whose
    from haulm.post.own_words import own_lines
    from haulm.settings.build import garden_of
    from haulm.settings.load import check, load, parse
    from haulm.settings.rows import open_rows
    from haulm.sources import met_norway, meteostat_places, ncei, nws, own_file, own_hours
    from haulm.sources.meteostat_text import tidy, unpack
    from haulm.sources.stations import Station
    from haulm.store.journal_file import entry_of
    from haulm.units import read_quantity
    from haulm.weather import Origin

ROOT = Path(__file__).parents[2]
NOW, TODAY, ZONE = datetime(2027, 5, 4, 12, tzinfo=UTC), date(2027, 5, 4), ZoneInfo("America/Chicago")
GARDEN = load(ROOT / "config" / "haulm.toml").garden
HERE = "a fuzzed file"


def _record(data: bytes) -> None:
    text = own_file.text_of(data, HERE)
    for units in own_file.GhcnUnits:
        with suppress(HaulmError):
            own_file.parse_record(text, where=HERE, origin=Origin("f", "f"), usual_delay=timedelta(), ghcn_units=units)
    own_file.parse_forecasts(text, where=HERE, origin=Origin("f", "f"))


def _settings(data: bytes) -> None:
    tree = parse(data.decode("utf-8"), Path(HERE))
    file, _ = check(tree)
    if file is not None:
        garden_of(file, "fuzzed")


def _answer(data: bytes) -> None:
    understand(data.decode("utf-8", "replace"), About(GARDEN, GARDEN.beds[0], TODAY))


def _mail(data: bytes) -> None:
    message = email.message_from_bytes(data, policy=email.policy.default)
    try:
        text = own_lines(message)
    except Exception:  # noqa: BLE001  the mail library's own faults are caught where mail is read (post/mailbox.py)
        return
    understand(text, About(GARDEN, GARDEN.beds[0], TODAY))


def _note(data: bytes) -> None:
    what, _, amount = data.decode("utf-8", "replace").partition("\n")
    found, rest = note_words.read_what(what)
    note_words.read_cause(found, rest or None)
    note_words.read_amount(found, amount, GARDEN.beds[0], GARDEN.place.display)


def _table(data: bytes) -> None:
    path = Path("/dev/shm/haulm-fuzzed.csv")  # noqa: S108  a table is read from a file
    path.write_bytes(data)
    rows = open_rows(path)
    rows.read([number for number, _ in rows.walk()])


def _mark(data: bytes) -> None:
    subject = data.decode("utf-8", "replace")
    assert whose(b"k" * 32, subject, "g", ["b"], ["me@example.org"], TODAY, timedelta(days=30)) is None


TARGETS: dict[str, Callable[[bytes], object]] = {
    "met-norway": lambda data: met_norway.parse(data, NOW, ZONE),
    "us-weather-service": lambda data: nws.parse(data, NOW, ZONE),
    "ncei": lambda data: ncei.parse([(data, NOW)], Station("USW00013722"), TODAY),
    "station-file": lambda data: tidy(unpack(data, HERE), ("year", "month", "day"), HERE),
    "station-description": lambda data: meteostat_places.parse_description(data, "10637", GARDEN.place),
    "own-file": _record,
    "own-hours": lambda data: own_hours.parse(own_file.text_of(data, HERE), HERE, NOW),
    "settings": _settings,
    "table": _table,
    "journal": lambda data: entry_of(data.decode("utf-8")),
    "answer": _answer,
    "mail": _mail,
    "note": _note,
    "mark": _mark,
    "quantity": lambda data: read_quantity(data.decode("utf-8", "replace")),
}


def one(target: Callable[[bytes], object], data: bytes) -> None:
    """Try one input; what a person could read is no finding."""
    with suppress(HaulmError, ValueError):
        target(data)


def main() -> None:
    words = argparse.ArgumentParser(description="Coverage-guided fuzzing of the parsers.")
    words.add_argument("target", choices=[*TARGETS, "list"])
    words.add_argument("corpus", type=Path, nargs="?")
    words.add_argument("--minutes", type=float, default=4.0)
    words.add_argument("--seeds", type=Path)
    given = words.parse_args()
    if given.target == "list" or given.corpus is None:
        sys.stdout.write("\n".join([*TARGETS, ""]))
        return
    given.corpus.mkdir(parents=True, exist_ok=True)
    for seed in given.seeds.iterdir() if given.seeds else ():
        (given.corpus / seed.name).write_bytes(seed.read_bytes())
    flags = [f"-max_total_time={given.minutes * 60:.0f}", "-timeout=10", "-rss_limit_mb=2048", "-max_len=200000"]
    flags += [f"-artifact_prefix={given.corpus}.found-", "-print_final_stats=1", str(given.corpus)]
    target = TARGETS[given.target]
    atheris.Setup([sys.argv[0], *flags], lambda data: one(target, data))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
