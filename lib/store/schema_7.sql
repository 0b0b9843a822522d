-- The store, version 7. This file never changes once it has been released.

-- What a household sent by the link of its house, kept for good: what it is about (time_ms) and when
-- it came (sent_ms). The value is SI, NULL where there is none.
CREATE TABLE home_reports (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    system TEXT NOT NULL,
    sent_ms INTEGER NOT NULL,
    time_ms INTEGER NOT NULL,
    kind TEXT NOT NULL,
    branch TEXT,
    value REAL,
    note TEXT
);
CREATE INDEX home_reports_by_system ON home_reports (system, sent_ms);
