package csvfile

import (
	"slices"
	"strings"

	"dustlog/internal/dust"
)

type kind uint8

const (
	ignored kind = iota
	absolute
	elapsed
	sensor
	flags
	value
)

// column is what one column of a file means.
type column struct {
	header  string
	kind    kind
	channel dust.Channel
	factor  float64 // multiplies a cell to give the channel's unit
	divisor float64 // divides it; one of the two is 1
}

// meaning finds a column by a name of the layout.
func meaning(name string) (column, bool) {
	switch name {
	case "time":
		return column{kind: absolute}, true
	case "elapsed_s", "time_s":
		return column{kind: elapsed}, true
	case "sensor":
		return column{kind: sensor}, true
	case "flags":
		return column{kind: flags}, true
	}
	if c, ok := dust.ChannelByKey(name); ok {
		return column{kind: value, channel: c, factor: 1, divisor: 1}, true
	}
	if mass, ok := strings.CutSuffix(name, "_mg_m3"); ok {
		if c, ok := dust.ChannelByKey(mass + "_ug_m3"); ok {
			return column{kind: value, channel: c, factor: 1000, divisor: 1}, true
		}
	}
	if number, ok := strings.CutSuffix(name, "_per_0_1l"); ok {
		if c, ok := dust.ChannelByKey(number + "_cm3"); ok {
			return column{kind: value, channel: c, factor: 1, divisor: 100}, true
		}
	}
	return column{}, false
}

// KnownColumns lists the names that a header may have, for help texts: the
// times, sensor, flags and each channel's key. The other units are not listed.
func KnownColumns() []string {
	names := []string{"time", "elapsed_s", "sensor", "flags"}
	for c := range dust.ChannelCount {
		names = append(names, c.Key())
	}
	return names
}

// layout is what the header row says.
type layout struct {
	columns []column
	time    int // index of the column with the time
	sensor  int // index, or -1
}

// readHeader makes sense of the header row or says what does not fit.
func readHeader(record []string, o Options) (layout, *RowError) {
	wrong := func(header, reason string) (layout, *RowError) {
		return layout{}, &RowError{Column: header, Reason: reason}
	}
	if first := strings.TrimSpace(record[0]); strings.ContainsAny(first, ";\t") && o.Columns[first] == "" && !slices.Contains(o.Ignore, first) {
		return wrong("", "cells are separated by semicolons or tabs: save the file with commas between cells and points in numbers")
	}
	l := layout{time: -1, sensor: -1}
	seen := map[string]bool{}
	for i, header := range record {
		header = strings.TrimSpace(header)
		if header != "" && seen[header] {
			return wrong(header, "stands twice in the header")
		}
		seen[header] = true
		c, reason := explainHeader(header, o)
		if reason == "" {
			reason = l.place(i, c)
		}
		if reason != "" {
			return wrong(header, reason)
		}
		l.columns = append(l.columns, c)
	}
	for header := range o.Columns {
		if !seen[header] {
			return wrong(header, "is mapped, but the header has no such column")
		}
	}
	if reason := l.incomplete(o); reason != "" {
		return wrong("", reason)
	}
	return l, nil
}

func explainHeader(header string, o Options) (c column, reason string) {
	name, mapped := o.Columns[header]
	if !mapped {
		if slices.Contains(o.Ignore, header) {
			return column{header: header}, ""
		}
		name = header
	}
	c, ok := meaning(name)
	c.header = header
	switch {
	case ok:
		return c, ""
	case mapped:
		return c, "is mapped to " + printable(name) + ", which is no column; known are " + strings.Join(KnownColumns(), ", ")
	case header == "":
		return c, "a column has no header"
	}
	return c, "is not known; map it or ignore it; known are " + strings.Join(KnownColumns(), ", ")
}

// place notes column c at index i, unless its place is taken.
func (l *layout) place(i int, c column) (reason string) {
	if c.kind == ignored {
		return ""
	}
	for _, other := range l.columns {
		times := (c.kind == absolute || c.kind == elapsed) && (other.kind == absolute || other.kind == elapsed)
		if times || other.kind == c.kind && other.channel == c.channel {
			return "says the same as column " + printable(other.header) + ": ignore one of them"
		}
	}
	switch c.kind {
	case absolute, elapsed:
		l.time = i
	case sensor:
		l.sensor = i
	}
	return ""
}

// incomplete says what the header lacks.
func (l *layout) incomplete(o Options) (reason string) {
	isValue := func(c column) bool { return c.kind == value }
	switch {
	case l.time < 0:
		return "the header has no column time or elapsed_s; the first row must be a header"
	case l.columns[l.time].kind == elapsed && o.Start.IsZero():
		return "column " + l.columns[l.time].header + " counts from a start that was not given"
	case l.sensor < 0 && o.Sensor == "":
		return "the header has no column sensor, and no name was given for the sensor"
	case !slices.ContainsFunc(l.columns, isValue):
		return "the header has no column with values; known are " + strings.Join(KnownColumns(), ", ")
	}
	return ""
}
