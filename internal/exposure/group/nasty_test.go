package group

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/words"
)

// Nasty sets by name, as numerical libraries test them: nothing panics, the result
// can be written as JSON, and what is missing has a reason.
func TestNastySets(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, x := range map[string][]float64{
		"none":        nil,
		"one":         {0.5},
		"two":         {0.5, 0.7},
		"constant":    {1, 1, 1, 1, 1, 1, 1},
		"near equal":  {1, 1 + 1e-9, 1 - 1e-9, 1, 1, 1},
		"big":         {1e300, 2e300, 3e300, 1.5e300, 1.2e300, 2.5e300},
		"tiny":        {1e-300, 2e-300, 3e-300, 1.5e-300, 1.2e-300, 2.5e-300},
		"mixed":       {1e-300, 1, 1e300, 1e-200, 1e200, 5},
		"zeros":       {0, 0, 0, 0},
		"not numbers": {nan, inf, -inf, nan},
		"negative":    {-1, -0.5, 0.2, 0.4, 0.3},
		"all":         {nan, 0, -1, 0.5, 0.6, 0.7, 0.9, inf, 1e-300, 0.8},
		"many":        make([]float64, 400),
	} {
		if name == "many" {
			for i := range x {
				x[i] = 0.1 + float64(i%37)
			}
		}
		for _, limit := range []float64{1, 1e-300, 1e300, 0, -1, nan, inf} {
			for _, opts := range []Options{{}, {FloorMgM3: 0.55}, {FloorMgM3: 10}, {FloorMgM3: inf}, {FloorMgM3: nan}, {AtLeast: words.Literal("Fine dust only.")}, {Prior: &Prior{A0: -9}}} {
				s := Summarise(valuesOf(x...), limit, opts)
				_, err := json.Marshal(s)
				require.NoError(t, err, "%s, limit %g", name, limit)
				require.NotEmpty(t, s.Finding)
				require.NotEmpty(t, s.Why)
				require.Equal(t, len(x), s.Days+len(s.Excluded), name)
				require.Len(t, s.Plot, s.Days)
				if s.UTL95_95 == nil {
					require.True(t, hasReason(s, "utl95_95_mg_m3"), name)
				}
				if s.ExceedanceHigh != nil {
					require.True(t, *s.ExceedanceLow <= *s.Exceedance && *s.Exceedance <= *s.ExceedanceHigh, "%s, limit %g: %g %g %g", name, limit, *s.ExceedanceLow, *s.Exceedance, *s.ExceedanceHigh)
				}
			}
		}
	}
}

// Whatever floats come in: no panic, every shift accounted for, valid JSON.
func FuzzSummarise(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16}, 1.0, 0.0)
	f.Add([]byte{0, 0, 0, 0, 0, 0, 0xf8, 0x7f, 1, 0, 0, 0, 0, 0, 0, 0}, 1e300, 1e-5)
	f.Fuzz(func(t *testing.T, data []byte, limit, floor float64) {
		var values []Value
		for len(data) >= 8 && len(values) < 40 {
			bits := binary.LittleEndian.Uint64(data)
			values = append(values, Value{MgM3: math.Float64frombits(bits &^ 1), Below: bits&1 == 1})
			data = data[8:]
		}
		s := Summarise(values, limit, Options{FloorMgM3: floor})
		_, err := json.Marshal(s)
		require.NoError(t, err)
		require.Equal(t, len(values), s.Days+len(s.Excluded))
		require.NotEmpty(t, s.Why)
	})
}

func hasReason(s Summary, key string) bool {
	for _, n := range s.NotComputed {
		if n.Key == key && !n.Why.IsZero() {
			return true
		}
	}
	return false
}

// A null without a reason is silence. Keys are read from the JSON itself, so a new
// number cannot be forgotten.
func TestEveryNullHasAReason(t *testing.T) {
	for _, s := range []Summary{
		Summarise(nil, 1, Options{}),
		Summarise(valuesOf(0.1), 1, Options{}),
		Summarise(valuesOf(0.1, 0.2, 0.3, 0.4), 0, Options{}),
		Summarise(censoredBelow(0.25, []float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6}), 1, Options{}),
		Summarise(censoredBelow(0.45, []float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6}), 1, Options{}),
		Summarise(censoredBelow(9, []float64{0.1, 0.2, 0.3, 0.4, 0.5, 0.6}), 1, Options{}),
		Summarise(valuesOf(welding...), 5, Options{AtLeast: words.Literal("Fine dust only.")}),
	} {
		text, err := json.Marshal(s)
		require.NoError(t, err)
		var all map[string]any
		require.NoError(t, json.Unmarshal(text, &all))
		for key, v := range all {
			if v == nil && key != "non_detects" {
				require.True(t, hasReason(s, key), "%s is null without a reason (%d days)", key, s.Days)
			}
		}
	}
}

func TestFunctionsRefuse(t *testing.T) {
	few := TooFewError{}
	_, err := FitLognormal(nil)
	require.ErrorAs(t, err, &few)
	for _, bad := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err = FitLognormal([]float64{1, bad})
		require.ErrorIs(t, err, ErrNotPositive)
		_, _, _, err = Lognormal{N: 6, SD: 1}.Exceedance(bad, 0.95)
		require.ErrorIs(t, err, ErrNotPositive)
		_, err = OneDaySingle(1, bad, 0.1)
		require.ErrorIs(t, err, ErrNotPositive)
		_, err = OneDayUniform([]Sample{{1, bad}}, 1, 0.1)
		require.ErrorIs(t, err, ErrNotPositive)
	}
	for _, bad := range []float64{0, 1, -1, 2, math.NaN()} {
		_, err = ToleranceFactor(6, bad, 0.95)
		require.ErrorContains(t, err, "between 0 and 1")
		_, err = ToleranceFactor(6, 0.95, bad)
		require.ErrorContains(t, err, "between 0 and 1")
		_, _, err = Lognormal{N: 6, SD: 1}.LandMean(bad)
		require.ErrorContains(t, err, "between 0 and 1")
		_, err = LandH(6, 1, bad)
		require.ErrorContains(t, err, "between 0 and 1")
	}
	_, err = ToleranceFactor(1, 0.95, 0.95)
	require.ErrorAs(t, err, &few)
	_, err = UT(5)
	require.ErrorAs(t, err, &few)
	require.Equal(t, 1, few.More())
	_, err = LandH(2, 1, 0.95)
	require.ErrorAs(t, err, &few)
	_, err = LandH(6, 0, 0.95)
	require.ErrorIs(t, err, ErrNoSpread)
	_, err = Lognormal{N: 1}.MeanMVUE()
	require.ErrorAs(t, err, &few)
	_, _, err = ShapiroWilk([]float64{1, 2})
	require.ErrorAs(t, err, &few)
	_, _, err = ShapiroWilk([]float64{2, 2, 2})
	require.ErrorIs(t, err, ErrNoSpread)
	for _, values := range [][]Value{nil, valuesOf(1, 2), censoredBelow(9, []float64{1, 2, 3})} {
		_, err = FitROS(values)
		require.ErrorAs(t, err, &few)
		_, err = FitMLE(values)
		require.ErrorAs(t, err, &few)
	}
	_, err = FitROS(valuesOf(2, 2, 2))
	require.ErrorIs(t, err, ErrNoSpread)
	_, err = FitMLE(valuesOf(2, 2, 2))
	require.ErrorIs(t, err, ErrNoSpread)
	_, err = DefaultPrior.Update(Lognormal{})
	require.ErrorAs(t, err, &few)
	_, err = OneDayUniform(nil, 1, 0.1)
	require.ErrorAs(t, err, &few)
	_, err = OneDay{}.PartialFinding(9, 8)
	require.ErrorContains(t, err, "no longer than the shift")
}
