package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/bits"
	"slices"
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

const (
	// rowsPerInsert is how many readings one INSERT statement carries; 50 was
	// quicker than 10 and no slower than 200 (BenchmarkAppend1000).
	rowsPerInsert = 50
	// sortedTogether is how many readings of a batch are sorted by sensor at a
	// time. Sorting all of a huge batch would visit every page once per sensor.
	sortedTogether = 1000
)

// Appender adds to the store within one transaction.
type Appender interface {
	Append(ctx context.Context, batch []dust.Reading) (added int, err error)
	PutSensor(ctx context.Context, sensor dust.Sensor) error
	AddTask(ctx context.Context, task dust.Task) (dust.Task, error)
	AddEvent(ctx context.Context, e dust.Event) error
}

// Append adds a batch of readings, all or none of it, and says how many were
// new. A reading whose sensor and time the store already has is not added and
// not an error: the one written first stays. A sensor that was never put gets
// an entry without model and position.
func (s *Store) Append(ctx context.Context, batch []dust.Reading) (added int, err error) {
	if len(batch) == 0 {
		return 0, ctx.Err()
	}
	err = s.update(ctx, "append readings", func(t *tx) error {
		added, err = t.Append(ctx, batch)
		return err
	})
	if err != nil {
		return 0, err
	}
	return added, nil
}

// Import runs f in one transaction: if f fails, nothing of it stays behind.
// While f runs, every other writer waits, so f must use only its Appender.
func (s *Store) Import(ctx context.Context, f func(tx Appender) error) error {
	return s.update(ctx, "import", func(t *tx) error { return f(t) })
}

var errReadOnly = errors.New("the store was opened for reading only")

// tx is one write transaction.
type tx struct {
	*sql.Tx
	s       *Store
	ids     map[string]int64
	inserts map[insertKey]*sql.Stmt
	grown   map[int64]*growth // by sensor
	sealed  map[int64]*sealedTimes
	newest  *sealed.Day // the last sealed day of any sensor, once it was asked for
}

// sealedTimes are the times of the sealed day of a sensor looked at last.
type sealedTimes struct {
	day sealed.Day
	ms  []int64 // nil if the day is not sealed
}

type insertKey struct {
	columns uint32 // bit set of channels
	rows    int
}

// growth sums up what a transaction wrote of one sensor.
type growth struct {
	first, last int64 // Unix milliseconds
	added       int
}

// update runs f in a transaction and commits it if f returns nil.
func (s *Store) update(ctx context.Context, doing string, f func(*tx) error) error {
	if s.write == nil {
		return fmt.Errorf("%s in %s: %w", doing, s.path, errReadOnly)
	}
	begun, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return explain(doing, s.path, err)
	}
	defer begun.Rollback() //nolint:errcheck // after Commit this does nothing
	s.mu.Lock()
	t := &tx{Tx: begun, s: s, ids: maps.Clone(s.ids), inserts: map[insertKey]*sql.Stmt{}, grown: map[int64]*growth{},
		sealed: map[int64]*sealedTimes{}}
	s.mu.Unlock()
	if err := f(t); err != nil {
		return explain(doing, s.path, err)
	}
	if err := t.sumUp(ctx); err != nil {
		return explain(doing, s.path, err)
	}
	if err := t.Commit(); err != nil {
		return explain(doing, s.path, err)
	}
	s.mu.Lock()
	maps.Copy(s.ids, t.ids)
	s.mu.Unlock()
	return nil
}

// sumUp brings the sensors' sums up to date.
func (t *tx) sumUp(ctx context.Context) error {
	for id, g := range t.grown {
		_, err := t.ExecContext(ctx, `UPDATE sensor SET readings = readings + ?,
			first_ms = min(coalesce(first_ms, ?2), ?2), last_ms = max(coalesce(last_ms, ?3), ?3) WHERE id = ?4`,
			g.added, g.first, g.last, id)
		if err != nil {
			return err
		}
	}
	return nil
}

// Append is Store.Append within the transaction.
func (t *tx) Append(ctx context.Context, batch []dust.Reading) (added int, err error) {
	if err := checkBatch(batch); err != nil {
		return 0, err
	}
	for part := range slices.Chunk(batch, sortedTogether) {
		for _, same := range bySensor(part) {
			n, err := t.appendSame(ctx, same)
			if err != nil {
				return 0, err
			}
			added += n
		}
	}
	return added, nil
}

// checkBatch refuses readings without a key.
func checkBatch(batch []dust.Reading) error {
	for i := range batch {
		if batch[i].Sensor == "" {
			return fmt.Errorf("reading %d of %d has no sensor", i+1, len(batch))
		}
		if batch[i].Time.IsZero() {
			return fmt.Errorf("reading %d of %d has no time", i+1, len(batch))
		}
	}
	return nil
}

// bySensor splits a batch by sensor and keeps the order within each.
func bySensor(batch []dust.Reading) [][]*dust.Reading {
	var groups [][]*dust.Reading
	at := map[string]int{}
	for i := range batch {
		r := &batch[i]
		k, ok := at[r.Sensor]
		if !ok {
			k = len(groups)
			at[r.Sensor] = k
			groups = append(groups, nil)
		}
		groups[k] = append(groups[k], r)
	}
	return groups
}

// appendSame appends readings of one sensor.
func (t *tx) appendSame(ctx context.Context, readings []*dust.Reading) (added int, err error) {
	id, err := t.sensorID(ctx, readings[0].Sensor)
	if err != nil {
		return 0, err
	}
	if readings, err = t.unsealed(ctx, id, readings); err != nil || len(readings) == 0 {
		return 0, err
	}
	g := t.grown[id]
	if g == nil {
		ms := readings[0].Time.UnixMilli()
		g = &growth{first: ms, last: ms}
		t.grown[id] = g
	}
	var columns uint32
	for _, r := range readings {
		ms := r.Time.UnixMilli()
		g.first, g.last = min(g.first, ms), max(g.last, ms)
		for c := range r.Values.All() {
			columns |= 1 << c
		}
	}
	for part := range slices.Chunk(readings, rowsPerInsert) {
		n, err := t.insert(ctx, id, part, columns)
		if err != nil {
			return 0, err
		}
		added += n
	}
	g.added += added
	return added, nil
}

// unsealed leaves out the readings that a sealed day has already. If that day
// cannot be read they are kept: a reading twice is put right by the next seal, a
// lost one is not.
func (t *tx) unsealed(ctx context.Context, sensor int64, readings []*dust.Reading) ([]*dust.Reading, error) {
	first, last := sealed.Day(math.MaxInt64), sealed.Day(math.MinInt64)
	for _, r := range readings {
		day := sealed.DayOf(r.Time.UnixMilli())
		first, last = min(first, day), max(last, day)
	}
	if t.newest == nil {
		t.newest = new(sealed.Day)
		if err := t.QueryRowContext(ctx, "SELECT coalesce(max(day), ?) FROM sealed_day", int64(math.MinInt64)).Scan(t.newest); err != nil {
			return nil, err
		}
	}
	if first > *t.newest {
		return readings, nil // the usual case: they are new
	}
	list, err := listDays(ctx, t, "l.sensor_id = ? AND l.day BETWEEN ? AND ?", sensor, first, last)
	if err != nil || len(list) == 0 {
		return readings, err
	}
	kept := make([]*dust.Reading, 0, len(readings))
	for _, r := range readings {
		ms := r.Time.UnixMilli()
		if _, there := slices.BinarySearch(t.sealedMS(ctx, sensor, sealed.DayOf(ms), list), ms); !there {
			kept = append(kept, r)
		}
	}
	return kept, nil
}

// sealedMS returns the times of a sealed day; nil if it is not in the list.
func (t *tx) sealedMS(ctx context.Context, sensor int64, day sealed.Day, list []listed) []int64 {
	known := t.sealed[sensor]
	if known != nil && known.day == day {
		return known.ms
	}
	known = &sealedTimes{day: day}
	t.sealed[sensor] = known
	for i := range list {
		var table sealed.Table
		if list[i].Day == day && t.s.load(ctx, &list[i], []dust.Channel{}, &table) == nil {
			known.ms = table.MS
		}
	}
	return known.ms
}

func (t *tx) insert(ctx context.Context, sensor int64, readings []*dust.Reading, columns uint32) (added int, err error) {
	stmt, err := t.insertStmt(ctx, insertKey{columns, len(readings)})
	if err != nil {
		return 0, err
	}
	args := make([]any, 0, len(readings)*(3+bits.OnesCount32(columns)))
	for _, r := range readings {
		args = append(args, r.Time.UnixMilli(), sensor, int64(r.Flags))
		for c := range dust.ChannelCount {
			if columns&(1<<c) == 0 {
				continue
			}
			if x, ok := r.Values.Get(c); ok {
				args = append(args, x)
			} else {
				args = append(args, nil)
			}
		}
	}
	result, err := stmt.ExecContext(ctx, args...)
	if err != nil {
		return 0, err
	}
	n, err := result.RowsAffected()
	return int(n), err
}

// insertStmt names only the columns a batch needs: most sensors fill less than
// half of them, and binding NULLs costs time.
func (t *tx) insertStmt(ctx context.Context, key insertKey) (*sql.Stmt, error) {
	if stmt, ok := t.inserts[key]; ok {
		return stmt, nil
	}
	names, marks := "time_ms, sensor_id, flags", "(?, ?, ?"
	for c := range dust.ChannelCount {
		if key.columns&(1<<c) != 0 {
			names += ", " + c.Key()
			marks += ", ?"
		}
	}
	rows := strings.Repeat(marks+"), ", key.rows-1) + marks + ")"
	stmt, err := t.PrepareContext(ctx, "INSERT INTO reading ("+names+") VALUES "+rows+" ON CONFLICT DO NOTHING")
	if err == nil {
		t.inserts[key] = stmt
	}
	return stmt, err
}

// sensorID finds the sensor's number and gives it one if it has none.
func (t *tx) sensorID(ctx context.Context, name string) (int64, error) {
	if id, ok := t.ids[name]; ok {
		return id, nil
	}
	if _, err := t.ExecContext(ctx, "INSERT INTO sensor (name, model, position) VALUES (?, '', '') ON CONFLICT DO NOTHING", name); err != nil {
		return 0, err
	}
	var id int64
	if err := t.QueryRowContext(ctx, "SELECT id FROM sensor WHERE name = ?", name).Scan(&id); err != nil {
		return 0, err
	}
	t.ids[name] = id
	return id, nil
}
