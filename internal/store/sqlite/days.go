package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"iter"
	"math"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// Days yields the readings of one sensor in [from, to), zero times meaning
// open, one UTC day after the other, column by column; no channels mean all. Days
// without readings are left out, and so are channels without a value that day.
// All is as of one moment. A table is valid until the next one is asked for. After an error
// nothing follows.
func (s *Store) Days(ctx context.Context, sensor string, channels []dust.Channel, from, to time.Time) iter.Seq2[*sealed.Table, error] {
	return func(yield func(*sealed.Table, error) bool) {
		d := &dayScan{s: s, sensor: sensor, channels: wantedChannels(channels), yield: yield}
		d.lo, d.hi = bounds(from, to)
		err := s.view(ctx, func(v *view) error { return d.run(ctx, v) })
		if err != nil && !errors.Is(err, errEnough) {
			yield(nil, explain("read days", s.path, err))
		}
	}
}

// dayScan walks through the sealed days and the rows of one sensor together.
type dayScan struct {
	s        *Store
	sensor   string
	channels []dust.Channel
	lo, hi   int64
	yield    func(*sealed.Table, error) bool

	list []listed        // what was not yielded yet
	rows *sealed.Builder // of day, nil if there are none
	day  sealed.Day
	size int // rows of the day before
	file sealed.Table
}

func (d *dayScan) run(ctx context.Context, v *view) error {
	_, ids, err := v.resolve(ctx, []string{d.sensor})
	if err != nil || len(ids) == 0 {
		return err
	}
	if d.list, err = v.listed(ctx, ids, d.lo, d.hi); err != nil {
		return err
	}
	scan := rowScan{channels: d.channels, sensors: ids, lo: d.lo, hi: d.hi}
	err = v.rows(ctx, scan, func(ms, _ int64, flags dust.Flags, values []driver.Value) error {
		return d.row(ctx, ms, flags, values)
	})
	if err != nil {
		return err
	}
	if err := d.finish(ctx); err != nil {
		return err
	}
	return d.sealedBefore(ctx, sealed.Day(math.MaxInt64))
}

func (d *dayScan) row(ctx context.Context, ms int64, flags dust.Flags, values []driver.Value) error {
	if day := sealed.DayOf(ms); d.rows == nil || day != d.day {
		if err := d.finish(ctx); err != nil {
			return err
		}
		d.day, d.rows = day, sealed.NewBuilder(d.size)
	}
	d.rows.Start(ms, flags)
	for i, c := range d.channels {
		build(d.rows, c, values[i])
	}
	return nil
}

// finish yields the day whose rows were collected, and all before it.
func (d *dayScan) finish(ctx context.Context) error {
	if d.rows == nil {
		return nil
	}
	if err := d.sealedBefore(ctx, d.day); err != nil {
		return err
	}
	table := d.rows.Table()
	d.size, d.rows = table.Len(), nil
	if len(d.list) > 0 && d.list[0].Day == d.day {
		late := table
		switch err := d.next(ctx); {
		case errors.Is(err, errGone):
		case err != nil:
			return err
		default:
			table, _ = sealed.Merge(d.file.Slice(d.lo, d.hi), late)
		}
	}
	return d.give(table)
}

// sealedBefore yields the sealed days before day.
func (d *dayScan) sealedBefore(ctx context.Context, day sealed.Day) error {
	for len(d.list) > 0 && d.list[0].Day < day {
		if err := ctx.Err(); err != nil {
			return err
		}
		switch err := d.next(ctx); {
		case errors.Is(err, errGone):
			continue
		case err != nil:
			return err
		}
		if err := d.give(d.file.Slice(d.lo, d.hi)); err != nil {
			return err
		}
	}
	return nil
}

// next reads the next listed day.
func (d *dayScan) next(ctx context.Context) error {
	entry := &d.list[0]
	d.list = d.list[1:]
	return d.s.load(ctx, entry, d.channels, &d.file)
}

func (d *dayScan) give(table *sealed.Table) error {
	if table.Len() > 0 && !d.yield(table, nil) {
		return errEnough
	}
	return nil
}

// Series returns the asked channels of one sensor in [from, to), zero times
// meaning open. Every channel asked for has an entry; it is empty if the sensor
// never sent it. A reading in which a channel is missing is not in that
// channel's series.
func (s *Store) Series(ctx context.Context, sensor dust.Sensor, channels []dust.Channel, from, to time.Time) (map[dust.Channel]*dust.Series, error) {
	all := make(map[dust.Channel]*dust.Series, len(channels))
	for _, c := range channels {
		all[c] = dust.NewSeries(sensor, c)
	}
	if len(channels) == 0 {
		return all, nil
	}
	for table, err := range s.Days(ctx, sensor.Name, channels, from, to) {
		if err != nil {
			return nil, err
		}
		for i := range table.Columns {
			if err := extend(all[table.Columns[i].Channel], table, &table.Columns[i]); err != nil {
				return nil, explain("read series", s.path, err)
			}
		}
	}
	return all, nil
}

func extend(series *dust.Series, t *sealed.Table, c *sealed.Column) error {
	for i, ms := range t.MS {
		if x, ok := c.Value(i); ok {
			if err := series.Append(time.UnixMilli(ms), x, t.Flags[i]); err != nil {
				return err
			}
		}
	}
	return nil
}
