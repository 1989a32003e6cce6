-- Who this store is among others, and since when it claims the name of its room at a broker.

CREATE TABLE identity (
    one      INTEGER PRIMARY KEY CHECK (one = 1),
    instance TEXT NOT NULL
);

CREATE TABLE claims (
    prefix  TEXT NOT NULL,  -- of the topics
    room    TEXT NOT NULL,
    since_s REAL NOT NULL,
    PRIMARY KEY (prefix, room)
) WITHOUT ROWID;
