-- The store, version 2: packed days. `pack` holds the readings of one point and one UTC day in the
-- format of day_pack.h, `count` how many they are. Readings of such a day that came later lie in
-- `readings` until the day is packed again. This file never changes once it has been released.
CREATE TABLE day_packs (
    point INTEGER NOT NULL REFERENCES points (key),
    day INTEGER NOT NULL,
    count INTEGER NOT NULL,
    pack BLOB NOT NULL,
    PRIMARY KEY (point, day)
) WITHOUT ROWID;

-- No day after this one has ever been packed, of any point: a reading of a later day has no twin in
-- a pack.
INSERT INTO totals VALUES ('packed to day', -1000000000000);
