-- Keys of deliveries, many in a row: a commit then writes one page of them, not one for each key.

ALTER TABLE seen RENAME TO seen_singly;

CREATE TABLE seen (
    id     INTEGER PRIMARY KEY,
    source TEXT NOT NULL,
    keys   BLOB NOT NULL          -- eight bytes each, oldest first
);

INSERT INTO seen (id, source, keys) SELECT id, source, key FROM seen_singly ORDER BY id;

DROP TABLE seen_singly;
