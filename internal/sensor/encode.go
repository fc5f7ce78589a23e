package sensor

import (
	"fmt"
	"math"
	"strings"

	"dustlog/internal/dust"
)

// AppendFrame appends the bytes with which a sensor of model m would send v:
// rounded to the resolution of the wire, clamped to what its fields can hold. A
// channel the model sends but v lacks is an error unless the wire can say
// "missing"; channels the model does not send are ignored.
func AppendFrame(dst []byte, m Model, v dust.Values) ([]byte, error) {
	info, err := m.info()
	if err != nil {
		return dst, err
	}
	return info.encode(dst, &v)
}

// command is a request a sensor understands.
type command struct {
	name  string
	bytes []byte
}

// keepPrefix starts the name of every command whose effect survives power loss.
const keepPrefix = "keep_"

// Command returns the bytes of a request to a sensor of model m. Commands whose
// effect survives a loss of power have names that start with "keep_"; a Device
// never sends those by itself. The error lists the model's commands.
func Command(m Model, name string) ([]byte, error) {
	info, err := m.info()
	if err != nil {
		return nil, err
	}
	var known []string
	for _, c := range info.commands {
		if c.name == name {
			return append([]byte(nil), c.bytes...), nil
		}
		known = append(known, c.name)
	}
	if len(known) == 0 {
		return nil, fmt.Errorf("command %q: %s takes no commands", name, m)
	}
	return nil, fmt.Errorf("command %q: %s knows %s", name, m, strings.Join(known, ", "))
}

// Commands lists the names that Command knows for model m.
func Commands(m Model) []string {
	info, err := m.info()
	if err != nil {
		return nil
	}
	names := make([]string, 0, len(info.commands))
	for _, c := range info.commands {
		names = append(names, c.name)
	}
	return names
}

// wireWriter appends big-endian fields and remembers which channels were missing.
type wireWriter struct {
	dst     []byte
	v       *dust.Values
	missing []string
}

// scaled returns channel c times scale, rounded and clamped to [lo, hi].
func (w *wireWriter) scaled(c dust.Channel, scale, lo, hi float64) float64 {
	x, ok := w.v.Get(c)
	if !ok {
		w.missing = append(w.missing, c.Key())
	}
	return min(max(math.Round(x*scale), lo), hi)
}

// u16 appends channel c times scale as an unsigned 16-bit word.
func (w *wireWriter) u16(c dust.Channel, scale float64) {
	x := uint16(w.scaled(c, scale, 0, math.MaxUint16))
	w.dst = append(w.dst, byte(x>>8), byte(x))
}

// u16le is u16 in little-endian order.
func (w *wireWriter) u16le(c dust.Channel, scale float64) {
	x := uint16(w.scaled(c, scale, 0, math.MaxUint16))
	w.dst = append(w.dst, byte(x), byte(x>>8))
}

// i16 appends channel c times scale as a signed 16-bit word.
func (w *wireWriter) i16(c dust.Channel, scale float64) {
	x := uint16(int16(w.scaled(c, scale, math.MinInt16, math.MaxInt16)))
	w.dst = append(w.dst, byte(x>>8), byte(x))
}

// done returns the bytes, or dst as it was and an error if channels were missing.
func (w *wireWriter) done(dst []byte, m Model) ([]byte, error) {
	if len(w.missing) > 0 {
		return dst, fmt.Errorf("a %s frame cannot leave out %s", m, strings.Join(w.missing, ", "))
	}
	return w.dst, nil
}
