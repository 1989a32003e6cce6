-- Who wrote what into the grower's book. The book itself is in the journal: versions of bags,
-- probes and records, entries, and what was struck out. Nothing in it is ever overwritten.

CREATE TABLE acts (
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    at_s   REAL NOT NULL,                   -- when it was written; the journal says when it was so
    by     TEXT NOT NULL,
    what   TEXT NOT NULL,                   -- the command in words
    undoes INTEGER REFERENCES acts (id)
);

-- Without an act: the room's folder, an alarm command, or the clock.
ALTER TABLE journal ADD COLUMN act INTEGER REFERENCES acts (id);
CREATE INDEX journal_by_act ON journal (act) WHERE act IS NOT NULL;

CREATE TRIGGER journal_is_not_changed BEFORE UPDATE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal is only added to'); END;
CREATE TRIGGER journal_is_not_deleted BEFORE DELETE ON journal
BEGIN SELECT RAISE(ABORT, 'the journal is only added to'); END;

-- A walk as far as it came, so that a closed terminal loses nothing.
CREATE TABLE walks (
    id      INTEGER PRIMARY KEY AUTOINCREMENT,
    begun_s REAL NOT NULL,
    by      TEXT NOT NULL,
    ended_s REAL
);
CREATE TABLE walk_steps (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    walk       INTEGER NOT NULL REFERENCES walks (id),
    at_s       REAL NOT NULL,
    bag        TEXT NOT NULL,
    state      TEXT NOT NULL,               -- taken, asked again, skipped
    typed      TEXT NOT NULL,
    why        TEXT NOT NULL
);
CREATE INDEX walk_steps_by_walk ON walk_steps (walk, id);
