package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"time"

	"dustlog/internal/store/sealed"
)

// SealReport says what Seal did.
type SealReport struct {
	Days     int   // files written, one a sensor and day
	Readings int64 // moved into them
	Late     int   // how many of Days were sealed before and got late readings
	Doubles  int64 // rows deleted because the sealed day had the reading already
	Bytes    int64 // of the files written
	// Problems are the days that could not be sealed. Their readings stay where
	// they are and are read as before.
	Problems []string
}

func (r *SealReport) problem(err error) {
	if text := err.Error(); !slices.Contains(r.Problems, text) {
		r.Problems = append(r.Problems, text)
	}
}

// Seal moves the readings of UTC days that ended by before, and before today,
// into one file per sensor and day. It can be stopped and repeated at any
// point; nothing is lost or seen twice, and others may read and append
// meanwhile. Late readings of a sealed day are added to its file.
func (s *Store) Seal(ctx context.Context, before time.Time) (SealReport, error) {
	var report SealReport
	if s.write == nil {
		return report, fmt.Errorf("seal in %s: %w", s.path, errReadOnly)
	}
	s.sealing.Lock()
	defer s.sealing.Unlock()
	if err := sealed.Clean(s.daysFolder(), s.cleanAge); err != nil {
		return report, fmt.Errorf("seal in %s: remove what a crash left: %w", s.path, err)
	}
	if err := s.clearInterrupted(ctx, &report); err != nil {
		return report, err
	}
	limit := sealed.DayOf(min(before.UnixMilli(), s.now().UnixMilli()))
	from := int64(math.MinInt64)
	for {
		day, ok, err := s.firstDay(ctx, from, limit)
		if err != nil || !ok {
			return report, explain("seal", s.path, err)
		}
		if err := s.sealDay(ctx, day, &report); err != nil {
			return report, err
		}
		_, from = day.Bounds()
	}
}

// SealLoop seals, at once and then every so often, the days that ended at least
// keep ago, until ctx is done. What came of it goes to told.
func (s *Store) SealLoop(ctx context.Context, every, keep time.Duration, told func(SealReport, error)) {
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	for {
		report, err := s.Seal(ctx, s.now().Add(-keep))
		if ctx.Err() != nil {
			return
		}
		told(report, err)
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
		}
	}
}

// firstDay finds the first day before limit that has rows from a moment on.
func (s *Store) firstDay(ctx context.Context, from int64, limit sealed.Day) (day sealed.Day, ok bool, err error) {
	to, _ := limit.Bounds()
	firstKey, lastKey := keyRange(from, to)
	var key *int64
	err = s.read.QueryRowContext(ctx, "SELECT min(key) FROM unsealed WHERE key BETWEEN ? AND ?", firstKey, lastKey).Scan(&key)
	if err != nil || key == nil {
		return 0, false, err
	}
	ms, _ := splitKey(*key)
	return sealed.DayOf(ms), true, nil
}

// errChanged says that another program sealed or pruned a day meanwhile.
var errChanged = errors.New("another program seals or prunes the same day")

// sealDay seals one day of all sensors, then deletes their rows.
func (s *Store) sealDay(ctx context.Context, day sealed.Day, report *SealReport) error {
	for attempt := 0; ; attempt++ {
		err := s.trySeal(ctx, day, report)
		if errors.Is(err, errChanged) && attempt < 3 {
			continue
		}
		err = explain(fmt.Sprintf("seal %s", day), s.path, err)
		if errors.Is(err, errChanged) {
			report.problem(err)
			return nil // next time
		}
		return err
	}
}

func (s *Store) trySeal(ctx context.Context, day sealed.Day, report *SealReport) error {
	var done []superseded
	var sensors []int64 // nil: the first few
	for {
		parts, more, err := s.readDay(ctx, day, sensors)
		if err != nil {
			return err
		}
		for _, p := range parts {
			switch err := s.sealPart(ctx, p, report); {
			case errors.Is(err, sealed.ErrDamaged) || p.was != nil && errors.Is(err, fs.ErrNotExist):
				report.problem(err)
			case err != nil:
				return err
			default:
				done = append(done, superseded{sensor: p.id, sha256: p.sum, ms: p.rows.MS})
			}
		}
		if sensors = more; len(sensors) == 0 {
			return s.clear(ctx, day, done)
		}
	}
}
