-- The store, version 9. This file never changes once it has been released.

-- All tables are STRICT: a value that is not of its column's type is refused when it is written, and
-- told by verify where it lies. On the disk nothing is different, so only the text of the tables is
-- changed, as SQLite describes it for such changes, and no row is copied. Rows need no look: every
-- version bound texts, bytes and numbers to columns of their kind.
PRAGMA writable_schema = ON;
UPDATE sqlite_schema
SET sql = sql || CASE WHEN sql LIKE '%WITHOUT ROWID' THEN ', STRICT' ELSE ' STRICT' END
WHERE type = 'table' AND name IN ('points', 'readings', 'hours', 'days', 'totals', 'alarms', 'trackers',
    'commissioning', 'visits', 'service', 'refused', 'unclaimed', 'notes', 'outbox', 'outbox_alarms',
    'day_hours', 'second_looks', 'packs', 'by_hand', 'radon_tests', 'home_reports', 'arrivals');
PRAGMA writable_schema = RESET;

-- The alarm of a tracker is the open one of its system, point and condition. SQLite marks the schema
-- as changed with this, so that whoever has the file open reads it anew.
ALTER TABLE trackers DROP COLUMN alarm;
