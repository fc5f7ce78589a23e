package sensor

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"time"
	"unicode/utf8"

	"dustlog/internal/dust"
)

// Text lines from the user's own microcontroller: SenML JSON (RFC 8428), one pack
// per line, LF or CRLF, 115200 8N1. Names: pm1_0 pm2_5 pm4_0 pm10 (mass), n_0_3_cm3
// … n_10_cm3 (particles larger than the size, per cm³, unit "/"), temperature
// (Cel), humidity (%RH), status (text; "warming" until the sensor is steady).
//
// A mass needs its unit, "ug/m3" (RFC 8798) or "kg/m3", in the record or as base
// unit, or the line is refused: a factor of 1000 hides there. Time in the line is
// ignored; readings are stamped on arrival.
const maxLine = 1024

// senml is the protocol. dropping is true behind the head of an overlong line.
type senml struct{ dropping bool }

var senmlStarts = func() *[256]bool {
	var all [256]bool
	for i := range all {
		all[i] = true
	}
	return &all
}()

func (s *senml) starts() *[256]bool { return senmlStarts }

// probe implements protocol.
func (s *senml) probe(p []byte, f *Frame) verdict {
	const longest = maxLine + 2 // with CR and LF
	end := bytes.IndexByte(p[:min(len(p), longest)], '\n')
	switch {
	case s.dropping && end < 0:
		return verdict{act: skip, n: min(len(p), longest)}
	case s.dropping:
		s.dropping = false
		return verdict{act: skip, n: end + 1}
	case end < 0 && len(p) >= longest:
		s.dropping = true
		return verdict{act: refuse, kind: LineTooLong, n: longest}
	case end < 0:
		if p[0] == '#' || p[0] == '\r' {
			return verdict{act: wait, left: whole | idle}
		}
		return verdict{act: wait, left: whole}
	}
	line := bytes.TrimSuffix(p[:end], []byte{'\r'})
	switch {
	case len(line) == 0 || line[0] == '#':
		return verdict{act: pass, n: end + 1}
	case len(line) > maxLine:
		return verdict{act: refuse, kind: LineTooLong, n: end + 1}
	}
	if kind, ok := checkPack(line); !ok {
		return verdict{act: refuse, kind: kind, n: end + 1}
	}
	f.set("pack", false, line)
	f.converted = true // to know whether there is any channel, all must be looked at
	f.values.Reset()
	pack := readPack(line)
	for r, more := pack.next(); more; r, more = pack.next() {
		r.apply(f)
	}
	f.data = f.values.Len() > 0
	return verdict{act: accept, n: end + 1}
}

// checkPack reports whether line is a pack that may be used as a whole.
func checkPack(line []byte) (ErrorKind, bool) {
	if !utf8.Valid(line) {
		return BadUTF8, false
	}
	if !json.Valid(line) {
		return BadJSON, false
	}
	bad, units := false, true
	pack := readPack(line)
	for r, more := pack.next(); more; r, more = pack.next() {
		bad = bad || !r.ok
		units = units && (!r.isMass() || r.scale() > 0)
	}
	switch {
	case pack.broken || bad:
		return BadJSON, false
	case !units:
		return BadUnit, false
	}
	return 0, true
}

// senmlRecord is one record with the base values that hold for it resolved. Byte
// slices point into the line, text still escaped.
type senmlRecord struct {
	base, name, unit []byte
	newBase          bool // the record itself sets the base name
	value            float64
	text             []byte
	isText           bool
	ok               bool // has a name and one value
}

func (r *senmlRecord) isMass() bool { return bytes.HasPrefix(r.name, []byte("pm")) }

// scale turns a mass into µg/m³; 0 for a unit that is none of a mass.
func (r *senmlRecord) scale() float64 {
	switch string(r.unit) {
	case "ug/m3":
		return 1
	case "kg/m3":
		return 1e9
	}
	return 0
}

// senmlChannels maps names to channels; the unit must be the one given.
var senmlChannels = []struct {
	name, unit string
	channel    dust.Channel
}{
	{"pm1_0", "ug/m3", dust.PM1}, {"pm2_5", "ug/m3", dust.PM25},
	{"pm4_0", "ug/m3", dust.PM4}, {"pm10", "ug/m3", dust.PM10},
	{"n_0_3_cm3", "/", dust.N03}, {"n_0_5_cm3", "/", dust.N05}, {"n_1_0_cm3", "/", dust.N10},
	{"n_2_5_cm3", "/", dust.N25}, {"n_5_0_cm3", "/", dust.N50}, {"n_10_cm3", "/", dust.N100},
	{"temperature", "Cel", dust.Temperature}, {"humidity", "%RH", dust.Humidity},
}

// apply puts the record into the frame's channels. What has no channel is a field
// only.
func (r *senmlRecord) apply(f *Frame) {
	if r.isText {
		if string(r.name) == "status" && string(r.text) == "warming" {
			f.Flags |= dust.WarmUp
		}
		return
	}
	for _, m := range senmlChannels {
		if string(r.name) != m.name {
			continue
		}
		switch x := r.value; {
		case m.channel.IsMass():
			x *= r.scale()
			if x < 0 {
				f.Flags |= dust.NegativeMass
			}
			f.values.Set(m.channel, x)
		case string(r.unit) == m.unit:
			f.values.Set(m.channel, x)
		}
	}
}

// values implements protocol; probe has set them already.
func (s *senml) values(*Frame, *dust.Values) {}

// fields implements protocol.
func (s *senml) fields(f *Frame, yield func(Field) bool) {
	pack := readPack(f.raw)
	for r, more := pack.next(); more; r, more = pack.next() {
		if r.newBase && !yield(Field{Name: "base_name", Text: unescape(r.base)}) {
			return
		}
		field := Field{Name: unescape(r.name), Value: r.value, Unit: unescape(r.unit)}
		switch {
		case r.isText:
			field.Value, field.Text, field.Unit = 0, unescape(r.text), ""
		case r.isMass():
			field.Value, field.Unit = r.value*r.scale(), "ug/m3"
		}
		if !yield(field) {
			return
		}
	}
}

// senmlEncode prints the channels that have a name, to six digits; the others are
// left out, as are missing ones.
func senmlEncode(dst []byte, v *dust.Values) ([]byte, error) {
	out := append(dst, `[{"bn":"dustlog_","bver":26,"bu":"ug/m3"`...)
	separator := ","
	for _, m := range senmlChannels {
		x, ok := v.Get(m.channel)
		if !ok {
			continue
		}
		out = append(out, separator...)
		out = append(out, `"n":"`...)
		out = append(out, m.name...)
		if m.unit != "ug/m3" {
			out = append(out, `","u":"`...)
			out = append(out, m.unit...)
		}
		out = append(out, `","v":`...)
		out = strconv.AppendFloat(out, x, 'g', 6, 64)
		separator = "},{"
	}
	if separator == "," {
		return dst, fmt.Errorf("a senml_line needs at least one value")
	}
	return append(out, "}]\n"...), nil
}

func senmlModel() modelInfo {
	return modelInfo{
		spec: Spec{
			Model: SenMLLine, Title: "text lines, SenML after RFC 8428", Baud: 115200,
			Interval: time.Second, Range: map[dust.Channel]float64{},
			Sees: "what the sensor behind it sees; this program cannot know",
		},
		protocol: func() protocol { return &senml{} },
		encode:   senmlEncode,
	}
}
