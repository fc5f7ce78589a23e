package sensor_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// encodable lists the models whose readings can be turned into frames.
func encodable() []sensor.Model {
	var models []sensor.Model
	for _, m := range sensor.Models() {
		if !m.Spec().RawOnly {
			models = append(models, m)
		}
	}
	return models
}

// decodeOne decodes exactly one frame with measurements.
func decodeOne(t testing.TB, m sensor.Model, b []byte) (dust.Values, dust.Flags) {
	t.Helper()
	dec, err := sensor.NewDecoder(m)
	require.NoError(t, err)
	var values dust.Values
	var flags dust.Flags
	dec.Feed(b, func(f *sensor.Frame) { values, flags = *f.Values(), f.Flags })
	dec.Flush(func(*sensor.Frame) { t.Error("frame only at flush") })
	c := dec.Counts()
	require.EqualValues(t, 1, c.Frames)
	require.EqualValues(t, 1, c.DataFrames)
	require.Zero(t, c.ChecksumErrors+c.OtherErrors)
	return values, flags
}

func TestRoundTrip(t *testing.T) {
	// Coarsest step of any wire here: 1 µg/m³, 0.01 per cm³, 0.1 % and °C,
	// 0.001 mg/m³. These values lie on every model's steps.
	for _, m := range encodable() {
		t.Run(string(m), func(t *testing.T) {
			in := example()
			in.Set(dust.Temperature, -4.5)
			b, err := sensor.AppendFrame([]byte("before"), m, in)
			require.NoError(t, err)
			require.Equal(t, "before", string(b[:6]))
			out, flags := decodeOne(t, m, b[6:])
			require.Zero(t, flags)
			require.NotZero(t, out.Len())
			for c, x := range out.All() {
				want, ok := in.Get(c)
				require.True(t, ok)
				require.InDelta(t, want, x, 1e-9, c)
			}
			again, err := sensor.AppendFrame(nil, m, out)
			require.NoError(t, err)
			require.Equal(t, b[6:], again, "what was decoded encodes to the same bytes")
		})
	}
}

func TestEncodingRoundsAndClamps(t *testing.T) {
	v := example()
	v.Set(dust.PM25, 12.34)
	v.Set(dust.PM10, 1e9)
	v.Set(dust.PM1, -5)
	v.Set(dust.Temperature, -5000)

	b, err := sensor.AppendFrame(nil, sensor.PMS5003T, v)
	require.NoError(t, err)
	got, flags := decodeOne(t, sensor.PMS5003T, b)
	requireValue(t, got, dust.PM25, 12)
	requireValue(t, got, dust.PM10, math.MaxUint16)
	requireValue(t, got, dust.PM1, 0)
	requireValue(t, got, dust.Temperature, math.MinInt16/10.0)
	require.Equal(t, dust.SaturatedCoarse, flags)

	b, err = sensor.AppendFrame(nil, sensor.SDS011, v)
	require.NoError(t, err)
	got, _ = decodeOne(t, sensor.SDS011, b)
	requireValue(t, got, dust.PM25, 12.3)
	requireValue(t, got, dust.PM10, math.MaxUint16/10.0)
}

func requireValue(t *testing.T, v dust.Values, c dust.Channel, want float64) {
	t.Helper()
	got, ok := v.Get(c)
	require.True(t, ok, c)
	require.InDelta(t, want, got, 1e-9, c)
}

func TestEncodingRefusesMissingChannels(t *testing.T) {
	v := example()
	v.Unset(dust.PM10Atm)
	v.Unset(dust.N03)
	b, err := sensor.AppendFrame([]byte("kept"), sensor.PMS5003, v)
	require.ErrorContains(t, err, "pm10_atm_ug_m3, n0_3_cm3")
	require.Equal(t, "kept", string(b))

	// The SPS30's floats can say "missing".
	v.Unset(dust.PM4)
	b, err = sensor.AppendFrame(nil, sensor.SPS30, v)
	require.NoError(t, err)
	got, flags := decodeOne(t, sensor.SPS30, b)
	require.False(t, got.Has(dust.PM4))
	require.True(t, got.Has(dust.PM25))
	require.Equal(t, dust.MissingValue, flags)

	// So can a line of text, by leaving it out.
	b, err = sensor.AppendFrame(nil, sensor.SenMLLine, v)
	require.NoError(t, err)
	got, flags = decodeOne(t, sensor.SenMLLine, b)
	require.False(t, got.Has(dust.PM4))
	require.Zero(t, flags)

	_, err = sensor.AppendFrame(nil, sensor.SenMLLine, dust.Values{})
	require.Error(t, err)
	_, err = sensor.AppendFrame(nil, sensor.SDS198, v)
	require.ErrorContains(t, err, "scale")
	_, err = sensor.AppendFrame(nil, "pms9999", v)
	require.ErrorIs(t, err, dust.ErrUnknownModel)
}

// Counts: the manual's field is particles in 0.1 L, which is 100 cm³.
func TestCountsAreConverted(t *testing.T) {
	first := vectors(t, sensor.PMS5003)[0] // > 0.3 µm: 1002 per 0.1 L
	got, _ := decodeOne(t, sensor.PMS5003, first.bytes(t))
	requireValue(t, got, dust.N03, 10.02)
	requireValue(t, got, dust.N05, 2.85)
	requireValue(t, got, dust.N25, 0.06)
}

// The SPS30 sends its typical size in nm with whole numbers, in µm with floats
// (SPS30 data sheet, table 5).
func TestTypicalSizeIsInMicrometres(t *testing.T) {
	for id, want := range map[string]float64{"pub-sps30-02": 0.5625, "pub-sps30-03": 0.512} {
		for _, v := range vectors(t, sensor.SPS30) {
			if v.ID == id {
				got, _ := decodeOne(t, sensor.SPS30, v.bytes(t))
				requireValue(t, got, dust.TypicalSize, want)
			}
		}
	}
}

func TestFlagsOfOneFrame(t *testing.T) {
	with := func(c dust.Channel, x float64) dust.Values {
		v := example()
		v.Set(c, x)
		return v
	}
	for name, test := range map[string]struct {
		model  sensor.Model
		values dust.Values
		want   dust.Flags
	}{
		"PMS below top":      {sensor.PMS5003, with(dust.PM10, 999), 0},
		"PMS at top":         {sensor.PMS5003, with(dust.PM10, 1000), dust.SaturatedCoarse},
		"PMS atmospheric":    {sensor.PMS3003, with(dust.PM25Atm, 1000), dust.Saturated},
		"PMS counts at top":  {sensor.PMS5003, with(dust.N03, 655.35), dust.SaturatedCount},
		"PMS counts rise":    {sensor.PMS5003, with(dust.N50, 100), dust.CountOrder},
		"PMS T counts rise":  {sensor.PMS5003T, with(dust.N25, 100), dust.CountOrder},
		"PMS T has no N50":   {sensor.PMS5003T, with(dust.N50, 100), 0},
		"SDS011 below top":   {sensor.SDS011, with(dust.PM25, 999.8), 0},
		"SDS011 at top":      {sensor.SDS011, with(dust.PM25, 999.9), dust.Saturated},
		"SPS30 below top":    {sensor.SPS30, with(dust.PM25, 999), 0},
		"SPS30 mass at top":  {sensor.SPS30, with(dust.PM25, 1000), dust.Saturated},
		"SPS30 count at top": {sensor.SPS30, with(dust.NPM10, 3000), dust.SaturatedCount},
		"SPS30 negative":     {sensor.SPS30, with(dust.PM25, -1), dust.NegativeMass},
		"HPMA at top":        {sensor.HPMA115C0, with(dust.PM4, 1000), dust.SaturatedCoarse},
		"ZH06 at top":        {sensor.ZH06, with(dust.PM1, 1000), dust.Saturated},
		"SN-GCJA5 below top": {sensor.SNGCJA5, with(dust.PM1, 1999), 0},
		"SN-GCJA5 at top":    {sensor.SNGCJA5, with(dust.PM1, 2000), dust.Saturated},
		"text negative":      {sensor.SenMLLine, with(dust.PM1, -1), dust.NegativeMass},
	} {
		t.Run(name, func(t *testing.T) {
			b, err := sensor.AppendFrame(nil, test.model, test.values)
			require.NoError(t, err)
			_, flags := decodeOne(t, test.model, b)
			require.Equal(t, test.want.String(), flags.String())
		})
	}
}

// A flag for every channel's top must agree with what Spec states.
func TestSaturationFollowsSpec(t *testing.T) {
	for _, m := range encodable() {
		for c, top := range m.Spec().Range {
			v := example()
			v.Set(c, top)
			if c > dust.N03 && c <= dust.N100 {
				v.Set(dust.N03, top) // counts cannot rise with size
			}
			b, err := sensor.AppendFrame(nil, m, v)
			require.NoError(t, err)
			_, flags := decodeOne(t, m, b)
			require.True(t, flags.Has(dust.SaturatedIn(c)), "%s %s at %g", m, c, top)
		}
	}
}

func TestSensorsReportTrouble(t *testing.T) {
	flagsOf := func(m sensor.Model, id string) dust.Flags {
		for _, v := range vectors(t, m) {
			if v.ID != id {
				continue
			}
			dec, err := sensor.NewDecoder(m)
			require.NoError(t, err)
			var flags dust.Flags
			dec.Feed(v.bytes(t), func(f *sensor.Frame) { flags |= f.Flags })
			return flags
		}
		require.Fail(t, "no such vector", id)
		return 0
	}
	require.Equal(t, dust.FanFault, flagsOf(sensor.SPS30, "pub-sps30-13"))
	require.Equal(t, dust.MissingValue, flagsOf(sensor.SPS30, "pub-sps30-20"))
	require.Equal(t, dust.Saturated|dust.SaturatedCoarse|dust.FanFault, flagsOf(sensor.SNGCJA5, "pub-sngcja5-02"))
	require.Equal(t, dust.WarmUp, flagsOf(sensor.SNGCJA5, "pub-sngcja5-03"))
}

func TestModels(t *testing.T) {
	for _, m := range sensor.Models() {
		spec := m.Spec()
		require.Equal(t, m, spec.Model)
		require.NotEmpty(t, spec.Title)
		require.NotEmpty(t, spec.Sees)
		require.Contains(t, []int{9600, 115200}, spec.Baud)
		require.Positive(t, spec.Interval)
		parsed, err := sensor.ParseModel(string(m))
		require.NoError(t, err)
		require.Equal(t, m, parsed)
		for _, c := range spec.Extrapolated {
			require.True(t, c.IsMass())
		}
	}
	m, err := sensor.ParseModel(" SN-GCJA5 ")
	require.NoError(t, err)
	require.Equal(t, sensor.SNGCJA5, m)
	require.Equal(t, "9600 8E1", m.Spec().Line())
	require.Equal(t, "115200 8N1", sensor.SPS30.Spec().Line())

	_, err = sensor.ParseModel("pms9999")
	require.ErrorIs(t, err, dust.ErrUnknownModel)
	require.ErrorContains(t, err, "pms5003, pms7003")
	_, err = sensor.NewDecoder("pms9999")
	require.ErrorIs(t, err, dust.ErrUnknownModel)
	_, err = sensor.NewReader("pms9999", nil)
	require.ErrorIs(t, err, dust.ErrUnknownModel)
	require.Zero(t, sensor.Model("pms9999").Spec())
}

func TestCommands(t *testing.T) {
	_, err := sensor.Command(sensor.PMS5003, "selfdestruct")
	require.ErrorContains(t, err, "pms5003 knows read, passive, active, sleep, wake")
	_, err = sensor.Command(sensor.SNGCJA5, "read")
	require.ErrorContains(t, err, "takes no commands")
	_, err = sensor.Command("pms9999", "read")
	require.ErrorIs(t, err, dust.ErrUnknownModel)
	_, err = sensor.HPMASetCoefficient(29)
	require.Error(t, err)

	// What survives a loss of power has a name that says so (SDS protocol paper:
	// reporting mode and working period do).
	for _, name := range sensor.Commands(sensor.SDS011) {
		b, err := sensor.Command(sensor.SDS011, name)
		require.NoError(t, err)
		r := sensor.SDSRequest{Sub: b[2], Set: b[3]}
		require.Equal(t, r.SurvivesPowerLoss(), len(name) > 5 && name[:5] == "keep_", name)
	}
	// One week, the SPS30's default: 604800 s = 00 09 3A 80.
	require.Equal(t, []byte{0x7E, 0, 0x80, 5, 0, 0, 9, 0x3A, 0x80, 0xB7, 0x7E}, sensor.SPS30SetAutoClean(7*24*60*60*1e9))
}
