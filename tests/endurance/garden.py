"""The garden of a simulated year: its settings and secrets, and a grower who notes what is done, and answers."""

import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from haulm.settings.fill import filled

ME, OTHER, HAULM = "grower@example.org", "neighbour@example.org", "garden@example.org"
MAIL_PASSWORD, BOX_PASSWORD, HOOK_SECRET = (f"{word}-secret-of-the-year" for word in ("mail", "box", "hook"))
LETTER_HOUR = "06:30"
BREAKS = (
    ("unknown key", lambda text: text.replace("[place]", "[place]\nlattitude = 3")),
    ("no TOML", lambda text: text.replace("[place]", "[place")),
    ("a value out of range", lambda text: text.replace("latitude = 44.0", "latitude = 444.0")),
    ("cut off", lambda text: text[: len(text) // 3]),
    ("empty", lambda _: ""),
    ("not UTF-8", lambda text: text.encode("utf-16").decode("latin-1")),
    ("a password gone", lambda text: text.replace('password_file = "mail-password"', "# gone")),
)


@dataclass(frozen=True)
class Ports:
    """Where the loopback servers listen."""

    mail: int
    mailbox: int
    cafile: Path


def settings_text(ports: Ports, years: range) -> str:
    """The settings file; each spring and each autumn has a planting of its own."""
    plantings = {}
    for year in years:
        window = {"window_first": f"{year}-04-10", "window_last": f"{year}-06-05"}
        plantings[f"plantings.spring-{year}"] = {
            "bed": '"gatebed"',
            "maturity": '"early"',
            "season": '"spring"',
            **window,
        }
    return filled({
        "place": {
            "name": '"Brackenford"', "latitude": "44.0", "longitude": "-90.0", "elevation": '"290 m"',
            "zone": '"America/Chicago"', "units": '"us"',
        },
        "beds.gatebed": {"length": '"2.4 m"', "width": '"1.2 m"', "texture": '"loam"'},
        **plantings,
        "recipients.me": {"name": '"Grower"', "address": f'"{ME}"'},
        "recipients.other": {"name": '"Neighbour"', "address": f'"{OTHER}"'},
        "weather": {
            "source": '"stations"', "stations": '["meteostat:99901", "ncei:USW00099901"]',
            "forecasts": '["met-norway", "us-weather-service"]', "contact": f'"{ME}"',
        },
        "post": {"folder": '"letters"'},
        "post.mail": {
            "host": '"127.0.0.1"', "port": str(ports.mail), "security": '"none"', "user": '"haulm"',
            "password_file": '"mail-password"', "sender": f'"{HAULM}"', "timeout_seconds": "0.6",
        },
        "post.mailbox": {
            "address": f'"{HAULM}"', "host": '"localhost"', "port": str(ports.mailbox), "user": f'"{HAULM}"',
            "password_file": '"box-password"', "cafile": f'"{ports.cafile}"', "timeout_seconds": "0.6",
        },
    })  # fmt: skip


def write_garden(folder: Path, ports: Ports, years: range) -> Path:
    """Settings and passwords into a folder."""
    for name, secret in (("mail-password", MAIL_PASSWORD), ("box-password", BOX_PASSWORD)):
        (folder / name).write_text(secret)
        (folder / name).chmod(0o600)
    file = folder / "haulm.toml"
    file.write_text(settings_text(ports, years), encoding="utf-8")
    file.chmod(0o600)
    return file


# What is noted on which day of each year, in the words of `haulm note`.
SEASON = (
    (3, 20, "gatebed", ("seed bought",)),
    (3, 28, "gatebed", ("chitting begun",)),
    (4, 24, "gatebed", ("planted",)),
    (4, 25, "gatebed", ("straw", "8 cm")),
    (5, 22, "gatebed", ("shoots out",)),
    (6, 10, "gatebed", ("straw", "15 cm")),
    (8, 6, "gatebed", ("dying back", "--cause", "age")),
    (8, 20, "gatebed", ("tops dead",)),
    (9, 8, "gatebed", ("lifted", "9 kg")),
    (9, 20, "gatebed", ("into store",)),
)


def notes_of(day: date) -> Iterator[tuple[str, ...]]:
    """What the grower notes on a day: the season's steps, and readings now and then."""
    for month, at, bed, what in SEASON:
        if (day.month, day.day) == (month, at):
            yield bed, *what
    number = day.toordinal()
    if date(day.year, 5, 22) < day < date(day.year, 8, 6) and number % 4 == 0:
        yield "gatebed", "watered", "2 x 10 l"
    if date(day.year, 4, 1) < day < date(day.year, 9, 1) and number % 9 == 3:
        yield "gatebed", "soil", f"{round(48 + 14 * (1 - abs((day - date(day.year, 7, 15)) / timedelta(days=100))))}F"
    if (day.month >= 10 or day.month <= 2) and number % 10 == 5:
        yield "store", f"{4 + number % 3}C"


def fresh_id() -> str:
    """A new Message-ID."""
    return f"<{secrets.token_hex(8)}@example.org>"
