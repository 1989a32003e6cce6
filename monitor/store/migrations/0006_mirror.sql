-- How far a server of time series has a copy of this store, and the points it would not take.
-- A place is one in the log: the readings, rows of the journal and frames copied, and the events.

CREATE TABLE mirrors (
    target     TEXT PRIMARY KEY,            -- address, organisation and bucket
    reading_id INTEGER NOT NULL,
    journal_id INTEGER NOT NULL,
    frame_id   INTEGER NOT NULL,
    event_id   INTEGER NOT NULL,
    sent       INTEGER NOT NULL DEFAULT 0,  -- points the server took
    refused    INTEGER NOT NULL DEFAULT 0,  -- points it ever refused; the newest are parked
    lost       INTEGER NOT NULL DEFAULT 0,  -- readings thrown away before they were copied
    moved_s    REAL,                        -- when the place last moved
    failing_s  REAL,                        -- since when it does not
    problem    TEXT NOT NULL DEFAULT ''
) WITHOUT ROWID;

CREATE TABLE parked (
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    target TEXT NOT NULL,
    at_s   REAL NOT NULL,
    line   TEXT NOT NULL,                   -- the point, as the server would not take it
    reason TEXT NOT NULL                    -- in the server's words
);
