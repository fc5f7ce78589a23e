package sensor_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

func FuzzPMS5003(f *testing.F)   { fuzzModel(f, sensor.PMS5003) }
func FuzzPMS5003ST(f *testing.F) { fuzzModel(f, sensor.PMS5003ST) }
func FuzzSDS011(f *testing.F)    { fuzzModel(f, sensor.SDS011) }
func FuzzSPS30(f *testing.F)     { fuzzModel(f, sensor.SPS30) }
func FuzzHPMA115S0(f *testing.F) { fuzzModel(f, sensor.HPMA115S0) }
func FuzzSNGCJA5(f *testing.F)   { fuzzModel(f, sensor.SNGCJA5) }
func FuzzZH06(f *testing.F)      { fuzzModel(f, sensor.ZH06) }
func FuzzSDS198(f *testing.F)    { fuzzModel(f, sensor.SDS198) }
func FuzzSenMLLine(f *testing.F) { fuzzModel(f, sensor.SenMLLine) }

// fuzzModel checks, for any bytes in any pieces: nothing panics, the pieces do not
// matter, no byte is counted twice, what was accepted is there again when fed
// alone, its values encode to a frame with the same values, and a good frame after
// a flush is found.
func fuzzModel(f *testing.F, m sensor.Model) {
	seeds := 0
	for _, v := range vectors(f, m) {
		if v.Direction == "device_to_host" {
			f.Add(v.bytes(f), uint8(7))
			seeds++
		}
	}
	if seeds == 0 {
		f.Fatal("no seeds")
	}
	f.Fuzz(func(t *testing.T, stream []byte, size uint8) {
		whole := feed(t, m, stream)
		require.Equal(t, whole, feed(t, m, stream, int(size)+1))

		dec, err := sensor.NewDecoder(m)
		require.NoError(t, err)
		var used int64
		emit := func(fr *sensor.Frame) {
			used += int64(len(fr.Raw()))
			requireSameAgain(t, m, fr)
		}
		dec.Feed(stream, emit)
		dec.Flush(emit)
		c := dec.Counts()
		if m == sensor.SPS30 {
			used -= c.Frames // neighbours may share a flag
		}
		require.LessOrEqual(t, used+c.BytesSkipped, int64(len(stream)))
		if m != sensor.SDS198 {
			requireGoodFrameFound(t, m, dec)
		}
	})
}

func requireSameAgain(t *testing.T, m sensor.Model, fr *sensor.Frame) {
	raw := append([]byte(nil), fr.Raw()...)
	if m == sensor.SenMLLine {
		raw = append(raw, '\n')
	}
	again := feed(t, m, raw)
	require.Equal(t, []string{fr.Kind}, again.Kinds)
	if !fr.IsData() || m == sensor.SDS198 {
		return
	}
	b, err := sensor.AppendFrame(nil, m, *fr.Values())
	require.NoError(t, err)
	values, _ := decodeOne(t, m, b)
	for c, x := range fr.Values().All() {
		got, ok := values.Get(c)
		require.True(t, ok)
		require.InDelta(t, x, got, tolerance(m, x), c)
	}
	require.Equal(t, fr.Values().Len(), values.Len())
}

// tolerance of a value after encoding: text has six digits, an SPS30's whole
// numbers become 32-bit floats.
func tolerance(m sensor.Model, x float64) float64 {
	switch m {
	case sensor.SenMLLine:
		return 1e-5 * max(x, -x)
	case sensor.SPS30:
		return 1e-6 * max(x, -x)
	}
	return 0
}

func requireGoodFrameFound(t *testing.T, m sensor.Model, dec sensor.Decoder) {
	b, err := sensor.AppendFrame(nil, m, example())
	require.NoError(t, err)
	if m == sensor.SenMLLine {
		b = append([]byte{'\n'}, b...) // the rest of an overlong line ends here
	}
	found := false
	dec.Feed(b, func(f *sensor.Frame) { _, found = f.Values().Get(dust.PM10) })
	require.True(t, found, "a good frame after a silence is lost")
}
