-- The store, version 3: hours of closed days. `hours` holds those of one point and one UTC day in
-- the format of day_hours.h, most of them as what is to be known beside the day's pack to compute
-- them. Rows of the table `hours` count before it: an hour that was made anew lies there until the
-- day is packed again; a row without readings and without time covered says that there is none.
-- This file never changes once it has been released.
CREATE TABLE day_hours (
    point INTEGER NOT NULL REFERENCES points (key),
    day INTEGER NOT NULL,
    hours BLOB NOT NULL,
    PRIMARY KEY (point, day)
) WITHOUT ROWID;
