"""`haulm check --live`: for each thing that can be wrong, what a person reads."""

import gzip
import json
import ssl
import threading
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
import time_machine
import trustme

from haulm import cli
from haulm.errors import Exit
from haulm.settings.load import load
from haulm.settings.sample import sample_toml

OPTIONS = [
    *("--name", "Brackenford", "--latitude", "52.5", "--longitude", "-3.0", "--elevation", "140 m"),
    *("--zone", "Europe/London", "--units", "metric", "--contact", "grower@example.org"),
    *("--bed", "gatebed: 2.4 m x 1.2 m, loam", "--station", "meteostat:99901"),
]

NOON = datetime(2026, 6, 2, 12, tzinfo=UTC)  # of any day: the world's forecast is issued at three in the morning


@pytest.fixture
def run(tmp_path, network, monkeypatch, capsys, world):
    for name, value in network.items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(tmp_path)
    world.today = NOON.date()

    def go(*words):
        code = cli.main([*words, "--state", str(tmp_path / "state")])
        shown = capsys.readouterr()
        return code, " ".join(shown.out.split()), shown.err

    with time_machine.travel(NOON):
        assert go("init", *OPTIONS)[0] == Exit.DONE
        yield go


def test_what_is_fresh_is_not_asked_for_again_and_that_is_said(run):
    code, first, _ = run("check", "--live")
    assert code == Exit.DONE
    assert "reached, 7 km away; its newest day is" in first
    again = run("check", "--live")[1]
    assert "Station meteostat:99901 (Brackenford Hill): reached a short while ago, not to be asked again yet" in again
    assert "Meteostat, Deutscher Wetterdienst" in again


def test_a_station_that_stopped_is_no_working_one(run, world):
    world.today -= timedelta(days=90)
    code, told, _ = run("check", "--live")
    assert code == Exit.PARTLY
    assert "91 days ago. It seems to have stopped: choose another with haulm init." in told


def test_a_web_page_instead_of_data_is_told(run, world):
    world.answer = lambda _path: b"<!doctype html><title>Please log in</title>"
    code, told, _ = run("check", "--live", "--json")
    shown = json.loads(told)
    assert code == Exit.PARTLY
    assert [one["works"] for one in shown["tried"]] == [False, False]
    assert all("a web page came instead of data" in one["found"] for one in shown["tried"])
    assert all("login page" in one["found"] for one in shown["tried"])


def test_a_broken_line_is_told_beside_what_works(run, world):
    usual = world.answer
    year = world.today.year

    def answer(path):
        body = usual(path)
        return _broken(body) if path.startswith(f"/daily/{year}") else body

    world.answer = answer
    code, told, _ = run("check", "--live")
    assert code == Exit.DONE
    assert "3 fields instead of" in told


def _broken(body):
    lines = gzip.decompress(body).decode().splitlines()
    lines[5] = "2027,2,nonsense"
    return gzip.compress(("\n".join(lines) + "\n").encode())


def test_a_certificate_that_nobody_vouches_for_is_told(run, monkeypatch, tls_at):
    monkeypatch.setenv("HAULM_WEATHER__NETWORK__MET_NORWAY", f"{tls_at}/forecast")
    code, told, _ = run("check", "--live")
    assert code == Exit.PARTLY
    assert "the server's certificate does not verify. Check this machine's date." in told


@pytest.fixture
def tls_at():
    """A loopback server whose certificate no authority known here has signed."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    trustme.CA().issue_cert("127.0.0.1").configure_cert(context)
    server = ThreadingHTTPServer(("127.0.0.1", 0), BaseHTTPRequestHandler)
    server.handle_error = lambda request, client: None
    server.socket = context.wrap_socket(server.socket, server_side=True)
    threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
    yield f"https://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


def test_the_mail_server_is_tried_too(run, tmp_path, mail_port):
    mail = ("--mail-host", "127.0.0.1", "--mail-port", str(mail_port), "--mail-security", "none")
    assert run("init", *OPTIONS, *mail, "--overwrite")[0] == Exit.DONE
    assert load(tmp_path / "haulm.toml").post.mail.port == mail_port
    code, told, _ = run("check", "--live")
    assert code == Exit.DONE
    assert f"Mail: 127.0.0.1:{mail_port}: reached, no login asked for" in told


def test_a_mail_server_that_is_not_there_is_told(run, free_port):
    mail = ("--mail-host", "127.0.0.1", "--mail-port", str(free_port), "--mail-security", "none")
    run("init", *OPTIONS, *mail, "--overwrite")
    code, told, _ = run("check", "--live")
    assert code == Exit.PARTLY
    assert f"127.0.0.1:{free_port}" in told
    assert "1 of 3 did not work." in told


@pytest.fixture
def own(tmp_path, monkeypatch, capsys, write_invented_days):
    """A garden with files of its own, in a folder beside that of its settings; `haulm check` without --live."""
    (tmp_path / "conf").mkdir()
    text = sample_toml().replace('file = "brackenford.csv"', 'file = "../data/brackenford.csv"', 1)
    for name in ("forecast", "hours"):
        text = text.replace(f'# {name}_file = "brackenford', f'{name}_file = "../data/brackenford', 1)
    (tmp_path / "conf/haulm.toml").write_text(text, encoding="utf-8")
    (tmp_path / "data").mkdir()
    data = tmp_path / "data"
    write_invented_days(data / "brackenford.csv", NOON.date(), 480, date(2025, 1, 1))
    issue = "date,issued,air_min_c,air_max_c,rain_mm\n2026-06-03,2026-06-02T04:00Z,7,18,0\n"
    (data / "brackenford-forecast.csv").write_text(issue)
    (data / "brackenford-hours.csv").write_text("instant,air_c,humidity_pct\n2026-06-02T10:00Z,14,80\n")
    monkeypatch.chdir(tmp_path)

    def go():
        with time_machine.travel(NOON):
            code = cli.main(["check", "conf/haulm.toml", "--state", "state"])
        return code, capsys.readouterr().out

    return go


def test_own_weather_files_are_read_without_being_asked(own, tmp_path):
    code, told = own()
    assert code == Exit.DONE
    whole = " ".join(told.split())
    assert f"Weather file {tmp_path}/data/brackenford.csv: 480 days" in whole
    assert "one issue, the newest of 2026-06-02 04:00 UTC" in whole
    assert "hours up to 2026-06-02 11:00 UTC" in whole
    assert "/../" not in told
    assert max(map(len, told.splitlines())) <= 80 + len(str(tmp_path))


@pytest.mark.parametrize("name", ["brackenford.csv", "brackenford-forecast.csv", "brackenford-hours.csv"])
@pytest.mark.parametrize("left", [None, "", "nonsense\n"])
def test_an_own_weather_file_that_cannot_be_used_is_told(own, tmp_path, name, left):
    file = tmp_path / "data" / name
    file.unlink() if left is None else file.write_text(left)
    code, told = own()
    assert code == Exit.PARTLY
    assert "could not be used: " + name in " ".join(told.split())
