package sqlite

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"dustlog/internal/dust"
)

// The store is also the outbox of whatever copies its readings elsewhere. It
// must hold what arrived late, too: a reading can be inserted today with a time
// of last week, by an import, a replay or a corrected clock. A watermark of time
// would pass it by. So a trigger on the table of readings notes, in the
// transaction that inserts them, which stretch of time of which sensor got
// something new; no program that writes readings can forget it. Taking a
// stretch moves it aside in one transaction, before its readings are read:
// whatever is inserted afterwards is noted anew. A stretch is forgotten only
// when the copy has confirmed its readings. A crash at any point therefore
// copies some readings twice, never none.

// ForwardRange is a stretch of one sensor's time that a target lacks: From ≤ t <
// To in Unix milliseconds. An alias, so that callers need not import this
// package.
type ForwardRange = struct {
	ID       int64
	Sensor   string
	From, To int64
}

// ForwardDone says that a range was copied up to, but without, To. If that is
// the range's end, the range is done.
type ForwardDone = struct {
	Range   ForwardRange
	To      int64
	LastMS  int64 // time of the newest reading copied; 0 for none
	Refused int64 // readings the target would not take
}

// ForwardDiary is what belongs to readings so that they can be understood
// elsewhere.
type ForwardDiary = struct {
	Sensors []dust.Sensor
	Tasks   []dust.Task
	Setups  []dust.Setup
	Periods []dust.SetupPeriod
	// Calibrations are all there are, retired ones included.
	Calibrations []dust.Calibration
	Generation   int64 // rises with every change
}

// ForwardState says how far one sensor's readings have come to a target.
type ForwardState struct {
	Target, Sensor string
	Last           time.Time // zero if none arrived
	Refused        int64
	Pending        int // stretches of time still to be copied
}

// takeAtMost bounds how many ranges are held in memory.
const takeAtMost = 1000

// noteNew fires for rows that were really inserted, whoever inserts them. Its
// condition lets nine of ten rows pass without a write.
const noteNew = `CREATE TRIGGER IF NOT EXISTS forward_note AFTER INSERT ON unsealed
WHEN EXISTS (SELECT 1 FROM forward_target AS t WHERE NOT EXISTS (
	SELECT 1 FROM forward_pending AS p WHERE p.target_id = t.id AND p.hour = (NEW.key >> 16) / 3600000
	AND p.sensor_id = NEW.key & 65535 AND p.lo_ms <= NEW.key >> 16 AND p.hi_ms > NEW.key >> 16))
BEGIN
	INSERT INTO forward_pending (target_id, hour, sensor_id, lo_ms, hi_ms)
	SELECT id, (NEW.key >> 16) / 3600000, NEW.key & 65535,
		(NEW.key >> 16) - ((NEW.key >> 16) % 10000 + 10000) % 10000,
		(NEW.key >> 16) - ((NEW.key >> 16) % 10000 + 10000) % 10000 + 10000
	FROM forward_target WHERE true
	ON CONFLICT DO UPDATE SET lo_ms = min(lo_ms, excluded.lo_ms), hi_ms = max(hi_ms, excluded.hi_ms);
END`

// noteAgain makes the trigger anew after a change of layout, if there is a target.
func noteAgain(ctx context.Context, tx *sql.Tx) error {
	var any bool
	if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM forward_target)").Scan(&any); err != nil || !any {
		return err
	}
	_, err := tx.ExecContext(ctx, noteNew)
	return err
}

// AddForwardTarget begins to note what target lacks: everything there is, and
// whatever will be added. A target that is known already is left as it is.
func (s *Store) AddForwardTarget(ctx context.Context, target string) error {
	if _, err := s.forwardTarget(ctx, target); err == nil {
		return nil
	} else if !errors.Is(err, sql.ErrNoRows) {
		return explain("look for target", s.path, err)
	}
	return s.update(ctx, "add target", func(t *tx) error {
		result, err := t.ExecContext(ctx, "INSERT INTO forward_target (name) VALUES (?) ON CONFLICT DO NOTHING", target)
		if err != nil {
			return err
		}
		if n, err := result.RowsAffected(); n == 0 || err != nil {
			return err // another program was faster
		}
		if _, err := t.ExecContext(ctx, noteNew); err != nil {
			return err
		}
		_, err = t.ExecContext(ctx, `INSERT INTO forward_taken (target_id, sensor_id, lo_ms, hi_ms)
			SELECT (SELECT id FROM forward_target WHERE name = ?), id, ?, ? FROM sensor ORDER BY id`, target, int64(math.MinInt64), int64(math.MaxInt64))
		return err
	})
}

// DropForwardTarget forgets a target and what it lacks. known is false if there
// was none of that name.
func (s *Store) DropForwardTarget(ctx context.Context, target string) (known bool, err error) {
	err = s.update(ctx, "drop target", func(t *tx) error {
		var id int64
		switch err := t.QueryRowContext(ctx, "SELECT id FROM forward_target WHERE name = ?", target).Scan(&id); {
		case errors.Is(err, sql.ErrNoRows):
			return nil
		case err != nil:
			return err
		}
		known = true
		for _, table := range []string{"forward_pending", "forward_taken", "forward_sent"} {
			if _, err := t.ExecContext(ctx, "DELETE FROM "+table+" WHERE target_id = ?", id); err != nil {
				return err
			}
		}
		if _, err := t.ExecContext(ctx, "DELETE FROM forward_target WHERE id = ?", id); err != nil {
			return err
		}
		var left int
		if err := t.QueryRowContext(ctx, "SELECT count(*) FROM forward_target").Scan(&left); err != nil || left > 0 {
			return err
		}
		_, err := t.ExecContext(ctx, "DROP TRIGGER IF EXISTS forward_note")
		return err
	})
	return known, err
}

func (s *Store) forwardTarget(ctx context.Context, target string) (id int64, err error) {
	err = s.read.QueryRowContext(ctx, "SELECT id FROM forward_target WHERE name = ?", target).Scan(&id)
	return id, err
}

// TakeForward returns stretches that target lacks, the oldest first, a thousand
// at most; none means that it lacks nothing. They stay noted until
// ForwardShipped says they are done, and are returned again until then. Nothing
// is written if there is nothing new.
func (s *Store) TakeForward(ctx context.Context, target string) ([]ForwardRange, error) {
	id, err := s.forwardTarget(ctx, target)
	if err != nil {
		return nil, explain("look for target", s.path, err)
	}
	taken, err := s.takenForward(ctx, id)
	if err != nil || len(taken) > 0 {
		return taken, err
	}
	var any bool
	if err := s.read.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM forward_pending WHERE target_id = ?)", id).Scan(&any); err != nil || !any {
		return nil, explain("look for new readings", s.path, err)
	}
	err = s.update(ctx, "take new readings", func(t *tx) error {
		_, err := t.ExecContext(ctx, `INSERT INTO forward_taken (target_id, sensor_id, lo_ms, hi_ms)
			SELECT target_id, sensor_id, lo_ms, hi_ms FROM forward_pending WHERE target_id = ? ORDER BY hour, sensor_id`, id)
		if err != nil {
			return err
		}
		_, err = t.ExecContext(ctx, "DELETE FROM forward_pending WHERE target_id = ?", id)
		return err
	})
	if err != nil {
		return nil, err
	}
	return s.takenForward(ctx, id)
}

func (s *Store) takenForward(ctx context.Context, target int64) ([]ForwardRange, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT f.id, sensor.name, f.lo_ms, f.hi_ms FROM forward_taken AS f
		JOIN sensor ON sensor.id = f.sensor_id WHERE f.target_id = ? ORDER BY f.id LIMIT ?`, target, takeAtMost)
	if err != nil {
		return nil, explain("list stretches to copy", s.path, err)
	}
	defer rows.Close()
	var list []ForwardRange
	for rows.Next() {
		var r ForwardRange
		if err := rows.Scan(&r.ID, &r.Sensor, &r.From, &r.To); err != nil {
			return nil, explain("list stretches to copy", s.path, err)
		}
		list = append(list, r)
	}
	return list, explain("list stretches to copy", s.path, rows.Err())
}

// ForwardShipped notes, in one transaction, what target has confirmed.
func (s *Store) ForwardShipped(ctx context.Context, target string, done []ForwardDone) error {
	return s.update(ctx, "note what was copied", func(t *tx) error {
		var id int64
		if err := t.QueryRowContext(ctx, "SELECT id FROM forward_target WHERE name = ?", target).Scan(&id); err != nil {
			return fmt.Errorf("target %s: %w", target, err)
		}
		for _, d := range done {
			if err := t.forwardShipped(ctx, id, d); err != nil {
				return err
			}
		}
		return nil
	})
}

func (t *tx) forwardShipped(ctx context.Context, target int64, d ForwardDone) (err error) {
	if d.To >= d.Range.To {
		_, err = t.ExecContext(ctx, "DELETE FROM forward_taken WHERE id = ?", d.Range.ID)
	} else {
		_, err = t.ExecContext(ctx, "UPDATE forward_taken SET lo_ms = max(lo_ms, ?) WHERE id = ?", d.To, d.Range.ID)
	}
	if err != nil || d.LastMS == 0 && d.Refused == 0 {
		return err
	}
	_, err = t.ExecContext(ctx, `INSERT INTO forward_sent (target_id, sensor_id, last_ms, refused)
		SELECT ?, id, ?, ? FROM sensor WHERE name = ?
		ON CONFLICT DO UPDATE SET last_ms = max(last_ms, excluded.last_ms), refused = refused + excluded.refused`,
		target, d.LastMS, d.Refused, d.Range.Sensor)
	return err
}

// ForwardDiary returns sensors, tasks and setups if they differ from what was
// last confirmed to target, nil if they do not.
func (s *Store) ForwardDiary(ctx context.Context, target string) (*ForwardDiary, error) {
	d, digest, err := s.diaryDigest(ctx)
	if err != nil {
		return nil, err
	}
	var was string
	err = s.read.QueryRowContext(ctx, "SELECT diary, generation FROM forward_target WHERE name = ?", target).Scan(&was, &d.Generation)
	if err != nil {
		return nil, explain("look for target", s.path, err)
	}
	if digest == was {
		return nil, nil
	}
	// Rising even if this file is replaced by another that counts from one.
	d.Generation = max(d.Generation+1, s.now().UnixMilli())
	return &d, nil
}

// ForwardDiaryShipped notes that target holds d.
func (s *Store) ForwardDiaryShipped(ctx context.Context, target string, d ForwardDiary) error {
	digest, err := digestOf(d)
	if err != nil {
		return err
	}
	return s.update(ctx, "note that the diary was copied", func(t *tx) error {
		_, err := t.ExecContext(ctx, "UPDATE forward_target SET diary = ?, generation = ? WHERE name = ?", digest, d.Generation, target)
		return err
	})
}

func (s *Store) diaryDigest(ctx context.Context) (d ForwardDiary, digest string, err error) {
	if d.Sensors, err = s.Sensors(ctx); err != nil {
		return d, "", err
	}
	if d.Tasks, err = s.Tasks(ctx, time.Time{}, time.Time{}); err != nil {
		return d, "", err
	}
	if d.Setups, err = s.Setups(ctx); err != nil {
		return d, "", err
	}
	if d.Periods, err = s.SetupPeriods(ctx); err != nil {
		return d, "", err
	}
	if d.Calibrations, err = s.Calibrations(ctx); err != nil {
		return d, "", err
	}
	digest, err = digestOf(d)
	return d, digest, err
}

func digestOf(d ForwardDiary) (string, error) {
	d.Generation = 0
	text, err := json.Marshal(d)
	if err != nil {
		return "", fmt.Errorf("diary: %w", err)
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}

// ForwardStates says, for every target and sensor, how far the copies are.
func (s *Store) ForwardStates(ctx context.Context) ([]ForwardState, error) {
	rows, err := s.read.QueryContext(ctx, `SELECT t.name, s.name, f.last_ms, coalesce(f.refused, 0),
		(SELECT count(*) FROM forward_pending AS p WHERE p.target_id = t.id AND p.sensor_id = s.id) +
		(SELECT count(*) FROM forward_taken AS k WHERE k.target_id = t.id AND k.sensor_id = s.id)
		FROM forward_target AS t, sensor AS s LEFT JOIN forward_sent AS f ON f.target_id = t.id AND f.sensor_id = s.id
		ORDER BY t.name, s.name`)
	if err != nil {
		return nil, explain("list targets", s.path, err)
	}
	defer rows.Close()
	var list []ForwardState
	for rows.Next() {
		var state ForwardState
		var last sql.NullInt64
		if err := rows.Scan(&state.Target, &state.Sensor, &last, &state.Refused, &state.Pending); err != nil {
			return nil, explain("list targets", s.path, err)
		}
		if last.Valid {
			state.Last = time.UnixMilli(last.Int64).UTC()
		}
		list = append(list, state)
	}
	return list, explain("list targets", s.path, rows.Err())
}
