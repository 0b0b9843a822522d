-- The store, version 8. This file never changes once it has been released.

-- Readings of a backlog in the order in which they came, until they are put into their places in
-- `readings` (series_arrivals.h). What lies here after a start was left by a process that died.
CREATE TABLE arrivals (
    number INTEGER PRIMARY KEY,
    point INTEGER NOT NULL REFERENCES points (key),
    time_ms INTEGER NOT NULL,
    value REAL NOT NULL,
    origin INTEGER NOT NULL
);
