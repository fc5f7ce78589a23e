package sensor

import (
	"fmt"
	"iter"

	"dustlog/internal/dust"
)

// Kinds of frames that more than one model sends.
const (
	KindData     = "data"
	KindAck      = "ack"
	KindResponse = "response"
)

// Field is one value as it stood on the wire, before conversion to channels.
type Field struct {
	Name    string
	Value   float64
	Text    string // set instead of Value for text
	Unit    string // "ug/m3", "1/0.1L", "1/cm3", "um", "nm", "Cel", "%RH", "mg/m3" or ""
	Missing bool   // the sensor sent "no number"
}

// fieldChannels are the channels that wire fields become.
var fieldChannels = map[string]dust.Channel{
	"pm1_0_cf1": dust.PM1, "pm2_5_cf1": dust.PM25, "pm10_cf1": dust.PM10,
	"pm1_0_atm": dust.PM1Atm, "pm2_5_atm": dust.PM25Atm, "pm10_atm": dust.PM10Atm,
	"pm1_0": dust.PM1, "pm2_5": dust.PM25, "pm4_0": dust.PM4, "pm10": dust.PM10,
	"n_gt_0_3": dust.N03, "n_gt_0_5": dust.N05, "n_gt_1_0": dust.N10,
	"n_gt_2_5": dust.N25, "n_gt_5_0": dust.N50, "n_gt_10": dust.N100,
	"n_0_3_cm3": dust.N03, "n_0_5_cm3": dust.N05, "n_1_0_cm3": dust.N10,
	"n_2_5_cm3": dust.N25, "n_5_0_cm3": dust.N50, "n_10_cm3": dust.N100,
	"n_0_5": dust.NPM05, "n_1_0": dust.NPM1, "n_2_5": dust.NPM25, "n_4_0": dust.NPM4, "n_10": dust.NPM10,
	"typical_size": dust.TypicalSize, "temperature": dust.Temperature,
	"humidity": dust.Humidity, "hcho": dust.Formaldehyde,
}

// Channel returns the channel that the field becomes, if it becomes one.
func (f Field) Channel() (dust.Channel, bool) {
	c, ok := fieldChannels[f.Name]
	return c, ok
}

// Frame is one frame whose length and checksum are right. A decoder reuses it:
// it is valid only until the next call.
type Frame struct {
	Model Model
	Kind  string
	// Flags is what this frame alone tells against its values.
	Flags dust.Flags

	data      bool
	converted bool // values holds this frame's
	raw       []byte
	proto     protocol
	values    dust.Values
}

// Values are the channels of a frame that carries measurements: mass in µg/m³,
// numbers per cm³ (sensors that count per 0.1 L are divided by 100), typical size
// in µm. Empty for other kinds. They are converted when first asked for, and
// valid as long as the frame is: copy what must stay.
func (f *Frame) Values() *dust.Values {
	if !f.converted {
		f.values.Reset()
		if f.data {
			f.proto.values(f, &f.values)
		}
		f.converted = true
	}
	return &f.values
}

// IsData reports whether the frame carries measurements.
func (f *Frame) IsData() bool { return f.data }

// Raw is the frame as it came over the wire, start bytes and checksum included.
func (f *Frame) Raw() []byte { return f.raw }

// Fields yields the wire fields in wire order.
func (f *Frame) Fields() iter.Seq[Field] {
	return func(yield func(Field) bool) {
		if f.proto != nil {
			f.proto.fields(f, yield)
		}
	}
}

// set makes f a fresh frame of the given kind.
func (f *Frame) set(kind string, data bool, raw []byte) {
	if !data || !f.data { // a model has one kind that carries measurements
		f.Kind, f.data = kind, data
	}
	f.raw, f.Flags, f.converted = raw, 0, false
}

// ErrorKind says why bytes were not accepted as a frame.
type ErrorKind uint8

// The error kinds.
const (
	BadFixed    ErrorKind = iota // a byte that is always the same was not
	BadChecksum                  // checksum differs
	BadTail                      // no end byte where the frame ends
	WrongLength                  // length field impossible or not true
	Truncated                    // line fell silent inside a frame
	BadEscape                    // unknown escape sequence
	BadJSON                      // line is not what the text format asks for
	BadUnit                      // mass without a unit this program knows
	BadUTF8                      // line is not UTF-8
	LineTooLong                  // line longer than 1024 bytes

	// ErrorKinds is the number of kinds, not a kind.
	ErrorKinds
)

var errorKindNames = [ErrorKinds]string{
	"bad_fixed", "bad_checksum", "bad_tail", "wrong_length", "truncated",
	"bad_escape", "bad_json", "bad_unit", "bad_utf8", "line_too_long",
}

// String is the kind's name in counts and reports.
func (k ErrorKind) String() string {
	if k >= ErrorKinds {
		return fmt.Sprintf("error(%d)", uint8(k))
	}
	return errorKindNames[k]
}

// Counts tells how a line did since its decoder was made.
type Counts struct {
	Frames         int64 // of any kind
	DataFrames     int64 // those that carry measurements
	ChecksumErrors int64
	OtherErrors    int64
	BytesSkipped   int64             // bytes that were part of no frame
	ByKind         [ErrorKinds]int64 // errors by kind
}

// add counts one error.
func (c *Counts) add(k ErrorKind) {
	c.ByKind[k]++
	if k == BadChecksum {
		c.ChecksumErrors++
	} else {
		c.OtherErrors++
	}
}
