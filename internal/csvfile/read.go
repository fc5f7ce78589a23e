package csvfile

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// Options help to understand a file.
type Options struct {
	Sensor  string            // name for readings whose row names none
	Start   time.Time         // what elapsed_s counts from
	Columns map[string]string // header in the file → name in the layout, unit included
	Ignore  []string          // headers to leave out
}

// Read yields the readings of a CSV file in its order. name is the file's name
// in errors. The first error ends it; it is a *RowError if the file is at fault,
// and wraps dust.ErrTimeBackwards if a sensor's times do not rise.
func Read(r io.Reader, name string, o Options) iter.Seq2[dust.Reading, error] {
	return func(yield func(dust.Reading, error) bool) {
		f := &file{name: name, o: o, last: map[string]time.Time{}}
		if err := f.open(r); err != nil {
			yield(dust.Reading{}, err)
			return
		}
		for {
			reading, err := f.next()
			if err == io.EOF {
				return
			}
			if !yield(reading, err) || err != nil {
				return
			}
		}
	}
}

type file struct {
	name   string
	o      Options
	csv    *csv.Reader
	layout layout
	last   map[string]time.Time // by sensor
}

func (f *file) open(r io.Reader) error {
	buffered := bufio.NewReader(r)
	// An error here comes again with the first row.
	switch mark, _ := buffered.Peek(3); {
	case bytes.Equal(mark, []byte("\ufeff")):
		_, _ = buffered.Discard(len(mark)) // cannot fail after Peek
	case bytes.HasPrefix(mark, []byte{0xff, 0xfe}), bytes.HasPrefix(mark, []byte{0xfe, 0xff}):
		return &RowError{File: f.name, Line: 1, Reason: "the file is UTF-16 text: save it as UTF-8"}
	}
	f.csv = csv.NewReader(buffered)
	f.csv.ReuseRecord = true
	record, err := f.csv.Read()
	if err == io.EOF {
		return &RowError{File: f.name, Line: 1, Reason: "the file is empty"}
	}
	if err != nil {
		return f.explain(err, record)
	}
	l, wrong := readHeader(record, f.o)
	if wrong != nil {
		wrong.File = f.name
		wrong.Line, _ = f.csv.FieldPos(0)
		return wrong
	}
	f.layout = l
	return nil
}

// explain names file and line in an error of the CSV reader.
func (f *file) explain(err error, record []string) error {
	var parse *csv.ParseError
	switch {
	case !errors.As(err, &parse):
		return fmt.Errorf("read %s: %w", f.name, err)
	case errors.Is(err, csv.ErrFieldCount):
		reason := fmt.Sprintf("the header has %d columns, the row %d", f.csv.FieldsPerRecord, len(record))
		if len(record) > f.csv.FieldsPerRecord {
			reason += "; a decimal comma makes two cells of one number"
		}
		return &RowError{File: f.name, Line: parse.StartLine, Reason: reason}
	}
	return &RowError{File: f.name, Line: parse.Line, Reason: parse.Err.Error()}
}

// next returns the next row's reading, or io.EOF.
func (f *file) next() (dust.Reading, error) {
	record, err := f.csv.Read()
	if err == io.EOF {
		return dust.Reading{}, err
	}
	if err != nil {
		return dust.Reading{}, f.explain(err, record)
	}
	r := dust.Reading{Sensor: f.o.Sensor}
	for i, c := range f.layout.columns {
		cell := strings.TrimSpace(record[i])
		if reason := c.read(cell, f.o.Start, &r); reason != "" {
			return dust.Reading{}, f.wrong(i, cell, reason)
		}
	}
	if r.Sensor == "" {
		return dust.Reading{}, f.wrong(f.layout.sensor, "", "is empty, and no name was given for the sensor")
	}
	if last, ok := f.last[r.Sensor]; ok && !r.Time.After(last) {
		err := f.wrong(f.layout.time, strings.TrimSpace(record[f.layout.time]), f.notRising(r, last))
		err.cause = dust.ErrTimeBackwards
		return dust.Reading{}, err
	}
	f.last[r.Sensor] = r.Time
	return r, nil
}

func (f *file) wrong(i int, cell, reason string) *RowError {
	line, _ := f.csv.FieldPos(i)
	return &RowError{File: f.name, Line: line, Column: f.layout.columns[i].header, Value: cell, Reason: reason}
}

func (f *file) notRising(r dust.Reading, last time.Time) string {
	of := fmt.Sprintf(" of sensor %q", r.Sensor)
	if r.Time.Equal(last) {
		return "is the same millisecond as in the row before" + of
	}
	return "goes back behind " + last.Format(time.RFC3339Nano) + " in the row before" + of
}

// read puts a cell into r or says why it cannot.
func (c column) read(cell string, start time.Time, r *dust.Reading) (reason string) {
	switch c.kind {
	case absolute:
		r.Time, reason = parseTime(cell)
	case elapsed:
		r.Time, reason = parseElapsed(cell, start)
	case sensor:
		if cell != "" {
			r.Sensor = cell
		}
	case flags:
		set, err := dust.ParseFlags(cell)
		if err != nil {
			return "is no list of flags: " + err.Error()
		}
		r.Flags |= set
	case value:
		return c.readValue(cell, r)
	}
	return reason
}

func (c column) readValue(cell string, r *dust.Reading) (reason string) {
	if cell == "" {
		return ""
	}
	x, reason := parseNumber(cell)
	if reason != "" {
		return reason
	}
	x = x * c.factor / c.divisor
	if math.IsInf(x, 0) || c.channel.IsMass() && x > mostMass {
		return "is too large to be true"
	}
	if x < 0 && c.channel != dust.Temperature {
		r.Flags |= dust.NegativeMass
	}
	r.Values.Set(c.channel, x)
	return ""
}

// mostMass is more dust than air holds outside an explosion, in µg/m³: 1 kg/m³.
const mostMass = 1e9

func parseNumber(cell string) (x float64, reason string) {
	// ParseFloat also takes words, hexadecimal and underscores.
	if strings.Trim(cell, "+-.0123456789eE") != "" {
		if strings.Trim(cell, "+-,.0123456789") == "" {
			return 0, "is not a number: write a decimal point, and nothing between thousands"
		}
		return 0, "is not a number"
	}
	x, err := strconv.ParseFloat(cell, 64)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return 0, "is too large"
	case err != nil:
		return 0, "is not a number"
	}
	return x, ""
}

const timeExample = "2025-03-10T08:00:00Z or 2025-03-10T09:00:00+01:00"

func parseTime(cell string) (t time.Time, reason string) {
	if cell == "" {
		return t, "is empty"
	}
	if err := t.UnmarshalText([]byte(cell)); err != nil { // stricter than time.Parse
		for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
			if _, err := time.Parse(layout, cell); err == nil {
				return t, "has no time zone: write it as in " + timeExample
			}
		}
		return t, "is not a time as in " + timeExample
	}
	return plausible(t)
}

func parseElapsed(cell string, start time.Time) (t time.Time, reason string) {
	if cell == "" {
		return t, "is empty"
	}
	seconds, reason := parseNumber(cell)
	switch {
	case reason != "":
		return t, reason
	case seconds < 0:
		return t, "lies before the start"
	case seconds > 1e9: // 30 years; a Duration holds 290
		return t, "is too large"
	}
	// Rounded once, or 1.001 s would be cut to 1.000.
	elapsed := time.Duration(math.Round(seconds*1e6)) * time.Microsecond
	return plausible(start.Add(elapsed))
}

// plausible returns t in UTC, whole milliseconds.
func plausible(t time.Time) (time.Time, string) {
	t = t.UTC().Truncate(time.Millisecond)
	if t.Year() < 1970 || t.Year() > 9999 {
		return t, "lies outside the years 1970 to 9999"
	}
	return t, ""
}
