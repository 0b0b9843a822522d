-- The store, version 6. This file never changes once it has been released.

-- Results of radon tests, kept for good. The device's statement of its own uncertainty is relative;
-- whether the house was kept closed is NULL where nobody said.
CREATE TABLE radon_tests (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    system TEXT NOT NULL,
    from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL,
    recorded_ms INTEGER NOT NULL,
    value REAL NOT NULL,
    uncertainty REAL NOT NULL,
    kind TEXT NOT NULL,
    place TEXT NOT NULL,
    device TEXT NOT NULL,
    closed_house INTEGER,
    by TEXT NOT NULL
);
CREATE INDEX radon_tests_by_system ON radon_tests (system, to_ms);
