package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// sortedTogether is how many readings of a batch are sorted at a time.
const sortedTogether = 1000

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
		n, err := t.appendSorted(ctx, part)
		if err != nil {
			return 0, err
		}
		added += n
	}
	return added, nil
}

// row is a reading on its way into the table.
type row struct {
	key int64
	*dust.Reading
}

// appendSorted appends part of a batch in the order of the table: what comes
// behind all that is there costs least.
func (t *tx) appendSorted(ctx context.Context, batch []dust.Reading) (added int, err error) {
	rows := make([]row, 0, len(batch))
	var columns uint32
	for _, same := range bySensor(batch) {
		id, err := t.sensorID(ctx, same[0].Sensor)
		if err != nil {
			return 0, err
		}
		if same, err = t.notSealed(ctx, id, same); err != nil {
			return 0, err
		}
		for _, r := range same {
			t.grow(id, r.Time.UnixMilli())
			rows = append(rows, row{keyOf(r.Time.UnixMilli(), id), r})
			for c := range r.Values.All() {
				columns |= 1 << c
			}
		}
	}
	slices.SortStableFunc(rows, func(a, b row) int { return cmp.Compare(a.key, b.key) })
	for part := range slices.Chunk(rows, rowsPerInsert) {
		n, err := t.insertAll(ctx, part, columns)
		if err != nil {
			return 0, err
		}
		added += n
	}
	return added, nil
}

// checkBatch refuses readings that have no key.
func checkBatch(batch []dust.Reading) error {
	for i := range batch {
		if batch[i].Sensor == "" {
			return fmt.Errorf("reading %d of %d has no sensor", i+1, len(batch))
		}
		if batch[i].Time.IsZero() {
			return fmt.Errorf("reading %d of %d has no time", i+1, len(batch))
		}
		if ms := batch[i].Time.UnixMilli(); ms < -maxMS || ms >= maxMS {
			return fmt.Errorf("reading %d of %d has the time %s, which no clock shows: mend it", i+1, len(batch), batch[i].Time)
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

// grow widens the bounds of what the transaction wrote of a sensor.
func (t *tx) grow(sensor, ms int64) {
	g := t.grown[sensor]
	if g == nil {
		g = &growth{first: ms, last: ms}
		t.grown[sensor] = g
	}
	g.first, g.last = min(g.first, ms), max(g.last, ms)
}

// notSealed leaves out the readings that a sealed day has already. If that day
// cannot be read they are kept: a reading twice is put right by the next seal, a
// lost one is not.
func (t *tx) notSealed(ctx context.Context, sensor int64, readings []*dust.Reading) ([]*dust.Reading, error) {
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
	list, err := t.listDays(ctx, "l.sensor_id = ? AND l.day BETWEEN ? AND ?", sensor, first, last)
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
	if id > maxSensor {
		return 0, fmt.Errorf("sensor %q is one too many: a store holds %d; begin another one", name, maxSensor)
	}
	t.ids[name] = id
	return id, nil
}
