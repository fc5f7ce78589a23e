package cli

import (
	"context"
	"iter"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/sqlite"
)

// dailyRecords lets a study take readings in columns, day by day.
type dailyRecords struct{ *sqlite.Store }

// DailyColumns keeps study.Daily. Nothing is copied.
func (r dailyRecords) DailyColumns(ctx context.Context, sensor dust.Sensor, c dust.Channel, from, to time.Time) iter.Seq2[exposure.Columns, error] {
	return func(yield func(exposure.Columns, error) bool) {
		for table, err := range r.Days(ctx, sensor.Name, []dust.Channel{c}, from, to) {
			if err != nil {
				yield(exposure.Columns{}, err)
				return
			}
			column := table.Column(c)
			if column == nil {
				continue
			}
			day := exposure.Columns{MS: table.MS, PerUnit: column.PerUnit, Ints: column.Ints, Floats: column.Floats, Flags: table.Flags, Missing: column.Missing}
			if !yield(day, nil) {
				return
			}
		}
	}
}

// dailyCopy does the same with a server's copy.
type dailyCopy struct{ *influx.Store }

// DailyColumns keeps study.Daily.
func (r dailyCopy) DailyColumns(ctx context.Context, sensor dust.Sensor, c dust.Channel, from, to time.Time) iter.Seq2[exposure.Columns, error] {
	return func(yield func(exposure.Columns, error) bool) {
		for d, err := range r.Days(ctx, sensor.Name, c, from, to) {
			if !yield(exposure.Columns{MS: d.MS, Floats: d.Values, Flags: d.Flags}, err) {
				return
			}
		}
	}
}
