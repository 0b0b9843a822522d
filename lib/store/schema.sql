-- The store, version 1. Times are milliseconds since 1970-01-01 UTC, values are SI, NULL is "none".
-- A later version is a further file and a further row in the table of steps in store_upgrade.c;
-- this file never changes once it has been released.

-- Points that ever had a reading. `interval_ms` is how often the point reports (0: not told yet),
-- since `interval_from_ms`. `expired_ms` is the newest reading that retention has deleted.
CREATE TABLE points (
    key INTEGER PRIMARY KEY,
    system TEXT NOT NULL,
    point TEXT NOT NULL,
    interval_ms INTEGER NOT NULL DEFAULT 0,
    interval_from_ms INTEGER,
    expired_ms INTEGER,
    UNIQUE (system, point)
);

CREATE TABLE readings (
    point INTEGER NOT NULL REFERENCES points (key),
    time_ms INTEGER NOT NULL,
    value REAL NOT NULL,
    origin INTEGER NOT NULL,
    PRIMARY KEY (point, time_ms)
) WITHOUT ROWID;

CREATE TABLE hours (
    point INTEGER NOT NULL REFERENCES points (key),
    hour_ms INTEGER NOT NULL,
    count INTEGER NOT NULL,
    value_ms REAL NOT NULL,
    covered_ms INTEGER NOT NULL,
    lowest REAL,
    highest REAL,
    PRIMARY KEY (point, hour_ms)
) WITHOUT ROWID;

CREATE TABLE days (
    point INTEGER NOT NULL REFERENCES points (key),
    local_day INTEGER NOT NULL,
    start_ms INTEGER NOT NULL,
    end_ms INTEGER NOT NULL,
    count INTEGER NOT NULL,
    median REAL,
    mean REAL,
    covered_ms INTEGER NOT NULL,
    PRIMARY KEY (point, local_day)
) WITHOUT ROWID;

-- Running totals, so that nobody has to count a large table.
CREATE TABLE totals (name TEXT PRIMARY KEY, value INTEGER NOT NULL) WITHOUT ROWID;
INSERT INTO totals VALUES ('readings', 0), ('outbox 0', 0), ('outbox 1', 0), ('outbox 2', 0);

CREATE TABLE alarms (
    id INTEGER PRIMARY KEY,
    system TEXT NOT NULL,
    point TEXT NOT NULL,
    condition TEXT NOT NULL,
    state TEXT NOT NULL,
    priority TEXT NOT NULL,
    since_ms INTEGER,
    raised_ms INTEGER,
    returned_ms INTEGER,
    acknowledged_ms INTEGER,
    acknowledged_by TEXT,
    note TEXT,
    shelved_until_ms INTEGER,
    shelved_by TEXT,
    shelved_why TEXT,
    value REAL,
    setpoint REAL,
    unit TEXT,
    told INTEGER NOT NULL,
    open INTEGER NOT NULL,
    reminded_ms INTEGER,
    escalated_ms INTEGER,
    details TEXT
);
CREATE INDEX alarms_by_raised ON alarms (raised_ms);
CREATE INDEX alarms_by_system ON alarms (system, raised_ms);
CREATE INDEX alarms_open ON alarms (raised_ms) WHERE open = 1;

CREATE TABLE trackers (
    system TEXT NOT NULL,
    point TEXT NOT NULL,
    condition TEXT NOT NULL,
    phase INTEGER NOT NULL,
    since_ms INTEGER,
    alarm INTEGER NOT NULL,
    PRIMARY KEY (system, point, condition)
) WITHOUT ROWID;

CREATE TABLE commissioning (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    system TEXT NOT NULL,
    from_ms INTEGER NOT NULL,
    recorded_ms INTEGER NOT NULL,
    by TEXT,
    origin TEXT,
    text TEXT
);
CREATE INDEX commissioning_by_system ON commissioning (system, from_ms);

CREATE TABLE visits (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    system TEXT NOT NULL,
    on_ms INTEGER NOT NULL,
    recorded_ms INTEGER NOT NULL,
    by TEXT,
    found TEXT,
    did TEXT,
    text TEXT
);
CREATE INDEX visits_by_system ON visits (system, on_ms);

CREATE TABLE service (
    system TEXT PRIMARY KEY,
    from_ms INTEGER,
    until_ms INTEGER,
    by TEXT,
    why TEXT
) WITHOUT ROWID;

-- Bounded tables: what was not taken, with the first example's bytes.
CREATE TABLE refused (
    topic TEXT NOT NULL,
    reason TEXT NOT NULL,
    count INTEGER NOT NULL,
    first_ms INTEGER NOT NULL,
    last_ms INTEGER NOT NULL,
    example BLOB,
    PRIMARY KEY (topic, reason)
) WITHOUT ROWID;
CREATE INDEX refused_by_last ON refused (last_ms);

CREATE TABLE unclaimed (
    topic TEXT PRIMARY KEY,
    count INTEGER NOT NULL,
    first_ms INTEGER NOT NULL,
    last_ms INTEGER NOT NULL,
    example BLOB
) WITHOUT ROWID;
CREATE INDEX unclaimed_by_last ON unclaimed (last_ms);

CREATE TABLE notes (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;

-- Messages to people. `state`: 0 waiting, 1 sent, 2 failed. `head` is 1 on the earliest waiting row
-- of its contact and system: the only one that may go, so the only one that has to be looked at.
CREATE TABLE outbox (
    row INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL,
    contact TEXT NOT NULL,
    system TEXT NOT NULL,
    type TEXT NOT NULL,
    content_type TEXT NOT NULL,
    body TEXT NOT NULL,
    alarm INTEGER NOT NULL,
    priority INTEGER NOT NULL,
    created_ms INTEGER NOT NULL,
    not_before_ms INTEGER NOT NULL,
    state INTEGER NOT NULL,
    head INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    done_ms INTEGER NOT NULL,
    last_answer TEXT
);
CREATE INDEX outbox_by_id ON outbox (id);
CREATE INDEX outbox_waiting ON outbox (contact, system) WHERE state = 0;
CREATE INDEX outbox_due ON outbox (contact, priority, not_before_ms) WHERE head = 1;
CREATE INDEX outbox_next ON outbox (not_before_ms) WHERE head = 1;
CREATE INDEX outbox_sent ON outbox (done_ms) WHERE state = 1;
CREATE INDEX outbox_failed ON outbox (row) WHERE state = 2;
CREATE INDEX outbox_bundles ON outbox (contact, row) WHERE alarm < 0;

-- Which alarms a message is about, with its line of a list and its JSON object, so that waiting
-- messages can be made into one without asking anybody again.
CREATE TABLE outbox_alarms (
    row INTEGER NOT NULL,
    alarm INTEGER NOT NULL,
    line TEXT NOT NULL,
    data TEXT NOT NULL,
    PRIMARY KEY (row, alarm)
) WITHOUT ROWID;
CREATE INDEX outbox_alarms_by_alarm ON outbox_alarms (alarm);
CREATE TRIGGER outbox_inserted AFTER INSERT ON outbox BEGIN
    UPDATE totals SET value = value + 1 WHERE name = 'outbox ' || new.state;
END;
CREATE TRIGGER outbox_deleted AFTER DELETE ON outbox BEGIN
    DELETE FROM outbox_alarms WHERE row = old.row;
    UPDATE totals SET value = value - 1 WHERE name = 'outbox ' || old.state;
END;
CREATE TRIGGER outbox_changed AFTER UPDATE OF state ON outbox WHEN old.state <> new.state BEGIN
    UPDATE totals SET value = value - 1 WHERE name = 'outbox ' || old.state;
    UPDATE totals SET value = value + 1 WHERE name = 'outbox ' || new.state;
END;
