package calibrate

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

// lineCase is a case of testdata/lines.json; README.md there says where they are
// from.
type lineCase struct {
	ID, Method, Name, Source string
	Inputs                   struct {
		X, Y  []float64
		Delta float64
	}
	Expected  map[string]float64
	Tolerance struct{ Rel float64 }
}

func lineCases(t *testing.T) []lineCase {
	t.Helper()
	text, err := os.ReadFile("testdata/lines.json")
	require.NoError(t, err)
	var file struct{ Cases []lineCase }
	require.NoError(t, json.Unmarshal(text, &file))
	require.NotEmpty(t, file.Cases)
	return file.Cases
}

func TestPublishedLines(t *testing.T) {
	for _, c := range lineCases(t) {
		var l Line
		var err error
		switch c.Method {
		case "deming":
			l, err = Deming(c.Inputs.X, c.Inputs.Y, c.Inputs.Delta)
		case "rma":
			l, err = ReducedMajorAxis(c.Inputs.X, c.Inputs.Y)
		default:
			require.Fail(t, "unknown method", c.Method)
		}
		require.NoError(t, err, c.ID)
		got := map[string]float64{}
		for name, value := range map[string]float64{"slope": l.Slope, "intercept": l.Intercept, "se_slope": l.SlopeSE,
			"se_intercept": l.InterceptSE, "slope_lo": l.SlopeLow, "slope_hi": l.SlopeHigh} {
			if _, asked := c.Expected[name]; asked {
				got[name] = value
			}
		}
		validation.CheckSet(t, c.Method+", "+c.Name, c.Source, c.Expected, got, c.Tolerance.Rel, 0)
	}
}

// The line that Pearson printed in 1901, to the digits he gave.
func TestPublishedPearson1901(t *testing.T) {
	c := lineCases(t)[0]
	l, err := Deming(c.Inputs.X, c.Inputs.Y, 1)
	require.NoError(t, err)
	validation.CheckAll(t, "line of closest fit: intercept and slope", "Pearson 1901, Phil. Mag. 6:559", []float64{5.784, -0.5456}, []float64{l.Intercept, l.Slope}, 0.00005)
}

// cloud is pairs about a line, both with errors.
func cloud(n int, seed uint64) (x, y []float64) {
	r := rand.New(rand.NewPCG(seed, 1))
	for range n {
		level := 50 * math.Exp(r.NormFloat64())
		x = append(x, level+5*r.NormFloat64())
		y = append(y, 3+1.4*level+5*r.NormFloat64())
	}
	return x, y
}

func scaled(values []float64, by, plus float64) (out []float64) {
	for _, v := range values {
		out = append(out, v*by+plus)
	}
	return out
}

func TestLaws(t *testing.T) {
	for seed := range uint64(20) {
		x, y := cloud(12, seed)
		for _, delta := range []float64{0.25, 1, 4} {
			l, err := Deming(x, y, delta)
			require.NoError(t, err)
			// With the axes exchanged the line is the same one, δ turned over.
			turned, err := Deming(y, x, 1/delta)
			require.NoError(t, err)
			require.InEpsilon(t, 1/l.Slope, turned.Slope, 1e-9)
			require.InDelta(t, -l.Intercept/l.Slope, turned.Intercept, 1e-6)
			// Both axes in another unit: same slope, intercept in that unit.
			big, err := Deming(scaled(x, 1000, 0), scaled(y, 1000, 0), delta)
			require.NoError(t, err)
			require.InEpsilon(t, l.Slope, big.Slope, 1e-9)
			require.InEpsilon(t, l.SlopeSE, big.SlopeSE, 1e-6)
			require.InDelta(t, 1000*l.Intercept, big.Intercept, 1e-6)
			// One axis in another unit: the errors of that axis too.
			one, err := Deming(x, scaled(y, 1000, 0), delta*1e6)
			require.NoError(t, err)
			require.InEpsilon(t, 1000*l.Slope, one.Slope, 1e-9)
			// Moved along: slope and its error stay.
			moved, err := Deming(scaled(x, 1, 1e5), y, delta)
			require.NoError(t, err)
			require.InEpsilon(t, l.Slope, moved.Slope, 1e-7)
			require.InEpsilon(t, l.SlopeSE, moved.SlopeSE, 1e-4)
		}
		l, err := ReducedMajorAxis(x, y)
		require.NoError(t, err)
		turned, err := ReducedMajorAxis(y, x)
		require.NoError(t, err)
		require.InEpsilon(t, 1/l.Slope, turned.Slope, 1e-12)
		require.InEpsilon(t, 1/l.SlopeLow, turned.SlopeHigh, 1e-9)
		require.Less(t, l.InterceptLow, l.Intercept)
		require.Greater(t, l.InterceptHigh, l.Intercept)
	}
}

// δ from 0 to infinity leads from x on y to y on x; in between the slope moves
// one way. The two ends are ordinary least squares, from which Deming is kept.
func TestDemingLiesBetweenTheOrdinaryLines(t *testing.T) {
	x, y := cloud(40, 7)
	m := momentsOf(x, y, -1)
	yOnX, xOnY := m.covXY/m.varX, m.varY/m.covXY
	before := math.Inf(1)
	for _, delta := range []float64{1e-9, 0.1, 1, 10, 1e9} {
		l, err := Deming(x, y, delta)
		require.NoError(t, err)
		require.Less(t, l.Slope, before)
		before = l.Slope
		require.LessOrEqual(t, l.Slope, xOnY*(1+1e-6))
		require.GreaterOrEqual(t, l.Slope, yOnX*(1-1e-6))
	}
	steep, err := Deming(x, y, 1e-9)
	require.NoError(t, err)
	require.InEpsilon(t, xOnY, steep.Slope, 1e-6)
	flat, err := Deming(x, y, 1e9)
	require.NoError(t, err)
	require.InEpsilon(t, yOnX, flat.Slope, 1e-6)
}

// The 95 % interval holds the truth in about 95 of 100 clouds. One standard error
// of 400 trials is 1.1 %.
func TestIntervalsHoldTheTruth(t *testing.T) {
	hits := 0
	for seed := range uint64(400) {
		x, y := cloud(30, 1000+seed)
		l, err := Deming(x, y, 1)
		require.NoError(t, err)
		if l.SlopeLow <= 1.4 && 1.4 <= l.SlopeHigh {
			hits++
		}
	}
	require.InDelta(t, 0.95*400, hits, 0.04*400)
}

func TestBadPairs(t *testing.T) {
	good := []float64{1, 2, 3, 5}
	for name, c := range map[string]struct {
		x, y  []float64
		delta float64
		err   error
		text  string
	}{
		"lengths":     {good, good[:3], 1, nil, "cannot be paired"},
		"two":         {good[:2], good[:2], 1, ErrTooFew, "needs 3"},
		"NaN":         {[]float64{1, math.NaN(), 3}, good[:3], 1, nil, "pair 2"},
		"infinite":    {good[:3], []float64{1, 2, math.Inf(1)}, 1, nil, "pair 3"},
		"flat":        {good, []float64{7, 7, 7, 7}, 1, ErrUnrelated, ""},
		"delta zero":  {good, good, 0, nil, "above zero"},
		"delta NaN":   {good, good, math.NaN(), nil, "above zero"},
		"hangs on it": {[]float64{1, 1, 1, 9}, []float64{2, 3, 4, 20}, 1, ErrUnrelated, "hangs on it alone"},
	} {
		_, err := Deming(c.x, c.y, c.delta)
		require.Error(t, err, name)
		require.ErrorContains(t, err, c.text, name)
		if c.err != nil {
			require.ErrorIs(t, err, c.err, name)
		}
	}
	_, err := ReducedMajorAxis(good, []float64{7, 7, 7, 7})
	require.ErrorIs(t, err, ErrUnrelated)
	_, err = ReducedMajorAxis(good[:2], good[:2])
	require.ErrorIs(t, err, ErrTooFew)
}
