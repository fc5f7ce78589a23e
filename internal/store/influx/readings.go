package influx

import (
	"cmp"
	"context"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/query"

	"dustlog/internal/dust"
)

// SensorSpan says what the store has of one sensor. It is the same type as
// store.SensorSpan; back ends do not import store.
type SensorSpan = struct {
	Sensor      string
	First, Last time.Time
	Count       int64
}

// window is how much is fetched at a time: it bounds the memory that server and
// client need.
const window = time.Hour

// Readings yields the readings that q selects in time order, those of one
// moment by sensor name. After an error nothing follows.
func (s *Store) Readings(ctx context.Context, q dust.Query) iter.Seq2[dust.Reading, error] {
	return func(yield func(dust.Reading, error) bool) {
		more := true
		err := s.scan(ctx, q, func(r dust.Reading) bool {
			more = yield(r, nil)
			return more
		})
		if err != nil && more {
			yield(dust.Reading{}, s.explain(ctx, "read readings", err))
		}
	}
}

func (s *Store) scan(ctx context.Context, q dust.Query, yield func(dust.Reading) bool) error {
	from, to := bounds(q.From, q.To)
	from, last, err := s.edges(ctx, q.Sensors, flagsField, from, to)
	if err != nil || from.IsZero() {
		return err
	}
	fields := fieldsOf(q.Channels)
	for !from.After(last) {
		end := from.Add(window)
		if end.After(last) {
			end = last.Add(time.Millisecond)
		}
		readings, err := s.fetch(ctx, q.Sensors, fields, from, end)
		if err != nil {
			return err
		}
		for _, r := range readings {
			if err := ctx.Err(); err != nil {
				return err
			}
			if !yield(r) {
				return nil
			}
		}
		from = end
		if len(readings) == 0 { // a gap: jump to its end
			if from, _, err = s.edges(ctx, q.Sensors, flagsField, end, last.Add(time.Millisecond)); err != nil || from.IsZero() {
				return err
			}
		}
	}
	return nil
}

// bounds turns a range of times, zero meaning open, into one of whole
// milliseconds that the server can hold and that selects the same readings.
func bounds(from, to time.Time) (lo, hi time.Time) {
	if from.Before(earliest) {
		from = earliest
	}
	if to.IsZero() || to.After(latest) {
		to = latest
	}
	return ceilMilli(from), ceilMilli(to)
}

func ceilMilli(t time.Time) time.Time {
	whole := t.UTC().Truncate(time.Millisecond)
	if whole.Before(t) {
		whole = whole.Add(time.Millisecond)
	}
	return whole
}

// fieldsOf names the fields to fetch; nil means all.
func fieldsOf(channels []dust.Channel) []string {
	if len(channels) == 0 {
		return nil
	}
	fields := []string{flagsField}
	for _, c := range channels {
		fields = append(fields, c.Key())
	}
	return fields
}

// source is the start of every query: what lies in [from, to), by sensor and
// field. nil means all of them.
func (s *Store) source(sensors, fields []string, from, to time.Time) string {
	return s.sourceOf(measurement, sensors, fields, from, to)
}

func (s *Store) sourceOf(measurement string, sensors, fields []string, from, to time.Time) string {
	const format = "2006-01-02T15:04:05.000000000Z"
	to = to.Add(-time.Nanosecond) // by its manual the server leaves stop out, but 1.8.10 does not
	text := fmt.Sprintf("from(bucket: %q) |> range(start: %s, stop: %s) |> filter(fn: (r) => r._measurement == %q",
		s.database, from.Format(format), to.Format(format), measurement)
	if s.shop != "" {
		text += " and " + oneOf(shopTag, []string{encodeName(s.shop)})
	}
	if len(sensors) > 0 {
		encoded := make([]string, len(sensors))
		for i, name := range sensors {
			encoded[i] = encodeName(name)
		}
		text += " and " + oneOf(sensorTag, encoded)
	}
	if len(fields) > 0 {
		text += " and " + oneOf("_field", fields)
	}
	text += ")"
	// 1.8.10 takes an end before 1970 for none at all.
	if !from.After(epoch) && from.After(earliest) {
		text += fmt.Sprintf(" |> filter(fn: (r) => r._time >= %s)", from.Format(format))
	}
	if !to.After(epoch) {
		text += fmt.Sprintf(" |> filter(fn: (r) => r._time <= %s)", to.Format(format))
	}
	return text
}

// oneOf is a condition in Flux. The values hold nothing that needs escaping.
func oneOf(column string, values []string) string {
	terms := make([]string, len(values))
	for i, v := range values {
		terms[i] = "r." + column + ` == "` + v + `"`
	}
	return "(" + strings.Join(terms, " or ") + ")"
}

// each runs a query and hands its rows to f.
func (s *Store) each(ctx context.Context, flux string, f func(*query.FluxRecord) error) error {
	ctx, cancel := context.WithTimeout(ctx, requestTimeout)
	defer cancel()
	result, err := s.query.Query(ctx, flux)
	if err != nil {
		return err
	}
	defer result.Close()
	for result.Next() {
		if err := f(result.Record()); err != nil {
			return err
		}
	}
	return result.Err()
}

// fetch returns the readings in [from, to) in order. fields must hold the flags
// field or be nil.
func (s *Store) fetch(ctx context.Context, sensors, fields []string, from, to time.Time) ([]dust.Reading, error) {
	flux := s.source(sensors, fields, from, to) +
		` |> group(columns: ["sensor"]) |> pivot(rowKey: ["_time"], columnKey: ["_field"], valueColumn: "_value")`
	var readings []dust.Reading
	err := s.each(ctx, flux, func(row *query.FluxRecord) error {
		r, err := readingOf(row.Values())
		readings = append(readings, r)
		return err
	})
	if err != nil {
		return nil, err
	}
	slices.SortFunc(readings, func(a, b dust.Reading) int {
		return cmp.Or(a.Time.Compare(b.Time), strings.Compare(a.Sensor, b.Sensor))
	})
	return readings, nil
}

func readingOf(row map[string]any) (r dust.Reading, err error) {
	at, isTime := row["_time"].(time.Time)
	tag, isTag := row[sensorTag].(string)
	if !isTime || !isTag {
		return r, fmt.Errorf("a point of %s has no time or no tag %s", measurement, sensorTag)
	}
	r.Time, r.Sensor = at.UTC(), decodeName(tag)
	for field, v := range row {
		c, isChannel := dust.ChannelByKey(field)
		x, isFloat := v.(float64)
		switch {
		case v == nil || !isChannel && field != flagsField:
		case !isFloat:
			return r, fmt.Errorf("field %s of sensor %q is not a float", field, r.Sensor)
		case isChannel:
			r.Values.Set(c, x)
		default:
			r.Flags = dust.Flags(x)
		}
	}
	return r, nil
}

// edges returns the times of the first and last value of a field in [from, to), or
// zero times if there is none.
func (s *Store) edges(ctx context.Context, sensors []string, field string, from, to time.Time) (first, last time.Time, err error) {
	if !from.Before(to) {
		return first, last, nil // the server takes an empty range for a mistake
	}
	source := "data = " + s.source(sensors, []string{field}, from, to)
	first, last, err = s.ends(ctx, source+"\ndata |> first() |> yield(name: \"first\")\ndata |> last() |> yield(name: \"last\")")
	if err != nil {
		return time.Time{}, time.Time{}, s.explain(ctx, "look for readings", err)
	}
	return first, last, nil
}

// ends returns the earliest and latest time among the rows of a query.
func (s *Store) ends(ctx context.Context, flux string) (first, last time.Time, err error) {
	err = s.each(ctx, flux, func(row *query.FluxRecord) error {
		at := row.Time().UTC()
		if first.IsZero() || at.Before(first) {
			first = at
		}
		if at.After(last) {
			last = at
		}
		return nil
	})
	return first, last, err
}

// Span tells, for every sensor that has readings, the first and last of them and
// how many there are, by sensor name.
func (s *Store) Span(ctx context.Context) ([]SensorSpan, error) {
	flux := "data = " + s.source(nil, []string{flagsField}, earliest, latest)
	for _, what := range []string{"first", "last", "count"} {
		flux += fmt.Sprintf("\ndata |> %s() |> yield(name: %q)", what, what)
	}
	spans := map[string]*SensorSpan{}
	err := s.each(ctx, flux, func(row *query.FluxRecord) error {
		tag, _ := row.ValueByKey(sensorTag).(string)
		if spans[tag] == nil {
			spans[tag] = &SensorSpan{Sensor: decodeName(tag)}
		}
		switch span := spans[tag]; row.Result() {
		case "first":
			span.First = row.Time().UTC()
		case "last":
			span.Last = row.Time().UTC()
		case "count":
			span.Count, _ = row.Value().(int64)
		}
		return nil
	})
	if err != nil {
		return nil, s.explain(ctx, "count readings", err)
	}
	var list []SensorSpan
	for _, span := range spans {
		list = append(list, *span)
	}
	slices.SortFunc(list, func(a, b SensorSpan) int { return strings.Compare(a.Sensor, b.Sensor) })
	return list, nil
}
