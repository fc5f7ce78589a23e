package influx

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// day is how much of one channel is fetched at a time: some 86,400 values.
const day = 24 * time.Hour

// Day is what one channel of a sensor says on one UTC day: a row is a reading.
// Flags are those of the whole reading.
type Day struct {
	MS     []int64 // Unix milliseconds, rising
	Values []float64
	Flags  []dust.Flags
}

// Days yields what one channel of a sensor says in [from, to), zero times meaning
// open, one UTC day after the other, without those that have nothing. After an
// error nothing follows.
//
// Only times and values are fetched, each field by itself, and of the flags only
// those that are set: the server takes several times as long to join them.
func (s *Store) Days(ctx context.Context, sensor string, c dust.Channel, from, to time.Time) iter.Seq2[Day, error] {
	return func(yield func(Day, error) bool) {
		more := true
		err := s.days(ctx, sensor, c, from, to, func(d Day) bool {
			more = yield(d, nil)
			return more
		})
		if err != nil && more {
			yield(Day{}, s.explain(ctx, "read series", err))
		}
	}
}

func (s *Store) days(ctx context.Context, sensor string, c dust.Channel, from, to time.Time, yield func(Day) bool) error {
	from, to = bounds(from, to)
	begin, last, err := s.edges(ctx, []string{sensor}, c.Key(), from, to)
	if err != nil || begin.IsZero() {
		return err
	}
	to = last.Add(time.Millisecond)
	for begin.Before(to) {
		end := begin.Truncate(day).Add(day)
		if end.After(to) {
			end = to
		}
		d, err := s.day(ctx, sensor, c, begin, end)
		if err != nil {
			return err
		}
		if len(d.MS) > 0 {
			if !yield(d) {
				return nil
			}
			begin = end
			continue
		}
		// A gap: jump to its end.
		if begin, _, err = s.edges(ctx, []string{sensor}, c.Key(), end, to); err != nil || begin.IsZero() {
			return err
		}
	}
	return nil
}

// day fetches the values in [from, to), and the flags of the same moments.
func (s *Store) day(ctx context.Context, sensor string, c dust.Channel, from, to time.Time) (Day, error) {
	values, err := s.column(ctx, sensor, c.Key(), from, to, "")
	if err != nil || len(values.ms) == 0 {
		return Day{}, err
	}
	flags, err := s.column(ctx, sensor, flagsField, from, to, " |> filter(fn: (r) => r._value != 0.0)")
	if err != nil {
		return Day{}, err
	}
	d := Day{MS: values.ms, Values: values.value, Flags: make([]dust.Flags, len(values.ms))}
	i := 0
	for k, ms := range flags.ms {
		for i < len(d.MS) && d.MS[i] < ms {
			i++
		}
		if i < len(d.MS) && d.MS[i] == ms {
			d.Flags[i] = dust.Flags(flags.value[k])
		}
	}
	return d, nil
}

// Series returns the asked channels of one sensor in [from, to), zero times
// meaning open. Every channel asked for has an entry; it is empty if the sensor
// never sent it. A reading in which a channel is missing is not in that
// channel's series.
func (s *Store) Series(ctx context.Context, sensor dust.Sensor, channels []dust.Channel, from, to time.Time) (map[dust.Channel]*dust.Series, error) {
	all := make(map[dust.Channel]*dust.Series, len(channels))
	for _, c := range channels {
		if all[c] != nil {
			continue
		}
		all[c] = dust.NewSeries(sensor, c)
		for d, err := range s.Days(ctx, sensor.Name, c, from, to) {
			if err != nil {
				return nil, err
			}
			for i, ms := range d.MS {
				if err := all[c].Append(time.UnixMilli(ms), d.Values[i], d.Flags[i]); err != nil {
					return nil, s.explain(ctx, "read series", err)
				}
			}
		}
	}
	return all, nil
}

// column is what one field says over time, in order.
type column struct {
	ms    []int64
	value []float64
}

// column fetches a field; more is appended to the query.
func (s *Store) column(ctx context.Context, sensor, field string, from, to time.Time, more string) (c column, err error) {
	flux := s.source([]string{sensor}, []string{field}, from, to) + more + ` |> keep(columns: ["_time", "_value"]) |> yield(name: "v")`
	err = s.ask(ctx, flux, func(csv io.Reader) error { return c.read(csv) })
	if err != nil {
		return c, fmt.Errorf("field %s of sensor %q: %w", field, sensor, err)
	}
	c.order()
	return c, nil
}

// read takes an answer with the columns _time and _value. No cell of it is quoted.
func (c *column) read(csv io.Reader) error {
	lines := bufio.NewScanner(csv)
	var at struct{ time, value int }
	named := false
	for lines.Scan() {
		line := lines.Text()
		switch {
		case line == "": // the end of a table
			named = false
		case named:
			if err := c.add(cell(line, at.time), cell(line, at.value)); err != nil {
				return err
			}
		default:
			names := strings.Split(line, ",")
			at.time, at.value = slices.Index(names, "_time"), slices.Index(names, "_value")
			if named = true; at.time < 0 || at.value < 0 {
				return unexpected(line, lines)
			}
		}
	}
	return lines.Err()
}

func (c *column) add(at, value string) error {
	t, err := time.Parse(time.RFC3339Nano, at)
	if err != nil {
		return err
	}
	x, err := strconv.ParseFloat(value, 64)
	if err != nil {
		return fmt.Errorf("not a float: %w", err)
	}
	c.ms, c.value = append(c.ms, t.UnixMilli()), append(c.value, x)
	return nil
}

// cell is the cell with number n, counted from 0.
func cell(line string, n int) string {
	for ; n > 0; n-- {
		_, line, _ = strings.Cut(line, ",")
	}
	line, _, _ = strings.Cut(line, ",")
	return line
}

// unexpected is an answer that has no such columns: the server tells of a mistake
// in a table of its own.
func unexpected(names string, rest *bufio.Scanner) error {
	text := names
	for range 3 {
		if !rest.Scan() {
			break
		}
		text += " " + rest.Text()
	}
	return fmt.Errorf("the server answers %q", text)
}

// order sorts a column that came in pieces.
func (c *column) order() {
	if slices.IsSorted(c.ms) {
		return
	}
	index := make([]int, len(c.ms))
	for i := range index {
		index[i] = i
	}
	slices.SortFunc(index, func(a, b int) int { return int(c.ms[a] - c.ms[b]) })
	sorted := column{}
	for _, i := range index {
		sorted.ms, sorted.value = append(sorted.ms, c.ms[i]), append(sorted.value, c.value[i])
	}
	*c = sorted
}
