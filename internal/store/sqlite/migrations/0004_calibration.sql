-- Zero checks, sensors side by side, filter samples and the factors made of
-- them. A row is never changed and never goes: a better one is added, a wrong
-- one is retired, once.
CREATE TABLE calibration (
	id          INTEGER PRIMARY KEY AUTOINCREMENT,
	kind        TEXT NOT NULL,
	sensor      TEXT NOT NULL,
	made_ms     INTEGER NOT NULL,
	from_ms     INTEGER NOT NULL,
	to_ms       INTEGER NOT NULL CHECK (to_ms >= from_ms),
	metric      TEXT NOT NULL,
	fraction    TEXT NOT NULL,
	material    TEXT NOT NULL,
	task        TEXT NOT NULL,
	season      TEXT NOT NULL,
	valid_ms    INTEGER, -- NULL: no first day
	expires_ms  INTEGER, -- NULL: no last day
	numbers     TEXT NOT NULL CHECK (json_valid(numbers)),
	note        TEXT NOT NULL,
	retired_ms  INTEGER, -- NULL while it may be used
	retired_why TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TRIGGER calibration_stays BEFORE DELETE ON calibration
BEGIN SELECT RAISE(ABORT, 'a calibration is never deleted: retire it'); END;

CREATE TRIGGER calibration_unchanged BEFORE UPDATE ON calibration
WHEN OLD.retired_ms IS NOT NULL OR NEW.retired_ms IS NULL
	OR (NEW.id, NEW.kind, NEW.sensor, NEW.made_ms, NEW.from_ms, NEW.to_ms, NEW.metric, NEW.fraction, NEW.material, NEW.task, NEW.season, NEW.numbers, NEW.note)
	IS NOT (OLD.id, OLD.kind, OLD.sensor, OLD.made_ms, OLD.from_ms, OLD.to_ms, OLD.metric, OLD.fraction, OLD.material, OLD.task, OLD.season, OLD.numbers, OLD.note)
	OR NEW.valid_ms IS NOT OLD.valid_ms OR NEW.expires_ms IS NOT OLD.expires_ms
BEGIN SELECT RAISE(ABORT, 'a calibration is never changed: add a better one, retire this one'); END;
