"""The store's tables, as steps from one version to the next. A step that was ever released is never changed again.

Not by a blank: the tables of a store are compared with them, so as to tell a damaged one.
Instants are UTC text of one width, local days ISO dates. A grower's rows carry the garden's key, weather its station's.
"""

import re

_FIRST = (
    # `received` is '' where nobody noted when a value came: it sorts before every instant.
    """CREATE TABLE weather (
        station TEXT NOT NULL, quantity TEXT NOT NULL, day TEXT NOT NULL, received TEXT NOT NULL, value REAL NOT NULL,
        PRIMARY KEY (station, quantity, day, received)) STRICT, WITHOUT ROWID""",
    # `known` is the instant from which an issue may be used: when it was received or, where not noted, issued.
    """CREATE TABLE forecasts (
        id INTEGER PRIMARY KEY, source TEXT NOT NULL, cell TEXT NOT NULL, issued TEXT NOT NULL, received TEXT,
        known TEXT NOT NULL, UNIQUE (source, cell, issued, known)) STRICT""",
    """CREATE TABLE forecast_values (
        forecast INTEGER NOT NULL REFERENCES forecasts (id) ON DELETE CASCADE,
        quantity TEXT NOT NULL, day TEXT NOT NULL, value REAL NOT NULL,
        PRIMARY KEY (forecast, quantity, day)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE states (
        garden TEXT NOT NULL, bed TEXT NOT NULL, fingerprint TEXT NOT NULL, through_day TEXT NOT NULL,
        shape TEXT NOT NULL, numbers BLOB NOT NULL,
        PRIMARY KEY (garden, bed, fingerprint, through_day)) STRICT, WITHOUT ROWID""",
    # An episode has a row for each letter day that changed it, so that any earlier morning can be worked out again.
    """CREATE TABLE said (
        garden TEXT NOT NULL, rule TEXT NOT NULL, bed TEXT NOT NULL, planting TEXT NOT NULL, episode TEXT NOT NULL,
        day TEXT NOT NULL, verdict TEXT NOT NULL, level INTEGER NOT NULL,
        first_on TEXT NOT NULL, last_on TEXT NOT NULL, ended_on TEXT,
        PRIMARY KEY (garden, rule, bed, planting, episode, day)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE letters (
        id INTEGER PRIMARY KEY, garden TEXT NOT NULL, kind TEXT NOT NULL, day TEXT NOT NULL, written TEXT NOT NULL,
        subject TEXT NOT NULL, text TEXT NOT NULL, html TEXT NOT NULL, json TEXT NOT NULL, picture BLOB,
        UNIQUE (garden, kind, day)) STRICT""",
    """CREATE TABLE deliveries (
        id INTEGER PRIMARY KEY, letter INTEGER NOT NULL REFERENCES letters (id) ON DELETE CASCADE,
        channel TEXT NOT NULL, recipient TEXT NOT NULL, message_id TEXT NOT NULL,
        status TEXT NOT NULL CHECK (status IN ('ready', 'sending', 'sent', 'refused')),
        attempts INTEGER NOT NULL, changed TEXT NOT NULL, note TEXT NOT NULL,
        UNIQUE (letter, channel, recipient)) STRICT""",
    "CREATE UNIQUE INDEX delivery_of_message ON deliveries (message_id) WHERE message_id <> ''",
    "CREATE INDEX waiting_deliveries ON deliveries (status) WHERE status <> 'sent'",
    """CREATE TABLE runs (
        id INTEGER PRIMARY KEY, garden TEXT NOT NULL, kind TEXT NOT NULL, day TEXT NOT NULL,
        started TEXT NOT NULL, ended TEXT, outcome TEXT NOT NULL, exit_code INTEGER, note TEXT NOT NULL) STRICT""",
    "CREATE INDEX runs_of_a_day ON runs (garden, kind, day)",
    """CREATE TABLE notes (
        garden TEXT NOT NULL, id TEXT NOT NULL, place INTEGER NOT NULL, instant TEXT NOT NULL, day TEXT NOT NULL,
        bed TEXT NOT NULL, planting TEXT NOT NULL, what TEXT, written TEXT NOT NULL, value REAL, cause TEXT,
        origin TEXT NOT NULL, withdraws TEXT NOT NULL,
        PRIMARY KEY (garden, id)) STRICT, WITHOUT ROWID""",
    "CREATE INDEX notes_by_day ON notes (garden, day)",
)

_HOURS = (
    """CREATE TABLE hours (
        series TEXT NOT NULL, hour TEXT NOT NULL, quantity TEXT NOT NULL, value REAL NOT NULL,
        PRIMARY KEY (series, quantity, hour)) STRICT, WITHOUT ROWID""",
)

_ANSWERS = (
    # One row for each sentence of an answer by mail: reading a message twice adds nothing.
    """CREATE TABLE answers (
        garden TEXT NOT NULL, message TEXT NOT NULL, place INTEGER NOT NULL, received TEXT NOT NULL,
        sender TEXT NOT NULL, bed TEXT NOT NULL, sentence TEXT NOT NULL, outcome TEXT NOT NULL, told TEXT NOT NULL,
        choices TEXT NOT NULL, told_on TEXT,
        PRIMARY KEY (garden, message, place)) STRICT, WITHOUT ROWID""",
    """CREATE TABLE mailboxes (
        garden TEXT NOT NULL PRIMARY KEY, validity INTEGER NOT NULL, last_uid INTEGER NOT NULL) STRICT""",
    # What signs the links of letters; one for all gardens of the store.
    "CREATE TABLE signing_keys (made TEXT NOT NULL, value BLOB NOT NULL) STRICT",
)

# Of a letter that was let go, `html` is empty (`haulm.store.let_go`).
_IN_FULL = ("CREATE INDEX letters_in_full ON letters (garden, day) WHERE html <> ''",)

MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST, _HOURS, _ANSWERS, _IN_FULL)

_MADE = re.compile(r"CREATE (?:UNIQUE )?(?:TABLE|INDEX) (\w+)")
_CHANGED = re.compile(r"(?:ALTER|DROP) (?:TABLE|INDEX) (\w+)")


def tables_of(steps: tuple[tuple[str, ...], ...]) -> dict[str, str]:
    """Each table and index that some steps make, as SQLite notes it: to the letter. Those they change are left out."""
    made = {name: statement for step in steps for statement in step for name in _MADE.findall(statement)}
    changed = {name for step in steps for statement in step for name in _CHANGED.findall(statement)}
    return {name: statement for name, statement in made.items() if name not in changed}
