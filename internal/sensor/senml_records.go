package sensor

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
)

// packReader walks the records of a pack, which must be valid JSON, without
// allocating. Base name, base unit and base value of a record hold for it and
// those after it (RFC 8428, section 4.1).
type packReader struct {
	walk   jsonWalk
	base   senmlBase
	inside bool // past the opening bracket
	broken bool // not an array of objects
}

func readPack(pack []byte) packReader { return packReader{walk: jsonWalk{pack}} }

// next returns the next record, or false at the end or when the pack is broken.
func (p *packReader) next() (senmlRecord, bool) {
	w := &p.walk
	if !p.inside {
		if p.broken = !w.enter('['); p.broken || w.leave(']') {
			return senmlRecord{}, false
		}
		p.inside = true
	} else if w.leave(']') {
		return senmlRecord{}, false
	} else {
		w.enter(',')
	}
	if p.broken = !w.enter('{'); p.broken {
		return senmlRecord{}, false
	}
	return w.record(&p.base), true
}

// senmlBase holds what records inherit.
type senmlBase struct {
	name, unit []byte
	value      float64
}

// record reads the members of an object up to its end.
func (w *jsonWalk) record(base *senmlBase) senmlRecord {
	var r senmlRecord
	var unit []byte
	named, values, sound := false, 0, true
	for first := true; !w.leave('}'); first = false {
		if !first {
			w.enter(',')
		}
		key := w.value()
		w.enter(':')
		value := w.value()
		text, isText := jsonText(value)
		switch unquoted, _ := jsonText(key); string(unquoted) {
		case "bn":
			base.name, r.newBase, sound = text, true, sound && isText
		case "bu":
			base.unit, sound = text, sound && isText
		case "bv":
			var ok bool
			base.value, ok = jsonNumber(value)
			sound = sound && ok
		case "n":
			r.name, named = text, isText
		case "u":
			unit, sound = text, sound && isText
		case "v":
			var ok bool
			r.value, ok = jsonNumber(value)
			sound = sound && ok
			values++
		case "vs":
			r.text, r.isText, sound = text, true, sound && isText
			values++
		}
	}
	r.base = base.name
	if r.unit = unit; unit == nil {
		r.unit = base.unit
	}
	if !r.isText {
		r.value += base.value
	}
	r.ok = named && sound && values == 1 && !math.IsInf(r.value, 0)
	return r
}

// jsonWalk steps through valid JSON.
type jsonWalk struct{ rest []byte }

func (w *jsonWalk) space() { w.rest = bytes.TrimLeft(w.rest, " \t\r\n") }

// enter consumes c if it comes next.
func (w *jsonWalk) enter(c byte) bool {
	w.space()
	if len(w.rest) == 0 || w.rest[0] != c {
		return false
	}
	w.rest = w.rest[1:]
	return true
}

// leave is enter, and also true at the end of the text.
func (w *jsonWalk) leave(c byte) bool { return w.enter(c) || len(w.rest) == 0 }

// value consumes one value of any kind and returns its text.
func (w *jsonWalk) value() []byte {
	w.space()
	depth, quoted := 0, false
	for i := 0; i < len(w.rest); i++ {
		c := w.rest[i]
		switch {
		case quoted && c == '\\':
			i++
			continue
		case c == '"':
			quoted = !quoted
		case quoted:
			continue
		case c == '{' || c == '[':
			depth++
		case depth > 0 && (c == '}' || c == ']'):
			depth--
		case depth == 0 && (c == ',' || c == ':' || c == '}' || c == ']' || c == ' ' || c == '\t'):
			v := w.rest[:i]
			w.rest = w.rest[i:]
			return v
		}
	}
	v := w.rest
	w.rest = nil
	return v
}

// jsonText returns a string's text between the quotes, still escaped.
func jsonText(v []byte) ([]byte, bool) {
	if len(v) < 2 || v[0] != '"' {
		return nil, false
	}
	return v[1 : len(v)-1 : len(v)-1], true
}

func jsonNumber(v []byte) (float64, bool) {
	if len(v) == 0 || v[0] != '-' && (v[0] < '0' || v[0] > '9') {
		return 0, false
	}
	x, err := strconv.ParseFloat(string(v), 64)
	return x, err == nil
}

// unescape resolves the escapes of a string's text.
func unescape(text []byte) string {
	if bytes.IndexByte(text, '\\') < 0 {
		return string(text)
	}
	var s string
	quoted := append(append([]byte{'"'}, text...), '"')
	if json.Unmarshal(quoted, &s) != nil {
		return string(text)
	}
	return s
}
