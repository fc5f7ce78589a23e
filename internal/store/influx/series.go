package influx

import (
	"context"
	"slices"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/query"

	"dustlog/internal/dust"
)

// day is how much of one sensor is fetched at a time: 86,400 values a channel.
const day = 24 * time.Hour

// column is what one field says over time.
type column struct {
	ms    []int64
	value []float64
}

// Series returns the asked channels of one sensor in [from, to), zero times
// meaning open. Every channel asked for has an entry; it is empty if the sensor
// never sent it. A reading in which a channel is missing is not in that
// channel's series.
//
// The server sends each field by itself, and the columns are joined here: its
// own pivot takes several times as long.
func (s *Store) Series(ctx context.Context, sensor dust.Sensor, channels []dust.Channel, from, to time.Time) (map[dust.Channel]*dust.Series, error) {
	all := make(map[dust.Channel]*dust.Series, len(channels))
	for _, c := range channels {
		all[c] = dust.NewSeries(sensor, c)
	}
	if len(all) == 0 {
		return all, nil
	}
	names := []string{sensor.Name}
	from, to = bounds(from, to)
	from, last, err := s.edges(ctx, names, from, to)
	if err != nil || from.IsZero() {
		return all, err
	}
	fields := fieldsOf(channels)
	for !from.After(last) {
		end := from.Add(day)
		if end.After(last) {
			end = last.Add(time.Millisecond)
		}
		columns, err := s.columns(ctx, names, fields, from, end)
		if err == nil {
			err = join(columns, all)
		}
		if err != nil {
			return nil, s.explain(ctx, "read series", err)
		}
		from = end
		if len(columns) == 0 { // a gap: jump to its end
			if from, _, err = s.edges(ctx, names, end, last.Add(time.Millisecond)); err != nil || from.IsZero() {
				return all, err
			}
		}
	}
	return all, nil
}

// columns fetches fields as columns in order of time.
func (s *Store) columns(ctx context.Context, sensors, fields []string, from, to time.Time) (map[string]*column, error) {
	flux := s.source(sensors, fields, from, to) + ` |> keep(columns: ["_time", "_field", "_value"])`
	columns := map[string]*column{}
	err := s.each(ctx, flux, func(row *query.FluxRecord) error {
		x, isFloat := row.Value().(float64)
		if !isFloat {
			return nil // a field that something else wrote
		}
		c := columns[row.Field()]
		if c == nil {
			c = &column{}
			columns[row.Field()] = c
		}
		c.ms, c.value = append(c.ms, row.Time().UnixMilli()), append(c.value, x)
		return nil
	})
	for _, c := range columns {
		c.order()
	}
	return columns, err
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

// join appends columns to the series of their channels, with the flags of the
// same moment.
func join(columns map[string]*column, all map[dust.Channel]*dust.Series) error {
	flags := columns[flagsField]
	if flags == nil {
		flags = &column{}
	}
	for c, series := range all {
		column := columns[c.Key()]
		if column == nil {
			continue
		}
		k := 0
		for i, ms := range column.ms {
			for k < len(flags.ms) && flags.ms[k] < ms {
				k++
			}
			var f dust.Flags
			if k < len(flags.ms) && flags.ms[k] == ms {
				f = dust.Flags(flags.value[k])
			}
			if err := series.Append(time.UnixMilli(ms), column.value[i], f); err != nil {
				return err
			}
		}
	}
	return nil
}
