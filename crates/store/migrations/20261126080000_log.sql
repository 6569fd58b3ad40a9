-- What crews did, in the order in which it arrived here. Rows are added and never change.
CREATE TABLE event (
    -- 1, 2, 3 … without a gap.
    place    INTEGER PRIMARY KEY CHECK (place >= 1),
    -- Minted by the device that made the event.
    id       BLOB NOT NULL CHECK (length(id) = 16),
    job      BLOB NOT NULL CHECK (length(job) = 16),
    -- The event in its canonical form, and the SHA-256 of that.
    body     TEXT NOT NULL,
    digest   BLOB NOT NULL CHECK (length(digest) = 32),
    -- When it arrived, in milliseconds of universal time since 1970.
    received INTEGER NOT NULL,
    -- SHA-256 over the chain of the row before, this row's place, digest and time of arrival.
    chain    BLOB NOT NULL CHECK (length(chain) = 32),
    -- The same event is one row. Another event under the same id is kept beside it.
    UNIQUE (id, digest)
) STRICT;

CREATE INDEX event_of_job ON event (job, place);

CREATE TRIGGER event_never_changes BEFORE UPDATE ON event
BEGIN SELECT RAISE(ABORT, 'an event never changes'); END;

CREATE TRIGGER event_never_goes BEFORE DELETE ON event
BEGIN SELECT RAISE(ABORT, 'an event is never taken out'); END;
