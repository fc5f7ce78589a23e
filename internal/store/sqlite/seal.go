package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/dust"
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
	var first *int64
	err = s.read.QueryRowContext(ctx, "SELECT min(time_ms) FROM reading WHERE time_ms >= ? AND time_ms < ?", from, to).Scan(&first)
	if err != nil || first == nil {
		return 0, false, err
	}
	return sealed.DayOf(*first), true, nil
}

// sealing is one sensor's day on its way into a file.
type sealing struct {
	sensor  string
	id      int64
	day     sealed.Day
	rows    int             // of the table reading
	doubles int             // of rows, those that the sealed day has already
	total   int             // readings of the day, each counted once
	was     *listed         // nil if the day was not sealed yet
	file    *sealed.Pending // nil if all rows are doubles
}

// errChanged says that readings came between reading a day and listing it.
var errChanged = errors.New("the day's readings change while it is being sealed")

// sealDay seals one day of all sensors. Their rows go in one transaction: the
// rows of one moment lie side by side, so deleting them together leaves whole
// pages empty, which need not be written.
func (s *Store) sealDay(ctx context.Context, day sealed.Day, report *SealReport) error {
	for attempt := 0; ; attempt++ {
		parts, problems, err := s.prepareDay(ctx, day)
		err = explain(fmt.Sprintf("seal %s", day), s.path, err)
		if err == nil && len(parts) > 0 {
			err = s.commitDay(ctx, day, parts)
		}
		for _, p := range parts {
			if p.file != nil {
				p.file.Discard() // no effect once committed
			}
		}
		if errors.Is(err, errChanged) {
			if attempt < 3 {
				continue
			}
			report.Problems = append(report.Problems, err.Error())
			return nil // next time
		}
		if err == nil {
			report.add(parts)
			report.Problems = append(report.Problems, problems...)
		}
		return err
	}
}

func (r *SealReport) add(parts []*sealing) {
	for _, p := range parts {
		r.Doubles += int64(p.doubles)
		if p.file == nil {
			continue
		}
		r.Days++
		r.Readings += int64(p.rows - p.doubles)
		r.Bytes += p.file.Bytes
		if p.was != nil {
			r.Late++
		}
	}
}

// prepareDay writes the files of a day without giving them their names.
func (s *Store) prepareDay(ctx context.Context, day sealed.Day) (parts []*sealing, problems []string, err error) {
	var list []listed
	err = s.view(ctx, func(v *view) error {
		names, _, err := v.resolve(ctx, nil)
		if err != nil {
			return err
		}
		if list, err = listDays(ctx, v.conn, "l.day = ?", day); err != nil {
			return err
		}
		parts, err = v.sensorsOf(ctx, day, names)
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	ready := parts[:0]
	for _, p := range parts {
		for i := range list {
			if list[i].sensorID == p.id {
				p.was = &list[i]
			}
		}
		switch err := s.prepare(ctx, p); {
		case errors.Is(err, sealed.ErrDamaged) || p.was != nil && errors.Is(err, fs.ErrNotExist):
			problems = append(problems, err.Error())
			continue
		case err != nil:
			return ready, nil, err
		}
		ready = append(ready, p)
	}
	return ready, problems, nil
}

// sensorsOf lists the sensors that have rows on a day.
func (v *view) sensorsOf(ctx context.Context, day sealed.Day, names map[int64]string) ([]*sealing, error) {
	from, to := day.Bounds()
	rows, err := v.conn.QueryContext(ctx, `SELECT sensor_id, count(*) FROM reading WHERE time_ms >= ? AND time_ms < ?
		GROUP BY sensor_id ORDER BY sensor_id`, from, to)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var parts []*sealing
	for rows.Next() {
		p := &sealing{day: day}
		if err := rows.Scan(&p.id, &p.rows); err != nil {
			return nil, err
		}
		p.sensor = names[p.id]
		parts = append(parts, p)
	}
	return parts, rows.Err()
}

// prepare writes one sensor's file under a temporary name.
func (s *Store) prepare(ctx context.Context, p *sealing) error {
	table, err := s.rowsOf(ctx, p.id, p.day, p.rows)
	if err != nil {
		return err
	}
	p.rows = table.Len()
	if p.was != nil {
		var before sealed.Table
		sum, err := s.proveListed(ctx, p.was, &before)
		if err != nil {
			return err
		}
		table, p.doubles = sealed.Merge(&before, table)
		p.total = table.Len()
		if p.total == p.was.Rows && sum == p.was.SHA256 {
			return nil
		}
	}
	p.total = table.Len()
	name := sealedFile(p.sensor, p.id, p.day)
	p.file, err = sealed.Prepare(filepath.Dir(s.sealedPath(name)), p.sensor, p.day, table)
	return err
}

// rowsOf reads one sensor's rows of a day.
func (s *Store) rowsOf(ctx context.Context, id int64, day sealed.Day, size int) (*sealed.Table, error) {
	b := sealed.NewBuilder(size)
	from, to := day.Bounds()
	var all []dust.Channel
	for c := range dust.ChannelCount {
		all = append(all, c)
	}
	err := s.view(ctx, func(v *view) error {
		query := "SELECT time_ms, flags" + columnList(all) + " FROM reading WHERE sensor_id = " + strconv.FormatInt(id, 10) +
			" AND time_ms >= ? AND time_ms < ? ORDER BY time_ms"
		return v.scan(ctx, query, []any{from, to}, func(row []driver.Value) error {
			b.Start(row[0].(int64), dust.Flags(row[1].(int64)))
			for i, c := range all {
				if x, ok := row[2+i].(float64); ok {
					b.Set(c, x)
				}
			}
			return nil
		})
	})
	return b.Table(), err
}

// commitDay names the files, lists them and deletes the rows, in one transaction
// that also keeps other programs from sealing the same day. A crash between the
// naming and the commit leaves files that hold all rows and more than the list
// says of them: a new one is not listed and not read, and one that replaced an
// older one was announced before.
func (s *Store) commitDay(ctx context.Context, day sealed.Day, parts []*sealing) error {
	if err := s.announce(ctx, parts); err != nil {
		return err
	}
	return s.update(ctx, fmt.Sprintf("seal %s", day), func(t *tx) error {
		if err := t.deleteRows(ctx, day, parts); err != nil {
			return err
		}
		for _, p := range parts {
			if err := t.list(ctx, p); err != nil {
				return err
			}
		}
		return nil
	})
}

// announce notes which files are about to be replaced by which.
func (s *Store) announce(ctx context.Context, parts []*sealing) error {
	replaced := false
	for _, p := range parts {
		replaced = replaced || p.was != nil && p.file != nil
	}
	if !replaced {
		return nil
	}
	return s.update(ctx, "seal", func(t *tx) error {
		for _, p := range parts {
			if p.was == nil || p.file == nil {
				continue
			}
			// A crashed attempt may have put its file in place already; then that one
			// is what p was made from, and it takes the old one's place in the list.
			sum, _, err := sealed.Hash(s.sealedPath(p.was.file))
			if err != nil {
				return err
			}
			if _, err := t.ExecContext(ctx, `UPDATE sealed_day SET sha256 = ?, next_sha256 = ? WHERE day = ? AND sensor_id = ?`,
				sum, p.file.SHA256, p.day, p.id); err != nil {
				return err
			}
			p.was.SHA256 = sum
		}
		return nil
	})
}

// deleteRows deletes the rows that went into the files, and nothing else.
func (t *tx) deleteRows(ctx context.Context, day sealed.Day, parts []*sealing) error {
	want := int64(0)
	ids := make([]string, len(parts))
	for i, p := range parts {
		want += int64(p.rows)
		ids[i] = strconv.FormatInt(p.id, 10)
	}
	from, to := day.Bounds()
	result, err := t.ExecContext(ctx, "DELETE FROM reading WHERE time_ms >= ? AND time_ms < ? AND sensor_id IN ("+strings.Join(ids, ", ")+")", from, to)
	if err != nil {
		return err
	}
	if n, err := result.RowsAffected(); err != nil || n != want {
		return errors.Join(err, errChanged)
	}
	return nil
}

// list puts a file in its place and in the list.
func (t *tx) list(ctx context.Context, p *sealing) error {
	counted := p.rows // as the sensor's sum has them
	if p.was != nil {
		counted += p.was.Rows
	}
	if _, err := t.ExecContext(ctx, "UPDATE sensor SET readings = readings + ? WHERE id = ?", p.total-counted, p.id); err != nil {
		return err
	}
	list, err := listDays(ctx, t, "l.day = ? AND l.sensor_id = ?", p.day, p.id)
	if err != nil {
		return err
	}
	if p.was == nil && len(list) > 0 || p.was != nil && (len(list) == 0 || list[0].SHA256 != p.was.SHA256 || list[0].Rows != p.was.Rows) {
		return errChanged // another program sealed or pruned the day
	}
	if p.file == nil {
		return nil
	}
	if p.was != nil && list[0].next != p.file.SHA256 {
		return errChanged
	}
	name := sealedFile(p.sensor, p.id, p.day)
	if err := p.file.Commit(path.Base(name)); err != nil {
		return err
	}
	f := &p.file.Info
	_, err = t.ExecContext(ctx, `INSERT OR REPLACE INTO sealed_day
		(day, sensor_id, file, readings, first_ms, last_ms, bytes, sha256, next_sha256, channels) VALUES (?, ?, ?, ?, ?, ?, ?, ?, NULL, ?)`,
		f.Day, p.id, name, f.Rows, f.First, f.Last, f.Bytes, f.SHA256, keys(f.Channels))
	return err
}
