-- A store of version 1 as it lay on a disk: its tables and a row in each. Invented.
CREATE TABLE log_line (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, by TEXT NOT NULL, line TEXT NOT NULL);
CREATE TABLE ack (id INTEGER PRIMARY KEY AUTOINCREMENT, alert TEXT NOT NULL, by TEXT NOT NULL, at TEXT NOT NULL, taken_at TEXT);
CREATE TABLE setting (id INTEGER PRIMARY KEY AUTOINCREMENT, name TEXT NOT NULL UNIQUE, value TEXT NOT NULL);
CREATE TABLE alert_book (id INTEGER PRIMARY KEY AUTOINCREMENT, book TEXT NOT NULL);
CREATE TABLE event (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, kind TEXT NOT NULL, alert TEXT NOT NULL, data TEXT NOT NULL);
CREATE TABLE position (id INTEGER PRIMARY KEY AUTOINCREMENT, at TEXT NOT NULL, latitude_deg REAL NOT NULL, longitude_deg REAL NOT NULL,
  source TEXT NOT NULL);
CREATE TABLE forecast (id INTEGER PRIMARY KEY AUTOINCREMENT, path TEXT NOT NULL UNIQUE, checksum TEXT NOT NULL, centre TEXT NOT NULL,
  run TEXT NOT NULL, kind TEXT NOT NULL, arrived TEXT NOT NULL, size_bytes INTEGER NOT NULL);
CREATE TABLE step (id INTEGER PRIMARY KEY AUTOINCREMENT, start TEXT NOT NULL UNIQUE, data TEXT NOT NULL);
CREATE TABLE pass_kept (id INTEGER PRIMARY KEY AUTOINCREMENT, made_at TEXT NOT NULL, next_wake TEXT, sentence TEXT NOT NULL, form TEXT,
  orders TEXT);
CREATE INDEX event_at ON event (at);
CREATE INDEX position_at ON position (at);
CREATE INDEX pass_made_at ON pass_kept (made_at);
INSERT INTO log_line VALUES (1, '2026-05-16T12:00:00.000000+00:00', 'skipper', '2026-05-16T12:00Z rig main: reef 1, genoa: half');
INSERT INTO log_line VALUES (2, '2026-05-16T18:40:00.000000+00:00', 'skipper', '2026-05-16T18:40Z put in the second reef 22 min');
INSERT INTO ack VALUES (1, 'job.reef_2', 'skipper', '2026-05-16T18:30:00.000000+00:00', '2026-05-16T18:30:10.000000+00:00');
INSERT INTO ack VALUES (2, 'front.20260517', 'skipper', '2026-05-16T23:10:00.000000+00:00', NULL);
INSERT INTO setting VALUES (1, 'volume', '0.8');
INSERT INTO alert_book VALUES (1, '{"schema": 1, "book": {"alerts": [], "as_of": "2026-05-16T23:10:00Z", "next_number": 7, "refused": []}}');
INSERT INTO position VALUES (1, '2026-05-16T12:00:00.000000+00:00', 36.5, -52.0, 'GP/RMC');
INSERT INTO forecast VALUES (1, '/home/skipper/run.grib2', 'abc', 'kwbc', '2026-05-16T12:00:00.000000+00:00', 'ensemble',
  '2026-05-16T17:30:00.000000+00:00', 123456);
INSERT INTO step VALUES (1, '2026-05-16T12:00:00.000000+00:00', '{"start_s": 1778932800.0, "mean_ms": 9.5, "from_deg": 225.0,
  "gust_ms": 13.0, "gust_kind": "three_second", "wind_way": "north", "doubts": []}');
INSERT INTO pass_kept VALUES (1, '2026-05-16T12:00:00.000000+00:00', NULL, 'made with one run', 'nightorders-orders-1', '@ORDERS@');
PRAGMA user_version = 1;
PRAGMA application_id = 1313821252;
