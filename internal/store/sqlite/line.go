package sqlite

import (
	"context"
	"errors"
	"time"

	"dustlog/internal/dust"
)

// AddEvent adds an event.
func (s *Store) AddEvent(ctx context.Context, e dust.Event) error {
	return s.update(ctx, "add event", func(t *tx) error { return t.AddEvent(ctx, e) })
}

// AddEvent is Store.AddEvent within the transaction.
func (t *tx) AddEvent(ctx context.Context, e dust.Event) error {
	if e.Time.IsZero() {
		return errors.New("event has no time")
	}
	_, err := t.ExecContext(ctx, "INSERT INTO event (time_ms, sensor, kind, text) VALUES (?, ?, ?, ?)",
		e.Time.UnixMilli(), e.Sensor, e.Kind, e.Text)
	return err
}

// Events lists the events in [from, to) in time order; zero times mean open.
func (s *Store) Events(ctx context.Context, from, to time.Time) ([]dust.Event, error) {
	lo, hi := bounds(from, to)
	rows, err := s.read.QueryContext(ctx, `SELECT time_ms, sensor, kind, text FROM event
		WHERE time_ms >= ? AND time_ms < ? ORDER BY time_ms, id`, lo, hi)
	if err != nil {
		return nil, explain("list events", s.path, err)
	}
	defer rows.Close()
	var events []dust.Event
	for rows.Next() {
		var e dust.Event
		var ms int64
		if err := rows.Scan(&ms, &e.Sensor, &e.Kind, &e.Text); err != nil {
			return nil, explain("list events", s.path, err)
		}
		e.Time = time.UnixMilli(ms).UTC()
		events = append(events, e)
	}
	return events, explain("list events", s.path, rows.Err())
}

// AddLineQuality adds what was counted on sensors' lines, all or none of it.
func (s *Store) AddLineQuality(ctx context.Context, list ...dust.LineQuality) error {
	return s.update(ctx, "add line quality", func(t *tx) error {
		for _, q := range list {
			if q.From.IsZero() || q.To.IsZero() {
				return errors.New("line quality has no time")
			}
			_, err := t.ExecContext(ctx, `INSERT INTO line_quality
				(sensor, from_ms, to_ms, frames, checksum_errors, other_errors, bytes_skipped) VALUES (?, ?, ?, ?, ?, ?, ?)`,
				q.Sensor, q.From.UnixMilli(), q.To.UnixMilli(), q.Frames, q.ChecksumErrors, q.OtherErrors, q.BytesSkipped)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// LineQuality lists the counts that share time with [from, to), in time order;
// zero times mean open.
func (s *Store) LineQuality(ctx context.Context, from, to time.Time) ([]dust.LineQuality, error) {
	lo, hi := bounds(from, to)
	rows, err := s.read.QueryContext(ctx, `SELECT sensor, from_ms, to_ms, frames, checksum_errors, other_errors, bytes_skipped
		FROM line_quality WHERE from_ms < ? AND max(to_ms, from_ms + 1) > ? ORDER BY from_ms, sensor, id`, hi, lo)
	if err != nil {
		return nil, explain("list line quality", s.path, err)
	}
	defer rows.Close()
	var list []dust.LineQuality
	for rows.Next() {
		var q dust.LineQuality
		var start, end int64
		if err := rows.Scan(&q.Sensor, &start, &end, &q.Frames, &q.ChecksumErrors, &q.OtherErrors, &q.BytesSkipped); err != nil {
			return nil, explain("list line quality", s.path, err)
		}
		q.From, q.To = time.UnixMilli(start).UTC(), time.UnixMilli(end).UTC()
		list = append(list, q)
	}
	return list, explain("list line quality", s.path, rows.Err())
}
