package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
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
	m.ms, m.pending = ms, append(m.pending, r)
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
	names, wanted, err := s.resolve(ctx, q.Sensors)
	if err != nil || wanted == "" {
		return err
	}
	channels := unique(q.Channels)
	if len(channels) == 0 {
		for c := range dust.ChannelCount {
			channels = append(channels, c)
		}
	}
	query := "SELECT time_ms, sensor_id, flags" + columnList(channels) + " FROM reading WHERE " +
		wanted + " AND time_ms >= ? AND time_ms < ? ORDER BY time_ms"
	lo, hi := bounds(q.From, q.To)
	return s.scan(ctx, query, []any{lo, hi}, func(row []driver.Value) error {
		ms, id, flags := row[0].(int64), row[1].(int64), row[2].(int64)
		r := dust.Reading{Time: time.UnixMilli(ms).UTC(), Sensor: names[id], Flags: dust.Flags(flags)}
		for i, c := range channels {
			if x, ok := row[3+i].(float64); ok {
				r.Values.Set(c, x)
			}
		}
		return m.add(ms, r)
	})
}

// resolve returns the names of all sensors by number, and a condition that
// selects the wanted ones; "" if there is none of them.
func (s *Store) resolve(ctx context.Context, wanted []string) (names map[int64]string, condition string, err error) {
	rows, err := s.read.QueryContext(ctx, "SELECT id, name FROM sensor")
	if err != nil {
		return nil, "", err
	}
	defer rows.Close()
	names = map[int64]string{}
	var ids []string
	for rows.Next() {
		var id int64
		var name string
		if err := rows.Scan(&id, &name); err != nil {
			return nil, "", err
		}
		names[id] = name
		if slices.Contains(wanted, name) {
			ids = append(ids, fmt.Sprint(id))
		}
	}
	switch {
	case len(wanted) == 0:
		condition = "true"
	case len(ids) > 0:
		condition = "sensor_id IN (" + strings.Join(ids, ", ") + ")"
	}
	return names, condition, rows.Err()
}

// scan hands every row of a query to f. It bypasses database/sql's conversions,
// which cost more than reading the row does. A row is valid only during f.
func (s *Store) scan(ctx context.Context, query string, args []any, f func(row []driver.Value) error) error {
	conn, err := s.read.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	return conn.Raw(func(raw any) error {
		named := make([]driver.NamedValue, len(args))
		for i, a := range args {
			named[i] = driver.NamedValue{Ordinal: i + 1, Value: a}
		}
		rows, err := raw.(driver.QueryerContext).QueryContext(ctx, query, named)
		if err != nil {
			return err
		}
		err = eachRow(ctx, rows, f)
		return errors.Join(err, rows.Close())
	})
}

func eachRow(ctx context.Context, rows driver.Rows, f func(row []driver.Value) error) error {
	row := make([]driver.Value, len(rows.Columns()))
	for n := 0; ; n++ {
		if n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		switch err := rows.Next(row); {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		if err := f(row); err != nil {
			return err
		}
	}
}

func unique(channels []dust.Channel) []dust.Channel {
	var list []dust.Channel
	for _, c := range channels {
		if !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	return list
}

func columnList(channels []dust.Channel) string {
	var b strings.Builder
	for _, c := range channels {
		b.WriteString(", ")
		b.WriteString(c.Key())
	}
	return b.String()
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
	rows, err := s.read.QueryContext(ctx, "SELECT name, first_ms, last_ms, readings FROM sensor WHERE readings > 0 ORDER BY name")
	if err != nil {
		return nil, explain("count readings", s.path, err)
	}
	defer rows.Close()
	var spans []SensorSpan
	for rows.Next() {
		var span SensorSpan
		var first, last int64
		if err := rows.Scan(&span.Sensor, &first, &last, &span.Count); err != nil {
			return nil, explain("count readings", s.path, err)
		}
		span.First, span.Last = time.UnixMilli(first).UTC(), time.UnixMilli(last).UTC()
		spans = append(spans, span)
	}
	return spans, explain("count readings", s.path, rows.Err())
}

// Series returns the asked channels of one sensor in [from, to), zero times
// meaning open. Every channel asked for has an entry; it is empty if the sensor
// never sent it. A reading in which a channel is missing is not in that
// channel's series.
func (s *Store) Series(ctx context.Context, sensor dust.Sensor, channels []dust.Channel, from, to time.Time) (map[dust.Channel]*dust.Series, error) {
	channels = unique(channels)
	all := make(map[dust.Channel]*dust.Series, len(channels))
	list := make([]*dust.Series, len(channels))
	for i, c := range channels {
		list[i] = dust.NewSeries(sensor, c)
		all[c] = list[i]
	}
	_, wanted, err := s.resolve(ctx, []string{sensor.Name})
	if err != nil || wanted == "" {
		return all, explain("read series", s.path, err)
	}
	lo, hi := bounds(from, to)
	query := "SELECT time_ms, flags" + columnList(channels) + " FROM reading WHERE " + wanted +
		" AND time_ms >= ? AND time_ms < ? ORDER BY time_ms"
	err = s.scan(ctx, query, []any{lo, hi}, func(row []driver.Value) error {
		at, flags := time.UnixMilli(row[0].(int64)), dust.Flags(row[1].(int64))
		for i, series := range list {
			if x, ok := row[2+i].(float64); ok {
				if err := series.Append(at, x, flags); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil, explain("read series", s.path, err)
	}
	return all, nil
}
