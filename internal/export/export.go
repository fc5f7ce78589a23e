// Package export writes readings in open formats: CSV that csvfile reads again,
// InfluxDB line protocol as the forwarder sends it, and Parquet, one file per
// sensor and UTC day as the store seals them.
package export

import (
	"bufio"
	"fmt"
	"io"
	"iter"
	"maps"
	"net/url"
	"path/filepath"
	"slices"
	"strings"

	"dustlog/internal/csvfile"
	"dustlog/internal/dust"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/sealed"
)

// Format is an open format for readings.
type Format string

// The formats.
const (
	CSV          Format = "csv"
	LineProtocol Format = "lineprotocol"
	Parquet      Format = "parquet" // a folder; not for Write
)

// ParseFormat reads a format's name. The error lists them.
func ParseFormat(s string) (Format, error) {
	switch f := Format(strings.ToLower(s)); f {
	case CSV, LineProtocol, Parquet:
		return f, nil
	}
	return "", fmt.Errorf("unknown format %q: use %s, %s or %s", s, CSV, LineProtocol, Parquet)
}

// Write writes readings as they come, as CSV or line protocol, and says how many
// there were. In line protocol times are in milliseconds, and shop, unless it is
// empty, becomes a tag.
func Write(w io.Writer, format Format, shop string, readings iter.Seq2[dust.Reading, error]) (n int64, err error) {
	counted := func(yield func(dust.Reading, error) bool) {
		for r, err := range readings {
			if err == nil {
				n++
			}
			if !yield(r, err) {
				return
			}
		}
	}
	switch format {
	case CSV:
		err = csvfile.Write(w, counted)
	case LineProtocol:
		err = writeLines(w, shop, counted)
	default:
		err = fmt.Errorf("format %s is no stream", format)
	}
	return n, err
}

func writeLines(w io.Writer, shop string, readings iter.Seq2[dust.Reading, error]) error {
	out := bufio.NewWriterSize(w, 1<<16)
	var line []byte
	for r, err := range readings {
		if err != nil {
			return err
		}
		line = append(influx.AppendLine(line[:0], shop, &r), '\n')
		if _, err := out.Write(line); err != nil {
			return fmt.Errorf("write line protocol: %w", err)
		}
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("write line protocol: %w", err)
	}
	return nil
}

// WriteDays writes readings, which must come in order of time, as Parquet files
// folder/sensor/YYYY-MM-DD.parquet, each whole or not at all, and says how many
// readings and files. A file of that name is replaced. One day of every sensor is
// in memory at a time.
func WriteDays(folder string, readings iter.Seq2[dust.Reading, error]) (n int64, files int, err error) {
	open := map[string]*sealed.Builder{}
	var day sealed.Day
	flush := func() error {
		for _, sensor := range slices.Sorted(maps.Keys(open)) {
			if err := writeDay(folder, sensor, day, open[sensor].Table()); err != nil {
				return err
			}
			files++
		}
		clear(open)
		return nil
	}
	for r, err := range readings {
		if err != nil {
			return n, files, err
		}
		ms := r.Time.UnixMilli()
		if at := sealed.DayOf(ms); at != day {
			if err := flush(); err != nil {
				return n, files, err
			}
			day = at
		}
		b := open[r.Sensor]
		if b == nil {
			b = sealed.NewBuilder(0)
			open[r.Sensor] = b
		}
		b.Start(ms, r.Flags)
		for c, x := range r.Values.All() {
			b.Set(c, x)
		}
		n++
	}
	return n, files, flush()
}

func writeDay(folder, sensor string, day sealed.Day, table *sealed.Table) error {
	pending, err := sealed.Prepare(filepath.Join(folder, folderName(sensor)), sensor, day, table)
	if err != nil {
		return err
	}
	if err := pending.Commit(day.String() + ".parquet"); err != nil {
		pending.Discard()
		return err
	}
	return nil
}

// folderName makes a sensor's name one that every file system takes and that
// leads nowhere else.
func folderName(sensor string) string {
	name := strings.NewReplacer("*", "%2A", ":", "%3A", "|", "%7C").Replace(url.PathEscape(sensor))
	if strings.HasPrefix(name, ".") {
		name = "%2E" + name[1:]
	}
	return name
}
