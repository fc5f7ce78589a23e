package sqlite

import (
	"context"
	"errors"
	"time"

	"dustlog/internal/dust"
)

// PutSetup adds a setup or replaces its note.
func (s *Store) PutSetup(ctx context.Context, setup dust.Setup) error {
	return s.update(ctx, "put setup", func(t *tx) error { return t.putSetup(ctx, setup) })
}

func (t *tx) putSetup(ctx context.Context, setup dust.Setup) error {
	if setup.Name == "" {
		return errors.New("setup has no name")
	}
	_, err := t.ExecContext(ctx, `INSERT INTO setup (name, note) VALUES (?, ?)
		ON CONFLICT DO UPDATE SET note = excluded.note`, setup.Name, setup.Note)
	return err
}

// UseSetup declares that from at on, this setup is in use, until the next
// moment for which another declaration was made. A setup that is not known yet
// is added; an empty note leaves the note it has.
//
// So a declaration after all others ends the running period. One dated back
// into an earlier period shortens that period to end at at, and the time from
// there to the next declaration becomes the named setup's; later periods stay.
// A second declaration for the same moment replaces the first.
func (s *Store) UseSetup(ctx context.Context, name, note string, at time.Time) error {
	return s.update(ctx, "use setup", func(t *tx) error { return t.useSetup(ctx, name, note, at) })
}

// useSetup is Store.UseSetup within the transaction.
func (t *tx) useSetup(ctx context.Context, name, note string, at time.Time) error {
	if name == "" {
		return errors.New("setup has no name")
	}
	if at.IsZero() {
		return errors.New("setup has no time from which it is in use")
	}
	_, err := t.ExecContext(ctx, `INSERT INTO setup (name, note) VALUES (?1, ?2)
		ON CONFLICT DO UPDATE SET note = excluded.note WHERE excluded.note != ''`, name, note)
	if err != nil {
		return err
	}
	_, err = t.ExecContext(ctx, `INSERT INTO setup_change (time_ms, setup) VALUES (?, ?)
		ON CONFLICT DO UPDATE SET setup = excluded.setup`, at.UnixMilli(), name)
	return err
}

// Setups lists the setups by name.
func (s *Store) Setups(ctx context.Context) ([]dust.Setup, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT name, note FROM setup ORDER BY name")
	if err != nil {
		return nil, explain("list setups", s.path, err)
	}
	defer rows.Close()
	var setups []dust.Setup
	for rows.Next() {
		var setup dust.Setup
		if err := rows.Scan(&setup.Name, &setup.Note); err != nil {
			return nil, explain("list setups", s.path, err)
		}
		setups = append(setups, setup)
	}
	return setups, explain("list setups", s.path, rows.Err())
}

// SetupPeriods lists the stretches of time under one setup in order. Only the
// last has no end. A declaration that repeats the setup in use makes no new
// period.
func (s *Store) SetupPeriods(ctx context.Context) ([]dust.SetupPeriod, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT time_ms, setup FROM setup_change ORDER BY time_ms")
	if err != nil {
		return nil, explain("list setup periods", s.path, err)
	}
	defer rows.Close()
	var periods []dust.SetupPeriod
	for rows.Next() {
		var ms int64
		var name string
		if err := rows.Scan(&ms, &name); err != nil {
			return nil, explain("list setup periods", s.path, err)
		}
		from := time.UnixMilli(ms).UTC()
		if last := len(periods) - 1; last >= 0 {
			if periods[last].Setup == name {
				continue
			}
			periods[last].To = from
		}
		periods = append(periods, dust.SetupPeriod{Setup: name, From: from})
	}
	return periods, explain("list setup periods", s.path, rows.Err())
}
