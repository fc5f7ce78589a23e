package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// SensorSpan says what the store has of one sensor. It is the same type as
// store.SensorSpan; back ends do not import store.
type SensorSpan = struct {
	Sensor      string
	First, Last time.Time
	Count       int64
}

// Readings yields the readings that q selects in time order, those of one
// moment by sensor name. They are read as they are asked for, all as of one
// moment: what is added meanwhile is not seen. After an error nothing follows.
func (s *Store) Readings(ctx context.Context, q dust.Query) iter.Seq2[dust.Reading, error] {
	return func(yield func(dust.Reading, error) bool) {
		m := &moment{yield: yield}
		err := s.scanReadings(ctx, q, m)
		switch {
		case errors.Is(err, errEnough):
		case err != nil:
			yield(dust.Reading{}, explain("read readings", s.path, err))
		default:
			_ = m.flush() // the last moment; nothing is left to be stopped
		}
	}
}

// errEnough ends a scan whose reader wants no more.
var errEnough = errors.New("enough")

// moment holds back the readings of one time until all are there to be sorted.
type moment struct {
	yield   func(dust.Reading, error) bool
	ms      int64
	pending []dust.Reading
}

func (m *moment) add(ms int64, r dust.Reading) error {
	if ms != m.ms {
		if err := m.flush(); err != nil {
			return err
		}
	}
	m.ms = ms
	for i := range m.pending {
		if m.pending[i].Sensor == r.Sensor {
			return nil // sealed readings come first and win
		}
	}
	m.pending = append(m.pending, r)
	return nil
}

func (m *moment) flush() error {
	if len(m.pending) > 1 {
		slices.SortFunc(m.pending, func(a, b dust.Reading) int { return strings.Compare(a.Sensor, b.Sensor) })
	}
	for _, r := range m.pending {
		if !m.yield(r, nil) {
			return errEnough
		}
	}
	m.pending = m.pending[:0]
	return nil
}

func (s *Store) scanReadings(ctx context.Context, q dust.Query, m *moment) error {
	channels := wantedChannels(q.Channels)
	lo, hi := bounds(q.From, q.To)
	return s.view(ctx, func(v *view) error {
		names, ids, err := v.resolve(ctx, q.Sensors)
		if err != nil || len(q.Sensors) > 0 && len(ids) == 0 {
			return err
		}
		list, err := v.listed(ctx, ids, lo, hi)
		if err != nil {
			return err
		}
		days := &dayReader{s: s, list: list, channels: channels, lo: lo, hi: hi, m: m}
		scan := rowScan{channels: channels, sensors: ids, lo: lo, hi: hi}
		err = v.rows(ctx, scan, func(ms, id int64, flags dust.Flags, values []driver.Value) error {
			if err := days.until(ctx, ms); err != nil {
				return err
			}
			r := dust.Reading{Time: time.UnixMilli(ms).UTC(), Sensor: names[id], Flags: flags}
			for i, c := range channels {
				if x, ok := loaded(values[i]); ok {
					r.Values.Set(c, x)
				}
			}
			return m.add(ms, r)
		})
		if err != nil {
			return err
		}
		return days.until(ctx, math.MaxInt64)
	})
}

// dayReader hands over the readings of sealed days in time order.
type dayReader struct {
	s        *Store
	list     []listed // what was not opened yet, by day
	channels []dust.Channel
	lo, hi   int64
	m        *moment

	open  []openDay // all of one day
	spare []*sealed.Table
	count int
}

type openDay struct {
	sensor string
	table  *sealed.Table
	row    int
	whole  *sealed.Table // of which table may be a part
}

// until hands over all readings up to and including the moment ms.
func (d *dayReader) until(ctx context.Context, ms int64) error {
	for {
		if len(d.open) == 0 {
			if len(d.list) == 0 || d.list[0].Day > sealed.DayOf(ms) {
				return nil
			}
			if err := d.openNext(ctx); err != nil {
				return err
			}
			continue
		}
		next := d.earliest()
		if next < 0 {
			for _, o := range d.open {
				d.spare = append(d.spare, o.whole)
			}
			d.open = d.open[:0]
			continue
		}
		o := &d.open[next]
		at := o.table.MS[o.row]
		if at > ms {
			return nil
		}
		if d.count++; d.count%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if err := d.m.add(at, o.table.Reading(o.row, o.sensor)); err != nil {
			return err
		}
		o.row++
	}
}

// earliest finds the open day with the next reading; -1 if all are read.
func (d *dayReader) earliest() int {
	best := -1
	for i := range d.open {
		o := &d.open[i]
		if o.row < o.table.Len() && (best < 0 || o.table.MS[o.row] < d.open[best].table.MS[d.open[best].row]) {
			best = i
		}
	}
	return best
}

// openNext reads the next listed day of all sensors.
func (d *dayReader) openNext(ctx context.Context) error {
	day := d.list[0].Day
	for len(d.list) > 0 && d.list[0].Day == day {
		entry := &d.list[0]
		d.list = d.list[1:]
		table := &sealed.Table{}
		if n := len(d.spare); n > 0 {
			table, d.spare = d.spare[n-1], d.spare[:n-1]
		}
		switch err := d.s.load(ctx, entry, d.channels, table); {
		case errors.Is(err, errGone):
			continue
		case err != nil:
			return err
		}
		d.open = append(d.open, openDay{sensor: entry.Sensor, table: table.Slice(d.lo, d.hi), whole: table})
	}
	return nil
}

// wantedChannels lists each channel asked for once; none asked for means all.
func wantedChannels(channels []dust.Channel) []dust.Channel {
	if len(channels) == 0 {
		return allChannels()
	}
	var list []dust.Channel
	for _, c := range channels {
		if !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	return list
}

// bounds turns a half-open range of times, zero meaning open, into one of whole
// milliseconds that selects the same stored times.
func bounds(from, to time.Time) (lo, hi int64) {
	lo, hi = math.MinInt64, math.MaxInt64
	if !from.IsZero() {
		lo = ceilMilli(from)
	}
	if !to.IsZero() {
		hi = ceilMilli(to)
	}
	return lo, hi
}

func ceilMilli(t time.Time) int64 {
	ms := t.UnixMilli()
	if t.Nanosecond()%int(time.Millisecond) != 0 {
		ms++
	}
	return ms
}

// Span tells, for every sensor that has readings, the first and last of them and
// how many there are, by sensor name.
func (s *Store) Span(ctx context.Context) ([]SensorSpan, error) {
	list, err := spans(ctx, s.read)
	return list, explain("count readings", s.path, err)
}

func spans(ctx context.Context, db querier) ([]SensorSpan, error) {
	rows, err := db.QueryContext(ctx, "SELECT name, first_ms, last_ms, readings FROM sensor WHERE readings > 0 ORDER BY name")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []SensorSpan
	for rows.Next() {
		var span SensorSpan
		var first, last int64
		if err := rows.Scan(&span.Sensor, &first, &last, &span.Count); err != nil {
			return nil, err
		}
		span.First, span.Last = time.UnixMilli(first).UTC(), time.UnixMilli(last).UTC()
		list = append(list, span)
	}
	return list, rows.Err()
}
