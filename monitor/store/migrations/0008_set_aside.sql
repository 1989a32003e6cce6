-- What was closed while the wall clock was ahead, once it is set back: put by, no longer of the log.

CREATE TABLE set_aside (
    id               INTEGER PRIMARY KEY AUTOINCREMENT,
    at_s             REAL NOT NULL,     -- by the clock as it is right now
    ahead_s          REAL NOT NULL,     -- how far it had been ahead
    since_s          REAL,              -- when the last sound frame was closed; NULL for none
    frames           INTEGER NOT NULL,
    after_journal_id INTEGER NOT NULL,  -- commands of the wrong time lie between these
    last_journal_id  INTEGER NOT NULL,
    last_frame_id    INTEGER NOT NULL   -- no frame has this number again
);

CREATE TABLE frames_aside (
    aside           INTEGER NOT NULL REFERENCES set_aside (id),
    id              INTEGER NOT NULL,
    end_s           REAL NOT NULL,
    closed_s        REAL NOT NULL,
    last_reading_id INTEGER NOT NULL,
    last_command_id INTEGER NOT NULL,
    house           TEXT NOT NULL
);

CREATE TABLE events_aside (
    aside      INTEGER NOT NULL REFERENCES set_aside (id),
    id         INTEGER NOT NULL,
    event_id   TEXT NOT NULL,
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
