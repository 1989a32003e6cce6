-- What is kept of readings for ever, in slots of ten minutes of measured time. A hand reading
-- has its bag and an empty probe. `doubted` counts those that a flag kept out of the numbers.

CREATE TABLE rollups (
    at_s     REAL NOT NULL,           -- the slot's end
    probe    TEXT NOT NULL,
    bag      TEXT NOT NULL,
    quantity TEXT NOT NULL,
    low      REAL,
    mean     REAL,
    high     REAL,
    count    INTEGER NOT NULL,
    doubted  INTEGER NOT NULL,
    PRIMARY KEY (at_s, probe, bag, quantity)
) WITHOUT ROWID;

-- Spare stores that were taken back into this one, so that none is taken twice.
CREATE TABLE spares (
    id     TEXT PRIMARY KEY,
    back_s REAL NOT NULL
) WITHOUT ROWID;
