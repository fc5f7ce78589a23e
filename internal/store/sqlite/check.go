package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// Check looks at everything the store has: SQLite's own checks, every sealed
// file's hash, footer and content, what is in both, and the gaps. Only what
// keeps it from looking at all is an error.
func (s *Store) Check(ctx context.Context) (CheckReport, error) {
	c := &checker{s: s, names: map[int64]string{}, sums: map[int64]*CheckSensor{}, times: map[int64][]int64{}, moved: map[string]bool{}}
	c.report = CheckReport{Schema: 1, Store: s.path, Layout: s.version,
		Problems: []CheckFinding{}, Remarks: []CheckFinding{}, Sensors: []CheckSensor{}, Days: []CheckDay{}}
	c.database(ctx)
	err := s.view(ctx, func(v *view) error {
		var err error
		if c.names, _, err = v.resolve(ctx, nil); err != nil {
			return err
		}
		if c.list, err = v.listed(ctx, nil, math.MinInt64, math.MaxInt64); err != nil {
			return err
		}
		c.files = slices.Clone(c.list)
		if c.spans, err = spans(ctx, v.conn); err != nil {
			return err
		}
		return c.rows(ctx, v)
	})
	if ctx.Err() != nil {
		return c.report, fmt.Errorf("check %s: %w", s.path, ctx.Err())
	}
	if err != nil {
		c.problem(CheckFinding{Kind: "database", Text: "the list of sensors and sealed days cannot be read: " + explain("check", s.path, err).Error()})
	} else {
		c.finish()
	}
	c.report.Clean = len(c.report.Problems) == 0
	return c.report, nil
}

// checker collects what Check finds.
type checker struct {
	s      *Store
	report CheckReport
	names  map[int64]string
	sums   map[int64]*CheckSensor
	list   []listed // not looked at yet, by day
	files  []listed
	spans  []SensorSpan
	moved  map[string]bool // sensors of which a sealed day is not what it was

	day   sealed.Day
	times map[int64][]int64 // rows of the day by sensor
	file  sealed.Table
}

func (c *checker) problem(f CheckFinding) { c.report.Problems = append(c.report.Problems, f) }
func (c *checker) remark(f CheckFinding)  { c.report.Remarks = append(c.report.Remarks, f) }

// database runs SQLite's own checks.
func (c *checker) database(ctx context.Context) {
	for kind, question := range map[string]string{
		"database":    "SELECT integrity_check FROM pragma_integrity_check WHERE integrity_check <> 'ok' LIMIT 20",
		"foreign_key": `SELECT "table" || ' row refers to a missing ' || parent FROM pragma_foreign_key_check LIMIT 20`,
	} {
		texts, err := c.texts(ctx, question)
		if err != nil {
			texts = append(texts, explain("check", c.s.path, err).Error())
		}
		for _, text := range texts {
			c.problem(CheckFinding{Kind: kind, File: c.s.path, Text: text})
		}
	}
}

func (c *checker) texts(ctx context.Context, question string) (list []string, err error) {
	rows, err := c.s.read.QueryContext(ctx, question)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var text *string // a row without a key has no text
		if err := rows.Scan(&text); err != nil {
			return list, err
		}
		if text != nil {
			list = append(list, *text)
		} else {
			list = append(list, "a row refers to one that is missing")
		}
	}
	return list, rows.Err()
}

// rows walks through the rows day by day, and past days that cannot be read.
func (c *checker) rows(ctx context.Context, v *view) error {
	c.day = math.MinInt64
	from, last := int64(math.MinInt64), int64(math.MinInt64)
	if err := v.conn.QueryRowContext(ctx, "SELECT coalesce(max(last_ms), 0) FROM sensor").Scan(&last); err != nil {
		return err
	}
	for {
		err := v.rows(ctx, rowScan{lo: from, hi: math.MaxInt64}, func(ms, id int64, _ dust.Flags, _ []driver.Value) error {
			if day := sealed.DayOf(ms); day != c.day {
				c.flush(ctx)
				c.day = day
			}
			c.times[id] = append(c.times[id], ms)
			from = ms
			return nil
		})
		c.flush(ctx)
		if err == nil || ctx.Err() != nil {
			break
		}
		day := sealed.DayOf(max(from, 0))
		c.problem(CheckFinding{Kind: "rows", Day: day.String(), File: c.s.path, Text: fmt.Sprintf(
			"not all rows of %s (UTC) can be read, readings of that day may be lost: copy %s and %s away, then restore a backup: %v",
			day, c.s.path, c.s.daysFolder(), err)})
		if _, from = day.Bounds(); from > last {
			break
		}
	}
	c.day = math.MaxInt64
	c.flush(ctx)
	return ctx.Err()
}

// flush looks at the day whose rows were collected, and at the sealed days
// before it.
func (c *checker) flush(ctx context.Context) {
	for len(c.list) > 0 && c.list[0].Day <= c.day && ctx.Err() == nil {
		d := &c.list[0]
		c.list = c.list[1:]
		var rows []int64
		if d.Day == c.day {
			rows = c.times[d.sensorID]
			delete(c.times, d.sensorID)
		}
		c.sealedDay(ctx, d, rows)
	}
	for _, id := range slices.Sorted(maps.Keys(c.times)) {
		if ms := c.times[id]; len(ms) > 0 {
			c.count(id, c.day, ms, int64(len(ms)), nil)
		}
	}
	clear(c.times)
}

// sealedDay looks at a sealed file and at the rows of the same day.
func (c *checker) sealedDay(ctx context.Context, d *listed, rows []int64) {
	_, err := c.s.proveListed(ctx, d, &c.file)
	if errors.Is(err, errChanged) {
		// Another program sealed or pruned the day since the check began; what it
		// left is for the next check.
		c.moved[c.names[d.sensorID]] = true
		return
	}
	if err == nil && d.next == "" && (c.file.Len() != d.Rows || c.file.MS[0] != d.First || c.file.MS[d.Rows-1] != d.Last) {
		err = c.s.unreadable(d, fmt.Errorf("%w: count or bounds are not as listed", sealed.ErrDamaged))
	}
	if err != nil {
		c.problem(CheckFinding{Kind: "sealed", Sensor: d.Sensor, Day: d.Day.String(), File: c.s.sealedPath(d.file), Text: err.Error()})
		c.count(d.sensorID, d.Day, rows, int64(len(rows)), d)
		c.sums[d.sensorID].Unreadable += int64(d.Rows)
		c.report.Days[len(c.report.Days)-1].Readable = false
		return
	}
	doubles := 0
	merged := slices.Clone(c.file.MS)
	for _, ms := range rows {
		if _, there := slices.BinarySearch(c.file.MS, ms); there {
			doubles++
		} else {
			merged = append(merged, ms)
		}
	}
	slices.Sort(merged)
	c.count(d.sensorID, d.Day, merged, int64(len(rows)-doubles), d)
	if d.superseded > 0 {
		c.report.Superseded += int64(d.superseded)
		c.remark(CheckFinding{Kind: "superseded", Sensor: d.Sensor, Day: d.Day.String(),
			Text: fmt.Sprintf("%d rows of the sealed day are still to be deleted: a sealing is under way or was interrupted, then the next one goes on", d.superseded)})
	}
	doubles -= d.superseded
	c.sums[d.sensorID].Doubles += int64(doubles)
	if doubles > 0 && d.next == "" {
		c.report.Doubles += int64(doubles)
		c.remark(CheckFinding{Kind: "doubles", Sensor: d.Sensor, Day: d.Day.String(),
			Text: fmt.Sprintf("%d rows are in the sealed day, too; they are read once, and `dustlog store seal` removes them", doubles)})
	}
}

// count adds a sensor's day; d is nil if it is not sealed.
func (c *checker) count(id int64, day sealed.Day, ms []int64, rows int64, d *listed) {
	sum := c.sums[id]
	if sum == nil {
		sum = &CheckSensor{Sensor: c.names[id]}
		c.sums[id] = sum
		if sum.Sensor == "" {
			c.problem(CheckFinding{Kind: "foreign_key", Day: day.String(), File: c.s.path, Text: fmt.Sprintf("rows of a sensor %d, which is not known", id)})
		}
	}
	if d != nil {
		sum.SealedDays++
		sum.SealedReadings += int64(d.Rows)
		sum.SealedBytes += d.Bytes
	}
	entry := CheckDay{Sensor: c.names[id], Day: day.String(), Readings: len(ms), Sealed: d != nil, Readable: true}
	if len(ms) > 0 {
		if sum.Readings == 0 {
			sum.First = time.UnixMilli(ms[0]).UTC()
		}
		sum.Last = time.UnixMilli(ms[len(ms)-1]).UTC()
		sum.Readings += int64(len(ms))
		sum.Rows += rows
		entry.gaps(ms)
	}
	sum.Gaps += entry.Gaps
	sum.GapSeconds += entry.GapSeconds
	c.report.Days = append(c.report.Days, entry)
}

// finish compares the sums and looks for files that nobody lists.
func (c *checker) finish() {
	for _, id := range slices.SortedFunc(maps.Keys(c.sums), func(a, b int64) int { return strings.Compare(c.names[a], c.names[b]) }) {
		c.report.Sensors = append(c.report.Sensors, *c.sums[id])
	}
	if len(c.report.Problems) == 0 { // else the difference is explained already
		for _, span := range c.spans {
			if c.moved[span.Sensor] {
				continue
			}
			i := slices.IndexFunc(c.report.Sensors, func(s CheckSensor) bool { return s.Sensor == span.Sensor })
			found := CheckSensor{}
			if i >= 0 {
				found = c.report.Sensors[i]
			}
			if want := span.Count - found.Doubles; found.Readings != span.Count && found.Readings != want {
				c.problem(CheckFinding{Kind: "count", Sensor: span.Sensor,
					Text: fmt.Sprintf("the store counted %d readings, %d are there: was the file changed by another program?", span.Count, found.Readings)})
			}
		}
	}
	c.strayFiles()
}

// strayFiles looks for files in the folder of days that the list does not have.
func (c *checker) strayFiles() {
	known := map[string]bool{}
	for i := range c.files {
		known[c.s.sealedPath(c.files[i].file)] = true
	}
	err := filepath.WalkDir(c.s.daysFolder(), func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil || e.IsDir() || known[path]:
		case strings.HasPrefix(e.Name(), "."):
			c.remark(CheckFinding{Kind: "unfinished", File: path, Text: "left by an interruption; the next seal removes it"})
		case strings.HasSuffix(e.Name(), ".parquet"):
			c.remark(CheckFinding{Kind: "unlisted", File: path,
				Text: "this file is not part of the store and not read: left by an interrupted seal or prune, or newer than the store's file"})
		}
		return nil
	})
	if err != nil {
		c.remark(CheckFinding{Kind: "unlisted", File: c.s.daysFolder(), Text: err.Error()})
	}
}
