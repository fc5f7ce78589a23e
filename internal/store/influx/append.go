package influx

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"dustlog/internal/dust"
)

// The server counts nanoseconds in 64 bits. These bounds are the whole years
// within.
var (
	earliest = time.Date(1678, 1, 1, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(2262, 1, 1, 0, 0, 0, 0, time.UTC)
)

// key tells readings apart.
type key struct {
	ms     int64
	sensor string
}

// Append adds a batch of readings in one request and says how many were new. A
// reading whose sensor and time the server already has is not sent again.
func (s *Store) Append(ctx context.Context, batch []dust.Reading) (added int, err error) {
	if err := checkBatch(batch); err != nil {
		return 0, fmt.Errorf("append readings at %s: %w", s.name, err)
	}
	there, err := s.present(ctx, batch)
	if err != nil {
		return 0, err
	}
	var lines []byte
	for i := range batch {
		r := &batch[i]
		k := key{r.Time.UnixMilli(), r.Sensor}
		if !there[k] {
			there[k] = true
			lines = append(AppendLine(lines, s.shop, r), '\n')
			added++
		}
	}
	if added == 0 {
		return 0, ctx.Err()
	}
	if err := s.writeLines(ctx, lines); err != nil {
		return 0, s.explain(ctx, "append readings", err)
	}
	return added, nil
}

func checkBatch(batch []dust.Reading) error {
	for i := range batch {
		r := &batch[i]
		switch {
		case r.Sensor == "":
			return fmt.Errorf("reading %d of %d has no sensor", i+1, len(batch))
		case r.Time.IsZero():
			return fmt.Errorf("reading %d of %d has no time", i+1, len(batch))
		case r.Time.Before(earliest) || !r.Time.Before(latest):
			return fmt.Errorf("reading %d of %d: the server cannot hold the time %s", i+1, len(batch), r.Time.Format(time.RFC3339))
		}
	}
	return nil
}

// present returns the keys of the batch's readings that the server has. It asks
// hour by hour, so that one stray time does not fetch all between.
func (s *Store) present(ctx context.Context, batch []dust.Reading) (map[key]bool, error) {
	sensors, hours := map[string]bool{}, map[time.Time]bool{}
	for i := range batch {
		sensors[batch[i].Sensor] = true
		hours[batch[i].Time.UTC().Truncate(window)] = true
	}
	names := slices.Sorted(maps.Keys(sensors))
	there := map[key]bool{}
	for hour := range hours {
		readings, err := s.fetch(ctx, names, []string{flagsField}, hour, hour.Add(window))
		if err != nil {
			return nil, s.explain(ctx, "look for readings", err)
		}
		for i := range readings {
			there[key{readings[i].Time.UnixMilli(), readings[i].Sensor}] = true
		}
	}
	return there, nil
}
