package sqlite

import (
	"context"
	"time"

	"dustlog/internal/store/sealed"
)

// CleanAtOnce makes Seal take every unfinished file for a crash's, however young.
func (s *Store) CleanAtOnce() { s.cleanAge = 0 }

// SliceRows sets how many sealed rows are deleted at a time, to begin with.
func (s *Store) SliceRows(n int) { s.sliceRows = n }

// SealAndStop is Seal of one day, cut short once so many slices of rows are
// deleted.
func (s *Store) SealAndStop(ctx context.Context, at time.Time, slices, rows int) error {
	day := sealed.DayOf(at.UnixMilli())
	parts, _, err := s.readDay(ctx, day, nil)
	if err != nil {
		return err
	}
	c := clearing{s: s, day: day}
	c.next, c.last = keyRange(day.Bounds())
	for _, p := range parts {
		if err := s.sealPart(ctx, p, &SealReport{}); err != nil {
			return err
		}
		c.parts = append(c.parts, superseded{sensor: p.id, sha256: p.sum, ms: p.rows.MS})
	}
	for range slices {
		s.sliceRows = rows
		if err := c.slice(ctx); err != nil {
			return err
		}
	}
	return nil
}

// SealWhile seals a day; f runs between the reading of the rows and the listing
// of the file.
func (s *Store) SealWhile(ctx context.Context, at time.Time, f func()) error {
	parts, _, err := s.readDay(ctx, sealed.DayOf(at.UnixMilli()), nil)
	if err != nil {
		return err
	}
	f()
	for _, p := range parts {
		if err := s.sealPart(ctx, p, &SealReport{}); err != nil {
			return err
		}
	}
	return nil
}

// ErrChanged is what SealWhile returns if another program was faster.
var ErrChanged = errChanged
