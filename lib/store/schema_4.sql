-- The store, version 4: second looks that are still to be made. Late readings of a point lie from
-- `from_ms` to `to_ms`; from there on its past is judged again, and its hours are made anew. A look
-- that goes over more than one turn moves `from_ms` on. This file never changes once it has been
-- released.
CREATE TABLE second_looks (
    point INTEGER NOT NULL REFERENCES points (key),
    from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL,
    PRIMARY KEY (point, from_ms)
) WITHOUT ROWID;

-- What a point was in at some instant is its last occurrence of that condition raised until then.
CREATE INDEX alarms_by_condition ON alarms (system, point, condition, raised_ms);
