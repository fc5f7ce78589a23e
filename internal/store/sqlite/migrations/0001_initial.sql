-- Times are Unix milliseconds, UTC. A NULL value is a missing value.

-- The last three columns sum up the sensor's rows in reading, which would take
-- seconds to count. Whoever changes reading by hand must change them too.
CREATE TABLE sensor (
	id       INTEGER PRIMARY KEY,
	name     TEXT NOT NULL UNIQUE,
	model    TEXT NOT NULL,
	position TEXT NOT NULL,
	readings INTEGER NOT NULL DEFAULT 0,
	first_ms INTEGER,
	last_ms  INTEGER
) STRICT;

-- Keyed by time first: all sensors then write to one hot page instead of one
-- each, which wears a memory card several times less.
CREATE TABLE reading (
	time_ms            INTEGER NOT NULL,
	sensor_id          INTEGER NOT NULL REFERENCES sensor (id),
	flags              INTEGER NOT NULL,
	pm1_ug_m3          REAL,
	pm2_5_ug_m3        REAL,
	pm4_ug_m3          REAL,
	pm10_ug_m3         REAL,
	pm1_atm_ug_m3      REAL,
	pm2_5_atm_ug_m3    REAL,
	pm10_atm_ug_m3     REAL,
	n0_3_cm3           REAL,
	n0_5_cm3           REAL,
	n1_0_cm3           REAL,
	n2_5_cm3           REAL,
	n5_cm3             REAL,
	n10_cm3            REAL,
	nPM0_5_cm3         REAL,
	nPM1_0_cm3         REAL,
	nPM2_5_cm3         REAL,
	nPM4_0_cm3         REAL,
	nPM10_cm3          REAL,
	typical_size_um    REAL,
	rh_percent         REAL,
	temperature_c      REAL,
	formaldehyde_mg_m3 REAL,
	PRIMARY KEY (time_ms, sensor_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE task (
	id       INTEGER PRIMARY KEY,
	name     TEXT NOT NULL,
	material TEXT NOT NULL,
	person   TEXT NOT NULL,
	start_ms INTEGER NOT NULL,
	stop_ms  INTEGER CHECK (stop_ms > start_ms) -- NULL while the task runs
) STRICT;

CREATE INDEX task_start ON task (start_ms);

CREATE TABLE setup (
	name TEXT PRIMARY KEY,
	note TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- One row says: from this moment on, this setup. A period ends where the next
-- begins, so periods can neither overlap nor leave a hole.
CREATE TABLE setup_change (
	time_ms INTEGER PRIMARY KEY,
	setup   TEXT NOT NULL REFERENCES setup (name)
) STRICT;

CREATE TABLE event (
	id      INTEGER PRIMARY KEY,
	time_ms INTEGER NOT NULL,
	sensor  TEXT NOT NULL, -- "" for the store itself
	kind    TEXT NOT NULL,
	text    TEXT NOT NULL
) STRICT;

CREATE INDEX event_time ON event (time_ms);

CREATE TABLE line_quality (
	id              INTEGER PRIMARY KEY,
	sensor          TEXT NOT NULL,
	from_ms         INTEGER NOT NULL,
	to_ms           INTEGER NOT NULL,
	frames          INTEGER NOT NULL,
	checksum_errors INTEGER NOT NULL,
	other_errors    INTEGER NOT NULL,
	bytes_skipped   INTEGER NOT NULL
) STRICT;

CREATE INDEX line_quality_from ON line_quality (from_ms);
