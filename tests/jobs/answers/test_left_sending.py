"""A letter that a killed run left on its way is looked up in the mailbox, where haulm can read the one it goes to."""

from datetime import UTC, date, datetime

import pytest

from haulm.errors import Exit
from haulm.jobs.deliver import addresses, deliver
from haulm.settings.load import load
from haulm.store.database import open_database
from haulm.store.letters import Status, StoredLetter, claim, deliveries_of, keep_letter

ME, HAULM = "grower@example.org", "garden@example.org"
FIRST = date(2026, 5, 12)


def at(day, hour=12):
    return datetime(day.year, day.month, day.day, hour, 30, tzinfo=UTC)


@pytest.fixture
def to_the_mailbox(garden, tmp_path):
    """The garden whose letters go to the mailbox that haulm reads, with a letter that an ended run left on its way."""
    _, state = garden
    path = tmp_path / "haulm.toml"
    path.write_text(path.read_text(encoding="utf-8").replace(f'address = "{ME}"', f'address = "{HAULM}"'))
    settings = load(path)
    with open_database(state.store) as database:
        letter = StoredLetter(settings.garden.key, "morning", FIRST, at(FIRST), "Water", "text\n", "<p>html</p>", "{}")
        keep_letter(database, letter, [one for one in addresses(settings) if one.channel == "mail"])
        (delivery,) = deliveries_of(database, settings.garden.key, "morning", FIRST)
        assert claim(database, delivery.id, at(FIRST))
        yield settings, database, delivery.address.message_id


@pytest.mark.parametrize("arrived", [True, False])
def test_a_letter_found_on_its_way_is_looked_up_in_the_mailbox(to_the_mailbox, box, postman, arrived):
    settings, database, identity = to_the_mailbox
    box.put("Water", "text", identity=identity if arrived else "<another@example.org>")
    assert deliver(settings, database, at(FIRST, 14)) is Exit.DONE
    (delivery,) = deliveries_of(database, settings.garden.key, "morning", FIRST)
    assert delivery.status is Status.SENT
    assert [letter["Message-ID"] for letter in postman.letters] == ([] if arrived else [identity])


def test_where_the_mailbox_cannot_be_asked_it_goes_once_more_under_the_same_id(to_the_mailbox, postman, tmp_path):
    _, database, identity = to_the_mailbox
    gone = load(tmp_path / "haulm.toml", {"HAULM_POST__MAILBOX__PORT": "9"})
    assert deliver(gone, database, at(FIRST, 14)) is Exit.DONE
    assert [letter["Message-ID"] for letter in postman.letters] == [identity]
