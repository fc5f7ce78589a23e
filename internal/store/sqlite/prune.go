package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// SavedReport is a report that was written to a file and speaks of [From, To).
type SavedReport struct {
	Path     string    `json:"path"`
	Created  time.Time `json:"created"`
	From, To time.Time `json:"-"`
}

// SaveReport notes that a report speaks of a stretch of time, so that Prune
// spares it. A report saved again under the same path replaces the note.
func (s *Store) SaveReport(ctx context.Context, r SavedReport) error {
	return s.update(ctx, "note saved report", func(t *tx) error {
		if r.Path == "" || r.From.IsZero() || r.To.Before(r.From) {
			return errors.New("a saved report needs a path and a stretch of time")
		}
		_, err := t.ExecContext(ctx, "INSERT OR REPLACE INTO saved_report (path, created_ms, from_ms, to_ms) VALUES (?, ?, ?, ?)",
			r.Path, r.Created.UnixMilli(), r.From.UnixMilli(), ceilMilli(r.To))
		return err
	})
}

// SavedReports lists the saved reports by path.
func (s *Store) SavedReports(ctx context.Context) ([]SavedReport, error) {
	if s.version < sealedSince {
		return nil, nil
	}
	list, err := savedReports(ctx, s.read)
	return list, explain("list saved reports", s.path, err)
}

func savedReports(ctx context.Context, db querier) ([]SavedReport, error) {
	rows, err := db.QueryContext(ctx, "SELECT path, created_ms, from_ms, to_ms FROM saved_report ORDER BY path")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []SavedReport
	for rows.Next() {
		var r SavedReport
		var created, from, to int64
		if err := rows.Scan(&r.Path, &created, &from, &to); err != nil {
			return nil, err
		}
		r.Created, r.From, r.To = time.UnixMilli(created).UTC(), time.UnixMilli(from).UTC(), time.UnixMilli(to).UTC()
		list = append(list, r)
	}
	return list, rows.Err()
}

// PruneOptions say how Prune works.
type PruneOptions struct {
	DryRun bool // only tell what would be done
	Force  bool // also days that a saved report or a calibration rests on
}

// PruneReport says what Prune dropped, or would drop.
type PruneReport struct {
	Schema   int          `json:"schema"` // 1
	Before   time.Time    `json:"before"` // only UTC days that ended by then
	DryRun   bool         `json:"dry_run"`
	Days     int          `json:"days"` // of all sensors together
	Readings int64        `json:"readings"`
	Files    int          `json:"files"`
	Bytes    int64        `json:"bytes"` // of the files
	Spared   []SparedDays `json:"spared"`
}

// SparedDays are days that were kept for the sake of a report or a calibration.
type SparedDays struct {
	Report      string `json:"report"`                // "" for a calibration
	Calibration int64  `json:"calibration,omitempty"` // its number; 0 for a report
	Days        int    `json:"days"`
}

// Prune drops the readings of UTC days that ended by before. Tasks, setups and
// events stay. A day that a saved report speaks of, or that a calibration in use
// was worked out from, is spared unless forced.
func (s *Store) Prune(ctx context.Context, before time.Time, o PruneOptions) (PruneReport, error) {
	s.sealing.Lock()
	defer s.sealing.Unlock()
	p := &pruning{report: PruneReport{Schema: 1, Before: before.UTC(), DryRun: o.DryRun, Spared: []SparedDays{}}}
	err := s.update(ctx, "prune", func(t *tx) error {
		if err := p.choose(ctx, t, sealed.DayOf(before.UnixMilli()), o.Force); err != nil || len(p.days) == 0 {
			return err
		}
		if err := p.drop(ctx, t); err != nil {
			return err
		}
		if o.DryRun {
			return errDryRun
		}
		text := fmt.Sprintf("%d readings of %d days before %s dropped", p.report.Readings, p.report.Days, before.UTC().Format(time.DateOnly))
		return t.AddEvent(ctx, dust.Event{Time: s.now(), Kind: "pruned", Text: text})
	})
	if errors.Is(err, errDryRun) {
		return p.report, nil
	}
	if err != nil {
		return p.report, err
	}
	// Only now: a file that is listed must be there.
	for _, d := range p.files {
		if err := os.Remove(s.sealedPath(d.file)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return p.report, fmt.Errorf("prune: the readings are dropped, but their file stays: %w", err)
		}
	}
	return p.report, nil
}

// errDryRun ends a transaction whose work is not to be kept.
var errDryRun = errors.New("dry run")

type pruning struct {
	report PruneReport
	days   []sealed.Day
	files  []listed
}

// choose finds the days before limit that have readings and are not spared.
func (p *pruning) choose(ctx context.Context, t *tx, limit sealed.Day, force bool) error {
	days, err := daysBefore(ctx, t, limit)
	if err != nil {
		return err
	}
	rests, err := restingOnReadings(ctx, t)
	if err != nil {
		return err
	}
	for _, day := range days {
		from, to := day.Bounds()
		used := false
		for i, r := range rests {
			if r.from < to && r.to > from {
				used = true
				rests[i].spared.Days++
			}
		}
		if force || !used {
			p.days = append(p.days, day)
		}
	}
	for _, r := range rests {
		if r.spared.Days > 0 && !force {
			p.report.Spared = append(p.report.Spared, r.spared)
		}
	}
	return nil
}

// rest is a stretch of time whose readings something rests on.
type rest struct {
	from, to int64 // ms
	spared   SparedDays
}

// restingOnReadings lists the saved reports and the calibrations in use. A factor
// rests on filter samples, and these are listed themselves.
func restingOnReadings(ctx context.Context, t *tx) (rests []rest, err error) {
	reports, err := savedReports(ctx, t)
	if err != nil {
		return nil, err
	}
	for _, r := range reports {
		rests = append(rests, rest{r.From.UnixMilli(), r.To.UnixMilli(), SparedDays{Report: r.Path}})
	}
	calibrations, err := queryCalibrations(ctx, t, "WHERE retired_ms IS NULL AND kind <> ?", dust.FactorCalibration)
	if err != nil {
		return nil, err
	}
	for _, c := range calibrations {
		rests = append(rests, rest{c.From.UnixMilli(), c.To.UnixMilli(), SparedDays{Calibration: c.ID}})
	}
	return rests, nil
}

// daysBefore lists the days before limit that have readings.
func daysBefore(ctx context.Context, t *tx, limit sealed.Day) ([]sealed.Day, error) {
	rows, err := t.QueryContext(ctx, `SELECT DISTINCT day FROM sealed_day WHERE day < ?1 UNION
		SELECT DISTINCT ((key >> 16) - (((key >> 16) % 86400000) + 86400000) % 86400000) / 86400000 FROM unsealed WHERE key < (?1 * 86400000) << 16 ORDER BY 1`, limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var days []sealed.Day
	for rows.Next() {
		var day sealed.Day
		if err := rows.Scan(&day); err != nil {
			return nil, err
		}
		days = append(days, day)
	}
	return days, rows.Err()
}

// drop deletes the chosen days' rows and entries and corrects the sums.
func (p *pruning) drop(ctx context.Context, t *tx) error {
	p.report.Days = len(p.days)
	var before, after int64
	const count = "SELECT coalesce(sum(readings), 0) FROM sensor"
	if err := t.QueryRowContext(ctx, count).Scan(&before); err != nil {
		return err
	}
	for _, day := range p.days {
		list, err := t.listDays(ctx, "l.day = ?", day)
		if err != nil {
			return err
		}
		for _, d := range list {
			p.report.Files++
			p.report.Bytes += d.Bytes
		}
		p.files = append(p.files, list...)
		first, last := keyRange(day.Bounds())
		for _, change := range []string{
			`UPDATE sensor SET readings = readings - (SELECT count(*) FROM unsealed WHERE key & 65535 = sensor.id AND key BETWEEN ?1 AND ?2)
				- coalesce((SELECT readings - superseded FROM sealed_day WHERE sensor_id = sensor.id AND day = ?3), 0)`,
			"DELETE FROM sealed_day WHERE day = ?3 AND ?1 <= ?2",
			"DELETE FROM unsealed WHERE key BETWEEN ?1 AND ?2 AND ?3 = ?3",
		} {
			if _, err := t.ExecContext(ctx, change, first, last, day); err != nil {
				return err
			}
		}
	}
	if err := newBounds(ctx, t); err != nil {
		return err
	}
	err := t.QueryRowContext(ctx, count).Scan(&after)
	p.report.Readings = before - after
	return err
}

// newBounds finds the first and last reading of each sensor anew.
func newBounds(ctx context.Context, t *tx) error {
	_, err := t.ExecContext(ctx, `UPDATE sensor SET (first_ms, last_ms) = (SELECT min(lo), max(hi) FROM
		(SELECT min(key) >> 16 AS lo, max(key) >> 16 AS hi FROM unsealed WHERE key & 65535 = sensor.id
		UNION ALL SELECT min(first_ms), max(last_ms) FROM sealed_day WHERE sensor_id = sensor.id))`)
	return err
}
