package units_test

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/units"
	"dustlog/internal/validation"
)

// NIST Special Publication 811 (2008), appendix B.8, from memory. Printed to seven
// digits.
func TestPublishedConversionFactors(t *testing.T) {
	flow := func(s string) float64 { return value(t, units.ParseFlow, s) }
	pressure := func(s string) float64 { return value(t, units.ParsePressure, s) }
	velocity := func(s string) float64 { return value(t, units.ParseVelocity, s) }
	length := func(s string) float64 { return value(t, units.ParseLength, s) }
	area := func(s string) float64 { return value(t, units.ParseArea, s) }
	volume := func(s string) float64 { return value(t, units.ParseVolume, s) }
	density := func(s string) float64 { return value(t, units.ParseDensity, s) }
	validation.CheckSet(t, "conversion factors to SI units", "NIST SP 811 (2008), appendix B.8, from memory", map[string]float64{
		"ft³/min": 4.719474e-4, "in": 2.54e-2, "ft": 3.048e-1, "ft/min": 5.08e-3, "in. of water (conventional)": 2.490889e2,
		"mm of water (conventional)": 9.80665, "ft²": 9.290304e-2, "in²": 6.4516e-4, "ft³": 2.831685e-2, "lb/ft³": 1.601846e1,
	}, map[string]float64{
		"ft³/min": flow("1 cfm"), "in": length("1 in"), "ft": length("1 ft"), "ft/min": velocity("1 fpm"), "in. of water (conventional)": pressure("1 in. w.g."),
		"mm of water (conventional)": pressure("1 mmH2O"), "ft²": area("1 ft2"), "in²": area("1 in2"), "ft³": volume("1 ft3"), "lb/ft³": density("1 lb/ft3"),
	}, 5e-7, 0) // half of the seventh digit
}

func value[T ~float64](t *testing.T, parse func(string) (T, error), s string) float64 {
	t.Helper()
	x, err := parse(s)
	require.NoError(t, err, s)
	return float64(x)
}

// Expected values by hand from 1 in = 25.4 mm, 1 ft = 304.8 mm, 60 s, 3600 s.
func TestWhatIsWrittenAtTheBench(t *testing.T) {
	for s, want := range map[string]float64{
		"1000 cfm": 0.4719474432, "1,000 cfm": 0.4719474432, "1000 CFM": 0.4719474432, "12,500 ft³/min": 5.89934304,
		"850 m3/h": 850.0 / 3600, "850 m³/h": 850.0 / 3600, "850m³/h": 850.0 / 3600, "0.25 m3/s": 0.25, "0 cfm": 0, "250 L/s": 0.25,
	} {
		require.InDelta(t, want, value(t, units.ParseFlow, s), 1e-9, s)
	}
	for s, want := range map[string]float64{
		"6 in": 0.1524, `6"`: 0.1524, "6 inches": 0.1524, "150 mm": 0.15, "15 cm": 0.15, "2 1/2 in": 0.0635, "2-1/2 in": 0.0635,
		"1/2 in": 0.0127, "3.5 m": 3.5, "12 ft": 3.6576, "1,200 mm": 1.2, "1e2 mm": 0.1,
	} {
		require.InDelta(t, want, value(t, units.ParseLength, s), 1e-12, s)
	}
	for s, want := range map[string]float64{
		"2.5 in. w.g.": 622.72225, "2.5 in w.g.": 622.72225, "2.5 inwg": 622.72225, "2.5 in. w.c.": 622.72225, "2.5 inH2O": 622.72225,
		"-4 in. w.g.": -996.3556, "−4 in. w.g.": -996.3556, "250 Pa": 250, "1.1 kPa": 1100, "3 mbar": 300, "10 mm w.g.": 98.0665,
	} {
		require.InDelta(t, want, value(t, units.ParsePressure, s), 1e-3, s)
	}
	for s, want := range map[string]float64{"4000 fpm": 20.32, "20 m/s": 20, "4,000 ft/min": 20.32} {
		require.InDelta(t, want, value(t, units.ParseVelocity, s), 1e-9, s)
	}
	for s, want := range map[string]float64{"20 °C": 20, "68 °F": 20, "68F": 20, "-40 F": -40, "293.15 K": 20, "−3 C": -3} {
		require.InDelta(t, want, value(t, units.ParseTemperature, s), 1e-9, s)
	}
	for s, want := range map[string]float64{"8.5 A": 8.5, "850 mA": 0.85, "12amps": 12} {
		require.InDelta(t, want, value(t, units.ParseCurrent, s), 1e-12, s)
	}
	require.InDelta(t, 10.21933440, value(t, units.ParseArea, "110 sq ft"), 1e-9)
}

func TestWhatIsRefusedAndWhy(t *testing.T) {
	for _, test := range []struct {
		s, want string
		parse   func(string) error
	}{
		{"1000", "has no unit", flow}, {"", "has no unit", flow}, {"cfm", `unit "cfm" is not known here`, flow},
		{"1000 fpm", `unit "fpm" is not known here`, flow}, {"1,25 m3/h", `"1,25" is no number`, flow}, {"1,0000 cfm", "is no number", flow},
		{"0,500 cfm", "is no number", flow}, {"-5 cfm", "below the lowest", flow}, {"nan cfm", "not known", flow}, {"1e999 cfm", "is no number", flow},
		{"1 000 cfm", "is no number", flow}, {"0x10 cfm", "is no number", flow}, {"5 m3", "not known", flow}, {"3 4 cfm", "is no number", flow},
		{"0 mm", "must be above zero", length}, {"-6 in", "must be above zero", length}, {"1/0 in", "is no number", length}, {"2 1/2/3 in", "is no number", length},
		{"6 in w.g.", "not known", length}, {"-300 C", "below the lowest", temperature}, {"1 1/2 mm Hg", "not known", length},
	} {
		err := test.parse(test.s)
		require.ErrorIs(t, err, units.ErrUnit, test.s)
		require.ErrorContains(t, err, test.want, test.s)
	}
}

func flow(s string) error        { _, err := units.ParseFlow(s); return err }
func length(s string) error      { _, err := units.ParseLength(s); return err }
func temperature(s string) error { _, err := units.ParseTemperature(s); return err }

func TestTraverseAsItIsReadOff(t *testing.T) {
	list, err := units.ParsePressures("0.52 0.61; 0.44, -0.01 in. w.g.")
	require.NoError(t, err)
	require.Len(t, list, 4)
	for i, want := range []float64{0.52, 0.61, 0.44, -0.01} {
		require.InDelta(t, want, list[i].InWG(), 1e-12)
	}
	speeds, err := units.ParseVelocities("18.2 19.5 20.1 m/s")
	require.NoError(t, err)
	require.Equal(t, []units.Velocity{18.2, 19.5, 20.1}, speeds)
	_, err = units.ParseVelocities("18.2 x 20.1 m/s")
	require.ErrorContains(t, err, `"x" is no number`)
	_, err = units.ParseVelocities("18.2 -1 m/s")
	require.ErrorContains(t, err, "below the lowest")
}

func TestPrintedBothWays(t *testing.T) {
	require.Equal(t, "1699 m³/h (1000 cfm)", units.CFM(1000).String())
	require.Equal(t, "249 Pa (1.00 in. w.g.)", units.InWG(1).String())
	require.Equal(t, "-996 Pa (-4.00 in. w.g.)", units.InWG(-4).String())
	require.Equal(t, "20.3 m/s (4000 fpm)", units.FPM(4000).String())
	require.Equal(t, "152 mm (6.00 in)", units.Inches(6).String())
	require.Equal(t, "0.018 m² (0.196 ft²)", units.Ft2(0.19635).String())
	require.Equal(t, "1.20 kg/m³ (0.0750 lb/ft³)", units.LbFt3(0.075).String())
	require.Equal(t, "20.0 °C (68.0 °F)", units.Temperature(20).String())
	require.Equal(t, "120 m³ (4238 ft³)", units.Volume(120).String())
	require.Equal(t, "8.50 A", units.Current(8.5).String())
	require.Equal(t, "–", units.Flow(math.NaN()).SI()[:len("–")])
}

func TestJSONNamesBothUnits(t *testing.T) {
	text, err := json.Marshal(map[string]any{"flow": units.CFM(1000), "none": units.Flow(math.NaN()), "current": units.Current(8.5), "hot": units.Current(math.Inf(1))})
	require.NoError(t, err)
	require.Regexp(t, `^\{"current":8\.5,"flow":\{"m3_h":1699\.0107955\d*,"cfm":(1000|1000\.0{8,}\d+|999\.9{8,}\d*)\},"hot":null,"none":null\}$`, string(text))
}

// A configuration file goes through UnmarshalText.
func TestTextIsParsed(t *testing.T) {
	var d units.Length
	require.NoError(t, d.UnmarshalText([]byte("6 in")))
	require.Equal(t, units.Inches(6), d)
	require.ErrorIs(t, d.UnmarshalText([]byte("6")), units.ErrUnit)
}
