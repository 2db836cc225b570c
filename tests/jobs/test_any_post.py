"""The outbox under whatever happens to it, in any order: no letter lost, and none twice to anybody but in one window.

Letters are stored, and real runs send them to a real server that takes, puts off, refuses, or takes and falls silent. A
run may be killed at any step; the store may be lost and had again from a copy, or begun anew. What everybody got is
compared with what the server saw: a letter may come once more only where the server took it and the run could not note
that, and then under the same Message-ID.
"""

import json
import shutil
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes, policy

import pytest
from aiosmtpd.controller import Controller
from hypothesis import settings as examples
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, precondition, rule, run_state_machine_as_test

from haulm.errors import Exit
from haulm.jobs.deliver import addresses
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.steps import Step
from haulm.store.database import copies_of, open_database
from haulm.store.letters import MOST_ATTEMPTS, Status, StoredLetter, all_deliveries, has_letter, keep_letter
from haulm.store.mend import restore
from haulm.store.post_book import book_of

KIND = "morning"
FIRST = date(2027, 5, 4)
KILLED = -9
TAKES, PUTS_OFF, REFUSES, FALLS_SILENT = "250 taken", "451 not now", "552 never", "silent"
STEPS = (Step.DELIVERY_CLAIMED, Step.BOOK_ENTERED, Step.MAIL_TAKEN, Step.DELIVERY_SETTLED, Step.BOOK_FOLLOWED)
UNNOTED = {(Step.MAIL_TAKEN, "after"), (Step.DELIVERY_SETTLED, "before")}

answers = st.lists(st.sampled_from((TAKES, TAKES, PUTS_OFF, REFUSES, FALLS_SILENT)), max_size=5)
kills = st.none() | st.tuples(
    st.sampled_from(STEPS), st.sampled_from(("before", "after")), st.sampled_from((1, 1, 2, 3))
)


class Server:
    """Answers each letter as it is told, in their order, then takes all; notes who got which under what id."""

    def __init__(self):
        self.answers, self.seen = [], []

    async def handle_DATA(self, server, session, envelope):  # noqa: N802  the library calls it by this name
        answer = self.answers.pop(0) if self.answers else TAKES
        letter = message_from_bytes(envelope.content, policy=policy.default)
        self.seen.append(((letter["Subject"], envelope.rcpt_tos[0]), letter["Message-ID"], answer))
        if answer == FALLS_SILENT:
            server.transport.abort()
        return answer

    def taken(self, since=0):
        return [(who, key) for who, key, answer in self.seen[since:] if answer in {TAKES, FALLS_SILENT}]


class AnyPost(RuleBasedStateMachine):
    """`windows` counts how often each letter to each recipient may have come once more."""

    def __init__(self, server, killer, folder):
        super().__init__()
        server.answers, server.seen = [], []
        self.server, self.killer, self.folder = server, killer, folder
        self.settings = load(folder / "haulm.toml")
        self.garden = self.settings.garden.key
        self.store = folder / f"store-{len(list(folder.iterdir()))}" / "haulm.sqlite"
        self.now = datetime(2027, 5, 4, 5, 30, tzinfo=UTC)
        self.written, self.windows = [], Counter()

    def later(self):
        self.now += timedelta(minutes=10)
        return self.now

    def write(self, day):
        letter = StoredLetter(self.garden, KIND, day, self.later(), f"Letter of {day}", "text\n", "<p>html</p>", "{}")
        mails = [one for one in addresses(self.settings) if one.channel == "mail"]
        with open_database(self.store) as database:
            keep_letter(database, letter, mails)

    @rule()
    def a_letter_is_stored(self):
        self.written.append(FIRST + timedelta(days=len(self.written)))
        self.write(self.written[-1])

    @precondition(lambda self: self.written)
    @rule(answers=answers, kill=kills)
    def a_run_sends(self, answers, kill):
        self.server.answers, before = list(answers), len(self.server.seen)
        code = self.run(kill)
        sent = self.server.seen[before:]
        self.windows.update(who for who, _, answer in sent if answer == FALLS_SILENT)
        if code == KILLED:
            if kill[:2] in UNNOTED and sent and sent[-1][2] == TAKES:
                self.windows[sent[-1][0]] += 1
        else:
            told = {answer for _, _, answer in sent} - {TAKES}
            assert (code == Exit.DONE) is not told, (code, sent)
        self.nobody_got_a_letter_too_often()

    def run(self, kill=None):
        words = [str(self.folder / "haulm.toml"), str(self.store), self.later().isoformat()]
        at = "" if kill is None else ":".join(map(str, kill))
        code = self.killer.run(words, self.folder, kill=at, of="only_deliver")
        assert code in {Exit.DONE, Exit.PARTLY, Exit.TRY_LATER} or (kill and code == KILLED), code
        return code

    @precondition(lambda self: self.written)
    @rule()
    def the_store_is_copied(self):
        with open_database(self.store) as database:
            database.copy(copies_of(self.store), self.later())

    @precondition(lambda self: self.written)
    @rule(copies_too=st.booleans())
    def the_store_is_lost_and_had_again(self, copies_too):
        """What it had settled and the book had not yet heard of goes once more: a kill and a loss together."""
        self.windows.update(self.settled() - self.booked())
        for part in ("", "-wal", "-shm"):
            self.store.with_name(self.store.name + part).unlink(missing_ok=True)
        if copies_too:
            shutil.rmtree(copies_of(self.store), ignore_errors=True)
        restore(self.store, self.later())
        with open_database(self.store) as database:
            lost = [day for day in self.written if not has_letter(database, self.garden, KIND, day)]
        for day in lost:
            self.write(day)

    def deliveries(self):
        with open_database(self.store) as database:
            return {
                (f"Letter of {one.day}", one.address.recipient): one for one in all_deliveries(database, self.garden)
            }

    def settled(self):
        return {who for who, one in self.deliveries().items() if one.status is Status.SENT}

    def booked(self):
        """The letters that the book, as anybody may read it, says are sent."""
        book = book_of(self.store, self.garden)
        lines = [json.loads(line) for line in book.read_text().splitlines()] if book.exists() else []
        last = {(f"Letter of {line['day']}", line["recipient"]): line["status"] for line in lines}
        return {who for who, status in last.items() if status == "sent"}

    def nobody_got_a_letter_too_often(self):
        taken = self.server.taken()
        times, ids = Counter(who for who, _ in taken), Counter(who for who, _ in set(taken))
        assert all(count <= 1 + self.windows[who] for who, count in times.items()), (times, self.windows)
        assert all(count == 1 for count in ids.values()), taken
        assert self.settled() <= times.keys()

    def teardown(self):
        """All is well again: one run more sends what waits, and what was given up was refused, or tried to the end."""
        if not self.written:
            return
        self.server.answers = []
        assert self.run() == Exit.DONE
        self.nobody_got_a_letter_too_often()
        held = self.deliveries()
        everybody = {one.address for one in self.settings.garden.recipients}
        assert held.keys() == {(f"Letter of {day}", to) for day in self.written for to in everybody}
        refused = {who for who, _, answer in self.server.seen if answer == REFUSES}
        for who, one in held.items():
            assert one.status in {Status.SENT, Status.REFUSED}, one
            assert one.status is Status.SENT or who in refused or one.attempts >= MOST_ATTEMPTS, one


@pytest.fixture
def server(free_port):
    """The server, and the port it listens on."""
    handler = Server()
    controller = Controller(handler, hostname="127.0.0.1", port=free_port)
    controller.start()
    yield handler, free_port
    controller.stop()


@pytest.mark.hypothesis
def test_no_letter_is_lost_and_none_comes_twice_but_in_the_one_window(server, kill_points, tmp_path):
    handler, port = server
    mail = (
        f'host = "127.0.0.1"\nport = {port}\nsecurity = "none"\nsender = "haulm@example.org"\nmost_a_minute = 60000\n'
    )
    second = '[recipients.you]\nname = "Helper"\naddress = "helper@example.org"\n'
    (tmp_path / "haulm.toml").write_text(f"{sample_toml()}\n{second}\n[post.mail]\n{mail}", encoding="utf-8")
    kill_points.bring("only_deliver")
    few = examples(max_examples=examples().max_examples // 8, stateful_step_count=12)
    run_state_machine_as_test(lambda: AnyPost(handler, kill_points, tmp_path), settings=few)
