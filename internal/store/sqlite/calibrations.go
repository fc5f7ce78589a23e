package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// calibratedSince is the layout from which on there are calibrations.
const calibratedSince = 4

// AddCalibration keeps a calibration and returns it with its number. Numbers
// rise and are never given twice. Times are cut to whole milliseconds.
func (s *Store) AddCalibration(ctx context.Context, c dust.Calibration) (dust.Calibration, error) {
	err := s.update(ctx, "add calibration", func(t *tx) error {
		if err := c.Check(); err != nil {
			return err
		}
		if !json.Valid([]byte(c.Numbers)) {
			return fmt.Errorf("calibration of sensor %q: its numbers are not JSON", c.Sensor)
		}
		if !c.InUse() {
			return fmt.Errorf("calibration of sensor %q is retired before it is added", c.Sensor)
		}
		for _, at := range []*time.Time{&c.Made, &c.From, &c.To, &c.Valid, &c.Expires} {
			*at = at.UTC().Truncate(time.Millisecond)
		}
		result, err := t.ExecContext(ctx, `INSERT INTO calibration (kind, sensor, made_ms, from_ms, to_ms,
			metric, fraction, material, task, season, valid_ms, expires_ms, numbers, note) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			c.Kind, c.Sensor, c.Made.UnixMilli(), c.From.UnixMilli(), c.To.UnixMilli(),
			c.Metric, c.Fraction, c.Material, c.Task, c.Season, nullTime(c.Valid), nullTime(c.Expires), c.Numbers, c.Note)
		if err != nil {
			return err
		}
		c.ID, err = result.LastInsertId()
		return err
	})
	if err != nil {
		return dust.Calibration{}, err
	}
	return c, nil
}

// RetireCalibration says that a calibration is not to be used any more; it stays
// on record. One that is retired already stays as it was, which is not an error.
// The error wraps dust.ErrUnknownCalibration if there is none of that number.
func (s *Store) RetireCalibration(ctx context.Context, id int64, why string, at time.Time) (dust.Calibration, error) {
	var c dust.Calibration
	err := s.update(ctx, "retire calibration", func(t *tx) error {
		_, err := t.ExecContext(ctx, "UPDATE calibration SET retired_ms = ?, retired_why = ? WHERE id = ? AND retired_ms IS NULL", at.UnixMilli(), why, id)
		if err != nil {
			return err
		}
		found, err := queryCalibrations(ctx, t, "WHERE id = ?", id)
		if err != nil {
			return err
		}
		if len(found) == 0 {
			return fmt.Errorf("%w: %d", dust.ErrUnknownCalibration, id)
		}
		c = found[0]
		return nil
	})
	return c, err
}

// Calibrations lists all calibrations by number, retired ones included.
func (s *Store) Calibrations(ctx context.Context) ([]dust.Calibration, error) {
	if s.version < calibratedSince {
		return nil, nil
	}
	list, err := queryCalibrations(ctx, s.read, "")
	return list, explain("list calibrations", s.path, err)
}

func queryCalibrations(ctx context.Context, db querier, condition string, args ...any) ([]dust.Calibration, error) {
	rows, err := db.QueryContext(ctx, `SELECT id, kind, sensor, made_ms, from_ms, to_ms, metric, fraction, material, task, season,
		valid_ms, expires_ms, numbers, note, retired_ms, retired_why FROM calibration `+condition+" ORDER BY id", args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []dust.Calibration
	for rows.Next() {
		var c dust.Calibration
		var made, from, to int64
		var valid, expires, retired sql.NullInt64
		err := rows.Scan(&c.ID, &c.Kind, &c.Sensor, &made, &from, &to, &c.Metric, &c.Fraction, &c.Material, &c.Task, &c.Season,
			&valid, &expires, &c.Numbers, &c.Note, &retired, &c.RetiredWhy)
		if err != nil {
			return nil, err
		}
		c.Made, c.From, c.To = time.UnixMilli(made).UTC(), time.UnixMilli(from).UTC(), time.UnixMilli(to).UTC()
		c.Valid, c.Expires, c.Retired = timeOf(valid), timeOf(expires), timeOf(retired)
		list = append(list, c)
	}
	return list, rows.Err()
}

// nullTime is the time in Unix milliseconds; NULL for the zero time.
func nullTime(t time.Time) sql.NullInt64 {
	return sql.NullInt64{Int64: t.UnixMilli(), Valid: !t.IsZero()}
}

func timeOf(ms sql.NullInt64) time.Time {
	if !ms.Valid {
		return time.Time{}
	}
	return time.UnixMilli(ms.Int64).UTC()
}
