-- The store, version 4. This file never changes once it has been released.

-- Second looks that are still to be made. The past of a point is judged again from `from_ms` on, up
-- to `to_ms` at least; late readings lie from `late_from_ms` to `late_to_ms`, and the hours there are
-- made anew. A look that goes over more than one turn moves `from_ms` on.
CREATE TABLE second_looks (
    point INTEGER NOT NULL REFERENCES points (key),
    from_ms INTEGER NOT NULL,
    to_ms INTEGER NOT NULL,
    late_from_ms INTEGER,
    late_to_ms INTEGER,
    PRIMARY KEY (point, from_ms)
) WITHOUT ROWID;

-- What a point was in at some instant is its last occurrence of that condition raised until then.
CREATE INDEX alarms_by_condition ON alarms (system, point, condition, raised_ms);

-- A day with very many readings lies in several packs: `from_ms` is where the part of the day begins
-- that a pack holds, up to the next pack or the end of the day; the first of a day begins with it.
-- The hours of such a day are given in day_hours.
CREATE TABLE packs (
    point INTEGER NOT NULL REFERENCES points (key),
    from_ms INTEGER NOT NULL,
    count INTEGER NOT NULL,
    pack BLOB NOT NULL,
    PRIMARY KEY (point, from_ms)
) WITHOUT ROWID;
INSERT INTO packs SELECT point, day * 86400000, count, pack FROM day_packs ORDER BY point, day;
DROP TABLE day_packs;
