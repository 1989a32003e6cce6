-- The path of a picture that goes with a message; empty for none.
ALTER TABLE outbox ADD COLUMN attachment TEXT NOT NULL DEFAULT '';
