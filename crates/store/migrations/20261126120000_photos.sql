-- Photos, by the SHA-256 of their bytes. Rows are added and never change.
CREATE TABLE photo (
    -- 1, 2, 3 … without a gap.
    place    INTEGER PRIMARY KEY CHECK (place >= 1),
    digest   BLOB NOT NULL UNIQUE CHECK (length(digest) = 32),
    kind     TEXT NOT NULL CHECK (kind IN ('image/jpeg', 'image/png', 'image/webp')),
    bytes    BLOB NOT NULL,
    -- When it arrived, in milliseconds of universal time since 1970.
    received INTEGER NOT NULL,
    -- SHA-256 over the chain of the row before, this row's place, digest and time of arrival.
    chain    BLOB NOT NULL CHECK (length(chain) = 32)
) STRICT;

CREATE TRIGGER photo_never_changes BEFORE UPDATE ON photo
BEGIN SELECT RAISE(ABORT, 'a photo never changes'); END;

CREATE TRIGGER photo_never_goes BEFORE DELETE ON photo
BEGIN SELECT RAISE(ABORT, 'a photo is never taken out'); END;
