package sensor_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// anyPieces feeds stream in several sizes, demands the same result from all and
// returns it.
func anyPieces(t *testing.T, m sensor.Model, stream []byte) heard {
	t.Helper()
	whole := feed(t, m, stream)
	for _, size := range []int{1, 2, 63, 64, 65, 500, 1023, 1025, 1027} {
		got := feed(t, m, stream, size)
		got.Before = whole.Before
		require.Equal(t, whole, got, "pieces of %d", size)
	}
	return whole
}

// A flag followed by more than any answer can hold is no frame, and does not fill
// the buffer for ever. 2·260 is the longest answer, fully stuffed.
func TestSHDLCWithoutEnd(t *testing.T) {
	good := frame(t, sensor.SPS30, example())
	for _, n := range []int{519, 520, 521, 522, 2000} {
		stream := append([]byte{0x7E}, bytes.Repeat([]byte{0x55}, n)...)
		got := anyPieces(t, sensor.SPS30, append(stream, good...))
		require.Equal(t, []string{"data"}, got.Kinds)
		require.EqualValues(t, 1, got.Counts.ByKind[sensor.WrongLength])
		require.EqualValues(t, n+1, got.Counts.BytesSkipped)
		require.Equal(t, 1, got.Before)
	}
}

// The longest answer a length byte allows, every byte stuffed.
func TestSHDLCLongestAnswer(t *testing.T) {
	body := append([]byte{0, 0xD0, 0, 255}, bytes.Repeat([]byte{0x7E}, 255)...)
	sum := byte(0)
	for _, b := range body {
		sum += b
	}
	wire := []byte{0x7E}
	for _, b := range append(body, ^sum) {
		if b == 0x7E {
			wire = append(wire, 0x7D, 0x5E)
		} else {
			wire = append(wire, b)
		}
	}
	got := anyPieces(t, sensor.SPS30, append(wire, 0x7E))
	require.Equal(t, []string{"response"}, got.Kinds)
	require.Equal(t, strings.Repeat("~", 255), got.Fields[0][3].Text)
}

// JA5-SSP-COMM-E1.0: bytes 19, 20, 27, 28 are zero.
func TestGCJA5FixedBytes(t *testing.T) {
	for _, i := range []int{19, 20, 27, 28} {
		b := frame(t, sensor.SNGCJA5, example())
		b[i], b[30] = 1, b[30]^1 // the XOR stays right
		got := anyPieces(t, sensor.SNGCJA5, b)
		require.Empty(t, got.Kinds)
		require.Positive(t, got.Counts.ByKind[sensor.BadFixed])
	}
}

func TestTextLines(t *testing.T) {
	const pm = `[{"n":"pm2_5","u":"ug/m3","v":7}]`
	long := func(n int) string { // a good line of n bytes
		const head, tail = `[{"n":"pm2_5","u":"ug/m3","v":7},{"n":"x","vs":"`, `"}]`
		return head + strings.Repeat("a", n-len(head)-len(tail)) + tail
	}
	for name, test := range map[string]struct {
		text   string
		frames int
		kinds  []sensor.ErrorKind
	}{
		"LF and CRLF":             {pm + "\n" + pm + "\r\n", 2, nil},
		"comment, blank":          {"# hello\n\n\r\n" + pm + "\n#", 1, nil},
		"1024 bytes":              {long(1024) + "\n", 1, nil},
		"1024 bytes, CRLF":        {long(1024) + "\r\n", 1, nil},
		"1025 bytes":              {long(1025) + "\n" + pm + "\n", 1, []sensor.ErrorKind{sensor.LineTooLong}},
		"1026 bytes":              {long(1026) + "\n" + pm + "\n", 1, []sensor.ErrorKind{sensor.LineTooLong}},
		"rest of a long line":     {strings.Repeat(" ", 1026) + pm + "\n" + pm + "\n", 1, []sensor.ErrorKind{sensor.LineTooLong}},
		"very long line":          {strings.Repeat("x", 5000) + pm + "\n" + pm + "\n", 1, []sensor.ErrorKind{sensor.LineTooLong}},
		"unfinished":              {pm, 0, []sensor.ErrorKind{sensor.Truncated}},
		"not UTF-8":               {"[\"\xFF\"]\n" + pm + "\n", 1, []sensor.ErrorKind{sensor.BadUTF8}},
		"object":                  {`{"n":"pm2_5","u":"ug/m3","v":7}` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"array of numbers":        {"[1,2]\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"no name":                 {`[{"u":"ug/m3","v":7}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"no value":                {`[{"n":"pm2_5","u":"ug/m3"}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"two values":              {`[{"n":"x","v":1,"vs":"a"}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"text as number":          {`[{"n":"pm2_5","u":"ug/m3","v":"7"}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"number as text":          {`[{"n":"status","vs":7}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"null":                    {`[{"n":"pm2_5","u":"ug/m3","v":null}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"NaN":                     {`[{"n":"pm2_5","u":"ug/m3","v":NaN}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"too large for a number":  {`[{"n":"pm2_5","u":"ug/m3","v":1e999}]` + "\n", 0, []sensor.ErrorKind{sensor.BadJSON}},
		"mg/m3":                   {`[{"n":"pm2_5","u":"mg/m3","v":7}]` + "\n", 0, []sensor.ErrorKind{sensor.BadUnit}},
		"one bad unit of two":     {`[{"n":"pm2_5","u":"ug/m3","v":7},{"n":"pm10","v":7}]` + "\n", 0, []sensor.ErrorKind{sensor.BadUnit}},
		"space and nested extras": {` [ { "x" : [1,{"n":"}"}] , "n" : "pm2_5" , "u":"ug/m3","v" : 7 } ] ` + "\n", 1, nil},
	} {
		t.Run(name, func(t *testing.T) {
			got := anyPieces(t, sensor.SenMLLine, []byte(test.text))
			require.Len(t, got.Kinds, test.frames)
			for _, v := range got.Values {
				requireValue(t, v, dust.PM25, 7)
			}
			var want [sensor.ErrorKinds]int64
			for _, kind := range test.kinds {
				want[kind] = 1
			}
			require.Equal(t, want, got.Counts.ByKind)
		})
	}
}

// RFC 8428, section 4.1: base unit and base value hold for the records after them;
// the base value is added. A unit that is not the channel's makes no channel.
func TestTextBaseValuesAndUnits(t *testing.T) {
	line := `[{"bu":"ug/m3","bv":10,"n":"pm2_5","v":2.5},{"n":"pm10","v":1},` +
		`{"n":"temperature","u":"K","v":285},{"n":"humidity","u":"%RH","v":40},` +
		`{"n":"n_0_3_cm3","u":"/","v":5},{"n":"st\u0061tus","vs":"ok \"so far\""}]` + "\n"
	got := anyPieces(t, sensor.SenMLLine, []byte(line))
	require.Len(t, got.Kinds, 1)
	v := got.Values[0]
	requireValue(t, v, dust.PM25, 12.5)
	requireValue(t, v, dust.PM10, 11)
	requireValue(t, v, dust.Humidity, 50)
	requireValue(t, v, dust.N03, 15)
	require.False(t, v.Has(dust.Temperature), "kelvin is not converted")
	require.Equal(t, sensor.Field{Name: "status", Text: `ok "so far"`}, got.Fields[0][5])
	require.Zero(t, got.Flags[0])

	warming := `[{"n":"pm2_5","u":"ug/m3","v":7},{"n":"status","vs":"warming"}]` + "\n"
	require.Equal(t, dust.WarmUp, anyPieces(t, sensor.SenMLLine, []byte(warming)).Flags[0])

	// A pack without any channel is a frame, but no reading.
	got = anyPieces(t, sensor.SenMLLine, []byte(`[{"n":"status","vs":"on"}]`+"\n"))
	require.EqualValues(t, 1, got.Counts.Frames)
	require.Zero(t, got.Counts.DataFrames)
}
