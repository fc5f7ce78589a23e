-- The finished days whose readings are in a Parquet file instead of in reading.
-- What is listed here counts, whatever else lies in the folder. A row of reading
-- with the same sensor and time as one in a listed file does not count.
CREATE TABLE sealed_day (
	day         INTEGER NOT NULL, -- UTC days since 1970-01-01
	sensor_id   INTEGER NOT NULL REFERENCES sensor (id),
	file        TEXT NOT NULL,    -- below the folder <store>.days, with slashes
	readings    INTEGER NOT NULL,
	first_ms    INTEGER NOT NULL,
	last_ms     INTEGER NOT NULL,
	bytes       INTEGER NOT NULL,
	sha256      TEXT NOT NULL,    -- of the file
	next_sha256 TEXT,             -- of the file that is about to replace it
	channels    TEXT NOT NULL,    -- those with a value, separated by commas
	PRIMARY KEY (day, sensor_id)
) STRICT, WITHOUT ROWID;

-- Days that a saved report speaks of are not pruned without force.
CREATE TABLE saved_report (
	path       TEXT PRIMARY KEY,
	created_ms INTEGER NOT NULL,
	from_ms    INTEGER NOT NULL,
	to_ms      INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
