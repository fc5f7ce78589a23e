package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// superseded are the rows of a sensor's sealed day that its file has too.
type superseded struct {
	sensor int64
	sha256 string  // of the file
	ms     []int64 // the times of these rows, rising; more do no harm
}

// Rows are deleted a slice at a time, each in a transaction of its own, so that
// an append never waits long. A slice grows or shrinks to take about sliceTime.
const (
	sliceTime = 10 * time.Millisecond
	minSlice  = 100
	maxSlice  = 5000
)

// clear deletes superseded rows of a day, and nothing else: rows that came late
// stay. It may be cut short between slices; clearInterrupted goes on.
func (s *Store) clear(ctx context.Context, day sealed.Day, parts []superseded) error {
	c := clearing{s: s, day: day, parts: parts}
	c.next, c.last = keyRange(day.Bounds())
	for c.next <= c.last && len(c.parts) > 0 {
		if err := c.slice(ctx); err != nil {
			return err
		}
	}
	return nil
}

// slice deletes the superseded ones of the next rows.
func (c *clearing) slice(ctx context.Context) error {
	if err := c.s.view(ctx, func(v *view) error { return c.look(ctx, v) }); err != nil {
		return err
	}
	began := time.Now()
	err := c.s.update(ctx, "delete sealed rows", func(t *tx) error { return c.delete(ctx, t) })
	switch {
	case errors.Is(err, errChanged):
		return nil // look again
	case err != nil:
		return err
	}
	c.next = c.end + 1
	c.s.adaptSlice(time.Since(began))
	return nil
}

func (s *Store) adaptSlice(took time.Duration) {
	switch {
	case took > sliceTime:
		s.sliceRows = max(s.sliceRows/2, minSlice)
	case took < sliceTime/2:
		s.sliceRows = min(s.sliceRows*2, maxSlice)
	}
}

// clearInterrupted deletes the superseded rows that an interrupted sealing left.
func (s *Store) clearInterrupted(ctx context.Context, report *SealReport) error {
	list, err := listDays(ctx, s.read, s.version, "l.superseded <> 0")
	if err != nil {
		return explain("seal", s.path, err)
	}
	for len(list) > 0 {
		day := list[0].Day
		var parts []superseded
		for ; len(list) > 0 && list[0].Day == day; list = list[1:] {
			var table sealed.Table
			sum, err := s.proveListed(ctx, &list[0], &table)
			if errors.Is(err, errChanged) {
				continue // whoever did it goes on
			}
			if err != nil {
				report.problem(err)
				continue
			}
			parts = append(parts, superseded{sensor: list[0].sensorID, sha256: sum, ms: table.MS})
		}
		if err := s.clear(ctx, day, parts); err != nil {
			return explain("seal", s.path, err)
		}
	}
	return nil
}

// clearing is the deletion of a day's superseded rows.
type clearing struct {
	s          *Store
	day        sealed.Day
	parts      []superseded
	next, last int64 // keys still to be looked at

	// The slice in hand.
	end   int64         // its last key
	runs  []run         // of superseded rows that lie side by side
	count map[int64]int // of these rows, by sensor
	list  []listed      // as it was when they were looked for
}

type run struct {
	first, last int64 // keys
	rows        int64
}

// errFull ends the scan of a slice.
var errFull = errors.New("the slice is full")

// look finds the superseded ones among the next rows, without a lock.
func (c *clearing) look(ctx context.Context, v *view) (err error) {
	if c.list, err = listDays(ctx, v.conn, v.s.version, "l.day = ?", c.day); err != nil {
		return err
	}
	// Another program may have sealed or pruned the day.
	c.parts = slices.DeleteFunc(c.parts, func(p superseded) bool {
		return !slices.ContainsFunc(c.list, func(d listed) bool { return d.sensorID == p.sensor && d.SHA256 == p.sha256 })
	})
	c.runs, c.end, c.count = c.runs[:0], c.last, map[int64]int{}
	rows, open := 0, false
	from, _ := splitKey(c.next)
	_, to := c.day.Bounds()
	err = v.rows(ctx, rowScan{lo: from, hi: to}, func(ms, sensor int64, _ dust.Flags, _ []driver.Value) error {
		key := keyOf(ms, sensor)
		switch {
		case key < c.next:
			return nil
		case rows == c.s.sliceRows:
			return errFull
		}
		rows++
		c.end = key
		if !c.isSuperseded(ms, sensor) {
			open = false
			return nil
		}
		if !open {
			c.runs = append(c.runs, run{first: key})
			open = true
		}
		r := &c.runs[len(c.runs)-1]
		r.last = key
		r.rows++
		c.count[sensor]++
		return nil
	})
	if err == nil {
		c.end = c.last // nothing is behind it
	}
	if errors.Is(err, errFull) {
		return nil
	}
	return err
}

func (c *clearing) isSuperseded(ms, sensor int64) bool {
	for i := range c.parts {
		if c.parts[i].sensor == sensor {
			_, there := slices.BinarySearch(c.parts[i].ms, ms)
			return there
		}
	}
	return false
}

// delete deletes the runs that look found. It fails with errChanged if one of
// them is not as it was: a row came late, or another program deletes.
func (c *clearing) delete(ctx context.Context, t *tx) error {
	list, err := t.listDays(ctx, "l.day = ?", c.day)
	if err != nil {
		return err
	}
	same := slices.EqualFunc(list, c.list, func(a, b listed) bool {
		return a.sensorID == b.sensorID && a.SHA256 == b.SHA256 && a.superseded == b.superseded
	})
	if !same {
		return errChanged
	}
	for _, r := range c.runs {
		result, err := t.ExecContext(ctx, "DELETE FROM unsealed WHERE key BETWEEN ? AND ?", r.first, r.last)
		if err != nil {
			return err
		}
		if n, err := result.RowsAffected(); err != nil || n != r.rows {
			return errors.Join(err, errChanged)
		}
	}
	for sensor, n := range c.count {
		if _, err := t.ExecContext(ctx, "UPDATE sealed_day SET superseded = superseded - ? WHERE day = ? AND sensor_id = ?", n, c.day, sensor); err != nil {
			return err
		}
	}
	if c.end == c.last {
		return c.settle(ctx, t)
	}
	return nil
}

// settle sets the counts right once no superseded row is left. They are right
// unless a row was deleted or doubled by a hand other than ours.
func (c *clearing) settle(ctx context.Context, t *tx) error {
	for _, p := range c.parts {
		for _, change := range []string{
			"UPDATE sensor SET readings = readings + (SELECT superseded FROM sealed_day WHERE day = ?1 AND sensor_id = ?2) WHERE id = ?2",
			"UPDATE sealed_day SET superseded = 0 WHERE day = ?1 AND sensor_id = ?2",
		} {
			if _, err := t.ExecContext(ctx, change, c.day, p.sensor); err != nil {
				return err
			}
		}
	}
	return nil
}
