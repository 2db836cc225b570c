"""Words of strangers, and names in the settings: none becomes markup, a header, a line of the log, or a path."""

import io
import json
import logging
import re
import socket
import subprocess
import threading
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest

from haulm.errors import Complaint, SettingsError, SourceError, StoreError, in_one_line
from haulm.garden import Place
from haulm.jobs.system_log import ForJournal, Plain
from haulm.letter.render import html_environment
from haulm.post.answer_links import Letter, mark, whose
from haulm.post.folder import put_in_folder, safe_name
from haulm.post.message import Person, Post, mail_message
from haulm.settings.load import load
from haulm.sources.http import Ask, Fetching, Http
from haulm.sources.meteostat_places import parse_description
from haulm.sources.payload import number
from haulm.sources.stations import check_key
from haulm.units import Display

EVIL = "\x1b[2J\x1b]0;owned\x07\r\nhaulm-run version=1 garden=all outcome=done\u2028\u202eregnad\x9b31m"
MARKUP = "<script>alert(1)</script>'\"><img src=x onerror=alert(2)>{{ 7*7 }}{% raw %}"
CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e]")


def test_a_strangers_words_are_one_line_that_moves_nothing() -> None:
    told = in_one_line(EVIL)
    assert not CONTROL.search(told)
    assert "\n" not in told
    assert len(in_one_line("a" * 10**7)) <= 300


@pytest.mark.parametrize("error", [SourceError(EVIL, where=EVIL), StoreError(EVIL), Complaint(EVIL, EVIL, 3, EVIL)])
def test_no_fault_moves_a_cursor(error: object) -> None:
    assert not CONTROL.search(str(error))


@pytest.mark.parametrize("formatter", [Plain("%(message)s"), ForJournal("%(message)s")])
def test_no_line_of_the_log_is_anothers(formatter: logging.Formatter) -> None:
    """Words that got here by whatever way: the second line does not begin where a message begins."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(formatter)
    logger = logging.Logger("of its own")
    logger.addHandler(handler)
    logger.error("%s", f"a server said {EVIL}\nhaulm-run version=1 outcome=done\n<0>panic")
    lines = stream.getvalue().splitlines()
    assert not CONTROL.search(stream.getvalue())
    assert not [line for line in lines[1:] if re.match(r"(<3>)?\S", line) and not line.startswith("<3>  ")]
    assert not [line for line in lines if re.match(r"(<\d>)*haulm-run", line)]


def test_where_a_server_sends_us_is_told_without_its_tricks() -> None:
    with socket.create_server(("127.0.0.1", 0)) as door:

        def answer() -> None:
            connection, _ = door.accept()
            with connection:
                connection.recv(4096)
                connection.sendall(b"HTTP/1.1 302 F\r\nLocation: ftp://x/\x1b[2J\r\n haulm-run version=1" + b"A" * 9000)
                connection.sendall(b"\r\nContent-Length: 0\r\n\r\n")

        threading.Thread(target=answer, daemon=True).start()
        fetching = Fetching(contact="a@b.example", total_s=3, retries=0)
        with Http(fetching) as http, pytest.raises(SourceError) as caught:
            http.get(Ask(f"http://127.0.0.1:{door.getsockname()[1]}/days", "days"))
    assert not CONTROL.search(str(caught.value))
    assert len(str(caught.value)) < 400


def test_a_value_that_is_no_number_is_told_shortly() -> None:
    with pytest.raises(SourceError) as caught:
        number([EVIL * 100_000] * 10, "days")
    assert len(str(caught.value)) < 400
    assert not CONTROL.search(str(caught.value))


def test_a_stations_name_stands_in_the_letter_as_a_name() -> None:
    told = {"location": {"latitude": 51, "longitude": -1, "elevation": 9}, "name": {"en": EVIL + "a" * 100_000}}
    place = Place("Brackenford", 51.1, -1.0, 84.6, "Europe/London", Display.METRIC, 1.0)
    name = parse_description(json.dumps(told).encode(), "10637", place).origin("").name
    assert not CONTROL.search(name)
    assert len(name) <= 80


def test_no_template_lets_markup_through() -> None:
    set_text = html_environment().from_string('<p title="{{ x }}">{{ x }}</p>').render(x=MARKUP)
    assert "<script" not in set_text
    assert "<img" not in set_text
    assert "{{ 7*7 }}" in set_text


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "script" or any(name.startswith("on") or "javascript:" in (value or "") for name, value in attrs):
            self.bad.append(tag)


def test_names_of_the_settings_are_words_everywhere(
    garden: Path, haulm: Callable[..., subprocess.CompletedProcess[str]], tmp_path: Path
) -> None:
    """Letter, pages and calendar of a garden whose place, bed and planting are named by an attacker."""
    text = garden.read_text(encoding="utf-8")
    for name in ("Brackenford", "Gatebed", "Gate early"):
        text = text.replace(f'name = "{name}"', f"name = {json.dumps(name + MARKUP)}")
    text = text.replace('# folder = "letters"', 'folder = "letters"').replace('# pages = "pages"', 'pages = "pages"')
    garden.write_text(text, encoding="utf-8")
    done = haulm("morning", "--settings", str(garden))
    assert done.returncode == 0, done.stderr
    assert haulm("calendar", "garden.ics", "--settings", str(garden)).returncode == 0
    seen = [*(tmp_path / "letters").rglob("*.html"), *(tmp_path / "pages").rglob("*.html")]
    assert len(seen) > 5
    for file in seen:
        tags = _Tags()
        tags.feed(file.read_text(encoding="utf-8"))
        assert tags.bad == [], file
    assert any("&lt;script&gt;" in file.read_text(encoding="utf-8") for file in seen)
    assert "{{ 7*7 }}" in done.stdout
    calendar = (tmp_path / "garden.ics").read_text(encoding="utf-8")
    assert all(re.match(r"[A-Z][A-Z-]*[;:]| ", line) for line in calendar.splitlines())


@pytest.mark.parametrize("table", ["place", "beds.gatebed"])
@pytest.mark.parametrize("evil", ["\\u001b[2J", "a\\nBcc: c@d.example", "a\\u0085b", "a\\u202eb"])
def test_a_name_with_a_line_of_its_own_is_a_fault(garden: Path, table: str, evil: str) -> None:
    text = garden.read_text(encoding="utf-8")
    head, found, tail = text.partition(f"[{table}]\n")
    assert found
    tail = re.sub(r'^(# )?name = ".*"$', lambda _: f'name = "x{evil}"', tail, count=1, flags=re.MULTILINE)
    garden.write_text(head + found + tail, encoding="utf-8")
    with pytest.raises(SettingsError, match="without control characters") as caught:
        load(garden)
    assert not CONTROL.search(str(caught.value))


@pytest.mark.parametrize("line", ["\r\n", "\n", "\r", "\u0085", "\u2028", "\x0b"])
def test_nothing_adds_a_header_to_a_mail(line: str) -> None:
    evil = f"Frost{line}Bcc: everybody@b.example{line}{line}body"
    post = Post(evil, evil, "text", "<p>html</p>", datetime(2027, 5, 4, 6, tzinfo=UTC))
    message = mail_message(post, Person("a@b.example", evil), Person("c@d.example", evil), "<1@b.example>")
    raw = message.as_bytes()
    head = raw.partition(b"\r\n\r\n")[0]
    assert not re.search(rb"^bcc:", head, re.IGNORECASE | re.MULTILINE)
    with pytest.raises(ValueError, match="addr"):
        mail_message(post, Person(f"a@b.example{line}Bcc: x@y.example"), Person("c@d.example"), "<1@b.example>")


@pytest.mark.parametrize(
    "name", ["../../etc/cron.d/x", "/etc/passwd", "..", ".", "a/../../b", "a\x00b", "a\nb", "\u202ea"]
)
def test_no_name_is_a_path(tmp_path: Path, name: str) -> None:
    assert re.fullmatch(r"[A-Za-z0-9_-]+", safe_name(name))
    (file,) = put_in_folder(tmp_path, name, name, date(2027, 5, 4), {"txt": b"x"})
    assert file.resolve().is_relative_to(tmp_path.resolve() / "2027" / "05")
    with pytest.raises(SourceError):
        check_key(name)


KEY, DAY = b"k" * 32, date(2027, 5, 4)
GOOD = mark(KEY, Letter("brackenford", "morning", DAY), "gatebed", "me@example.org")
PEOPLE, BEDS, GOOD_FOR = ["me@example.org", "you@example.org"], ["gatebed", "southbed"], timedelta(days=30)


def test_a_sign_is_good_for_its_own_letter() -> None:
    found = whose(KEY, f"Re: {GOOD}", "brackenford", BEDS, PEOPLE, DAY, GOOD_FOR)
    assert found is not None
    assert (found.bed, found.recipient) == ("gatebed", "me@example.org")


@pytest.mark.parametrize(
    ("key", "subject", "garden", "beds", "people", "today"),
    [
        (b"x" * 32, GOOD, "brackenford", BEDS, PEOPLE, DAY),
        (KEY, GOOD, "sallow-wells", BEDS, PEOPLE, DAY),
        (KEY, GOOD, "brackenford", ["southbed"], PEOPLE, DAY),
        (KEY, GOOD, "brackenford", BEDS, ["you@example.org"], DAY),
        (KEY, GOOD, "brackenford", BEDS, PEOPLE, DAY + timedelta(days=31)),
        (KEY, GOOD, "brackenford", BEDS, PEOPLE, DAY - timedelta(days=31)),
        (KEY, GOOD.replace("270504", "270505"), "brackenford", BEDS, PEOPLE, DAY + timedelta(days=1)),
        (KEY, GOOD.replace("m-", "e-"), "brackenford", BEDS, PEOPLE, DAY),
        (KEY, GOOD[:-2] + ("A" if GOOD[-2] != "A" else "B") + "]", "brackenford", BEDS, PEOPLE, DAY),
        (KEY, GOOD[:-3] + "]", "brackenford", BEDS, PEOPLE, DAY),
    ],
    ids=["key", "garden", "bed", "person", "too old", "long to come", "day", "kind", "forged", "shortened"],
)
def test_a_sign_is_good_for_nothing_else(
    key: bytes, subject: str, garden: str, beds: list[str], people: list[str], today: date
) -> None:
    assert whose(key, subject, garden, beds, people, today, GOOD_FOR) is None


def test_nothing_reads_xml_or_runs_what_it_reads() -> None:
    """No reader of XML means no entities; no pickle, no eval, no shell: data never becomes a program."""
    package = Path(__file__).parents[2] / "service" / "haulm"
    taboo = re.compile(
        r"^\s*(?:import|from) (?:xml|lxml|pickle|marshal|shelve|yaml)\b|\b(?:eval|exec)\(|shell=True|allow_pickle=True|"
        r"verify=False|CERT_NONE|_create_unverified|\"lxml|'lxml",
        re.MULTILINE,
    )
    found = [path.name for path in package.rglob("*.py") if taboo.search(path.read_text(encoding="utf-8"))]
    assert found == []
