-- The store, version 5. This file never changes once it has been released.

-- Who took a reading by hand. It says the value once more: like a visit it is kept when the reading
-- itself has gone for its age.
CREATE TABLE by_hand (
    point INTEGER NOT NULL REFERENCES points (key),
    time_ms INTEGER NOT NULL,
    value REAL NOT NULL,
    by TEXT NOT NULL,
    PRIMARY KEY (point, time_ms)
) WITHOUT ROWID;
