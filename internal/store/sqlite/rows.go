package sqlite

import (
	"context"
	"database/sql/driver"
	"math"
	"strconv"
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// A row of table unsealed has one number for a key, so that a new row is put
// behind the last one: key = time in Unix milliseconds << sensorBits | sensor.
const (
	sensorBits = 16
	maxSensor  = 1<<sensorBits - 1
	// Times from -maxMS to maxMS-1 have a key; that is past the year 6000.
	maxMS = 1 << (63 - sensorBits)
)

func keyOf(ms, sensor int64) int64 { return ms<<sensorBits | sensor }

func splitKey(key int64) (ms, sensor int64) { return key >> sensorBits, key & maxSensor }

// keyRange returns the keys of the times lo ≤ t < hi, first and last included.
func keyRange(lo, hi int64) (first, last int64) {
	if lo >= hi || lo >= maxMS || hi <= -maxMS {
		return 1, 0
	}
	return keyOf(max(lo, -maxMS), 0), keyOf(min(hi, maxMS)-1, maxSensor)
}

// stored is a value as it stands in table unsealed: whole hundredths are an
// integer of some bytes, all else is a REAL of eight. A negative zero becomes a
// zero.
func stored(x float64) any {
	k := math.RoundToEven(x * 100)
	if math.Abs(k) < 1<<53 && k/100 == x {
		return int64(k)
	}
	return x
}

// loaded is the inverse of stored.
func loaded(v driver.Value) (x float64, ok bool) {
	switch v := v.(type) {
	case int64:
		return float64(v) / 100, true
	case float64:
		return v, true
	}
	return 0, false
}

// build gives channel c of the builder's last row what stands in the table.
func build(b *sealed.Builder, c dust.Channel, v driver.Value) {
	switch v := v.(type) {
	case int64:
		b.SetHundredths(c, v)
	case float64:
		b.Set(c, v)
	}
}

// unsealedSince is the layout from which on there is a table unsealed.
const unsealedSince = 6

// rowsTable is what rows are selected from. Reading an older layout, which takes
// opening it read-only, is slow but right.
func (s *Store) rowsTable() string {
	if s.version < unsealedSince {
		return "(SELECT time_ms * 65536 + sensor_id AS key, * FROM reading)"
	}
	return "unsealed"
}

// rowScan says which rows to read.
type rowScan struct {
	channels []dust.Channel // nil: neither values nor flags
	sensors  []int64        // nil for all
	lo, hi   int64          // Unix milliseconds, lo ≤ t < hi
}

// rows hands rows to f by time, then sensor. values are those of the channels,
// for loaded; they are valid only during f, and f cannot use the view.
func (v *view) rows(ctx context.Context, q rowScan, f func(ms, sensor int64, flags dust.Flags, values []driver.Value) error) error {
	var b strings.Builder
	b.WriteString("SELECT key")
	if q.channels != nil {
		b.WriteString(", flags")
	}
	for _, c := range q.channels {
		b.WriteString(", " + c.Key())
	}
	b.WriteString(" FROM " + v.s.rowsTable() + " WHERE key BETWEEN ? AND ?")
	if len(q.sensors) == 1 {
		b.WriteString(" AND key & 65535 = " + strconv.FormatInt(q.sensors[0], 10))
	} else if q.sensors != nil {
		b.WriteString(" AND key & 65535 IN (" + idList(q.sensors) + ")")
	}
	b.WriteString(" ORDER BY key")
	first, last := keyRange(q.lo, q.hi)
	return v.scan(ctx, b.String(), []any{first, last}, func(row []driver.Value) error {
		ms, sensor := splitKey(row[0].(int64))
		if len(row) == 1 {
			return f(ms, sensor, 0, nil)
		}
		return f(ms, sensor, dust.Flags(row[1].(int64)), row[2:])
	})
}

// usedChannels returns the channels of which rows of [lo, hi) have a value. Where
// a look at the first rows does not tell, it is all channels. Most sensors send
// half of them, and a column takes a third as long to read as a row.
func (v *view) usedChannels(ctx context.Context, lo, hi int64) ([]dust.Channel, error) {
	first, last := keyRange(lo, hi)
	maxima, used := make([]string, dust.ChannelCount), make([]any, dust.ChannelCount)
	for c := range dust.ChannelCount {
		maxima[c], used[c] = "coalesce(max("+c.Key()+" IS NOT NULL), 0)", new(bool)
	}
	err := v.conn.QueryRowContext(ctx, "SELECT "+strings.Join(maxima, ", ")+
		" FROM (SELECT * FROM unsealed WHERE key BETWEEN ? AND ? ORDER BY key LIMIT 100)", first, last).Scan(used...)
	if err != nil {
		return nil, err
	}
	var channels []dust.Channel
	others := "false"
	for c := range dust.ChannelCount {
		if *used[c].(*bool) {
			channels = append(channels, c)
		} else {
			others += " OR " + c.Key() + " IS NOT NULL"
		}
	}
	var more bool
	err = v.conn.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM unsealed WHERE key BETWEEN ? AND ? AND ("+others+"))", first, last).Scan(&more)
	if more || channels == nil {
		return allChannels(), err
	}
	return channels, err
}

func idList(ids []int64) string {
	list := make([]string, len(ids))
	for i, id := range ids {
		list[i] = strconv.FormatInt(id, 10)
	}
	return strings.Join(list, ", ")
}

func allChannels() []dust.Channel {
	list := make([]dust.Channel, dust.ChannelCount)
	for c := range dust.ChannelCount {
		list[c] = c
	}
	return list
}
