-- What copies of the readings elsewhere still lack, by target. A trigger on
-- reading notes it; the trigger is made with the first target and goes with the
-- last, so a store without targets pays nothing. See forward.go.

CREATE TABLE forward_target (
	id         INTEGER PRIMARY KEY,
	name       TEXT NOT NULL UNIQUE, -- server, database and shop; never a token
	diary      TEXT NOT NULL DEFAULT '', -- digest of sensors, tasks and setups as last copied
	generation INTEGER NOT NULL DEFAULT 0 -- of that copy
) STRICT;

-- Stretches of time that got readings since the target last took them, at most
-- one per sensor and hour: lo_ms <= time < hi_ms, rounded outwards to 10 s.
CREATE TABLE forward_pending (
	target_id INTEGER NOT NULL REFERENCES forward_target (id),
	hour      INTEGER NOT NULL, -- since 1970
	sensor_id INTEGER NOT NULL REFERENCES sensor (id),
	lo_ms     INTEGER NOT NULL,
	hi_ms     INTEGER NOT NULL,
	PRIMARY KEY (target_id, hour, sensor_id)
) STRICT, WITHOUT ROWID;

-- Stretches being copied. lo_ms moves up as batches arrive; a row goes when its
-- stretch is done. A number is never given twice: a slow program may still
-- confirm a stretch that another one has confirmed already.
CREATE TABLE forward_taken (
	id        INTEGER PRIMARY KEY AUTOINCREMENT,
	target_id INTEGER NOT NULL REFERENCES forward_target (id),
	sensor_id INTEGER NOT NULL REFERENCES sensor (id),
	lo_ms     INTEGER NOT NULL,
	hi_ms     INTEGER NOT NULL
) STRICT;

-- How far each sensor has come, for people to look at.
CREATE TABLE forward_sent (
	target_id INTEGER NOT NULL REFERENCES forward_target (id),
	sensor_id INTEGER NOT NULL REFERENCES sensor (id),
	last_ms   INTEGER NOT NULL, -- time of the newest reading that arrived
	refused   INTEGER NOT NULL, -- readings the target would not take
	PRIMARY KEY (target_id, sensor_id)
) STRICT, WITHOUT ROWID;
