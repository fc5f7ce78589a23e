-- What was entered in the diary by a tap. The id is made where the tap was made:
-- a tap that arrives twice is entered once. A row never goes; what was taken
-- back has undone_ms.
CREATE TABLE entry (
	id          TEXT PRIMARY KEY,
	kind        TEXT NOT NULL,    -- start, stop, setup, note or undo
	time_ms     INTEGER NOT NULL, -- when it was tapped
	received_ms INTEGER NOT NULL,
	name        TEXT NOT NULL,    -- of the task or the setup
	material    TEXT NOT NULL,
	person      TEXT NOT NULL,
	text        TEXT NOT NULL,    -- of a note
	undoes      TEXT NOT NULL,    -- id of the entry that an undo takes back
	undone_ms   INTEGER,          -- NULL while the entry stands
	task_id     INTEGER,          -- the task that was started or stopped
	ended_id    INTEGER,          -- the running task that a start ended
	replaced    TEXT              -- the setup that had been declared for the same moment
) STRICT, WITHOUT ROWID;

CREATE INDEX entry_time ON entry (time_ms);
