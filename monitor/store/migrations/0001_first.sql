-- Everything bagwatt knows, in the order it arrived.
-- Times are seconds since 1970 in UTC. No index on readings but its id: an index on
-- (probe, time) costs an SD card about eighteen times the writes.

CREATE TABLE boots (
    id               INTEGER PRIMARY KEY,
    boot_id          TEXT NOT NULL UNIQUE,
    after_reading_id INTEGER NOT NULL  -- the newest reading when this boot was first heard of
);

CREATE TABLE readings (
    id           INTEGER PRIMARY KEY AUTOINCREMENT,
    received_s   REAL NOT NULL,
    monotonic_s  REAL NOT NULL,
    boot         INTEGER NOT NULL REFERENCES boots (id),
    synced       INTEGER NOT NULL,
    source       TEXT NOT NULL,
    probe        TEXT NOT NULL,
    bag          TEXT NOT NULL,
    quantity     TEXT NOT NULL,
    value        REAL NOT NULL,
    measured_s   REAL,
    stamped_s    REAL,            -- measured_s as first written, once a re-stamp changed it
    raw          REAL,
    raw_unit     TEXT NOT NULL,
    marks        TEXT NOT NULL
);

CREATE TABLE flags (
    reading_id INTEGER NOT NULL REFERENCES readings (id) ON DELETE CASCADE,
    flag       TEXT NOT NULL,
    PRIMARY KEY (reading_id, flag)
) WITHOUT ROWID;

CREATE TABLE seen (
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    source TEXT NOT NULL,
    key    BLOB NOT NULL,
    UNIQUE (source, key)
);

-- The broker session in which a source's messages were last counted.
CREATE TABLE sessions (
    source  TEXT PRIMARY KEY,
    session TEXT NOT NULL
) WITHOUT ROWID;

CREATE TABLE quarantine (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    received_s REAL NOT NULL,
    source     TEXT NOT NULL,
    reason     TEXT NOT NULL,
    detail     TEXT NOT NULL,
    raw        BLOB NOT NULL
);

CREATE TABLE refusals (
    source  TEXT NOT NULL,
    reason  TEXT NOT NULL,
    count   INTEGER NOT NULL,
    first_s REAL NOT NULL,
    last_s  REAL NOT NULL,
    PRIMARY KEY (source, reason)
) WITHOUT ROWID;

-- What people and the clock did, in order: alarm commands, book entries, versions of bags and
-- probes, re-stamps. `after_reading_id` places a row among the readings.
CREATE TABLE journal (
    id               INTEGER PRIMARY KEY AUTOINCREMENT,
    at_s             REAL NOT NULL,
    kind             TEXT NOT NULL,
    name             TEXT NOT NULL,
    after_reading_id INTEGER NOT NULL,
    body             TEXT NOT NULL
);
CREATE INDEX journal_by_name ON journal (kind, name, id);

CREATE TABLE frames (
    id              INTEGER PRIMARY KEY,
    end_s           REAL NOT NULL UNIQUE,
    closed_s        REAL NOT NULL,
    last_reading_id INTEGER NOT NULL,
    last_command_id INTEGER NOT NULL,
    house           TEXT NOT NULL  -- what the monitor then said of itself
);

CREATE TABLE events (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    event_id   TEXT NOT NULL UNIQUE,
    alarm_id   TEXT NOT NULL,
    at_s       REAL NOT NULL,
    kind       TEXT NOT NULL,
    subject    TEXT NOT NULL,
    transition TEXT NOT NULL,
    urgency    TEXT NOT NULL,
    reason     TEXT NOT NULL,
    first_in   INTEGER NOT NULL,
    by         TEXT NOT NULL,
    note       TEXT NOT NULL,
    announced  INTEGER NOT NULL,
    facts      TEXT NOT NULL
);
CREATE INDEX events_by_alarm ON events (alarm_id, id);
CREATE INDEX events_by_time ON events (at_s);

-- An alarm stands until it has returned to normal after it was last raised.
CREATE VIEW standing AS
SELECT alarm_id FROM events
GROUP BY alarm_id
HAVING COALESCE(MAX(CASE WHEN transition = 'returned to normal' THEN id END), 0)
    <= COALESCE(MAX(CASE WHEN transition = 'raised' THEN id END), 0);

CREATE TABLE estimates (
    at_s     REAL NOT NULL,
    bag      TEXT NOT NULL,
    estimate TEXT NOT NULL,
    evidence TEXT,
    PRIMARY KEY (at_s, bag)
) WITHOUT ROWID;

CREATE TABLE checkpoints (
    id    INTEGER PRIMARY KEY AUTOINCREMENT,
    end_s REAL NOT NULL,
    state TEXT NOT NULL
);

CREATE TABLE outbox (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    message_id  TEXT NOT NULL UNIQUE,
    recipient   TEXT NOT NULL,
    title       TEXT NOT NULL,
    body        TEXT NOT NULL,
    urgency     TEXT NOT NULL,
    created_s   REAL NOT NULL,
    due_s       REAL NOT NULL,
    expires_s   REAL,
    state       TEXT NOT NULL DEFAULT 'waiting',
    attempts    INTEGER NOT NULL DEFAULT 0,
    next_try_s  REAL NOT NULL,
    bundle      TEXT NOT NULL DEFAULT '',
    taken       TEXT NOT NULL DEFAULT '',
    last_answer TEXT NOT NULL DEFAULT '',
    settled_s   REAL
);
CREATE INDEX outbox_waiting ON outbox (next_try_s) WHERE state = 'waiting';

CREATE TABLE notes (
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    at_s   REAL NOT NULL,
    kind   TEXT NOT NULL,
    detail TEXT NOT NULL
);
