package csvfile

import (
	"encoding/csv"
	"fmt"
	"io"
	"iter"
	"strconv"

	"dustlog/internal/dust"
)

// timeFormat is RFC 3339 with whole milliseconds.
const timeFormat = "2006-01-02T15:04:05.000Z07:00"

// Write writes readings in the layout that Read takes: time, sensor, flags,
// then the channels, or all of them if none is given. Missing values are empty
// cells. It stops at the first error, of the readings or of w.
func Write(w io.Writer, readings iter.Seq2[dust.Reading, error], channels ...dust.Channel) error {
	if len(channels) == 0 {
		for c := range dust.ChannelCount {
			channels = append(channels, c)
		}
	}
	record := []string{"time", "sensor", "flags"}
	for _, c := range channels {
		record = append(record, c.Key())
	}
	out := csv.NewWriter(w)
	if err := out.Write(record); err != nil {
		return fmt.Errorf("write CSV: %w", err)
	}
	for r, err := range readings {
		if err != nil {
			return err
		}
		record = append(record[:0], r.Time.UTC().Format(timeFormat), r.Sensor, r.Flags.String())
		for _, c := range channels {
			cell := ""
			if x, ok := r.Values.Get(c); ok {
				cell = strconv.FormatFloat(x, 'f', -1, 64)
			}
			record = append(record, cell)
		}
		if err := out.Write(record); err != nil {
			return fmt.Errorf("write CSV: %w", err)
		}
	}
	out.Flush()
	if err := out.Error(); err != nil {
		return fmt.Errorf("write CSV: %w", err)
	}
	return nil
}
