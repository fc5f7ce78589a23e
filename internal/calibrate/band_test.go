package calibrate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The band is the jackknife (Linnet 1990, as for the line) of a + b·x itself: here
// worked out the long way, by fitting the line again without each pair.
func TestTheBandIsTheJackknifeOfThePrediction(t *testing.T) {
	x := []float64{7, 12, 18, 30, 44, 61, 80, 95, 120}
	y := []float64{9, 11, 21, 28, 49, 60, 88, 91, 131}
	l, err := Deming(x, y, 1)
	require.NoError(t, err)
	n := float64(len(x))
	for _, at := range []float64{0, 20, 52, 120, 300} {
		pseudo := make([]float64, len(x))
		for i := range x {
			rest := momentsOf(x, y, i)
			b := rest.deming(1)
			pseudo[i] = n*(l.Intercept+l.Slope*at) - (n-1)*(rest.meanY-b*rest.meanX+b*at)
		}
		_, sd := meanSD(pseudo)
		half := studentT(n-2) * sd / math.Sqrt(n)
		low, high, ok := l.Band(at)
		require.True(t, ok)
		require.InEpsilon(t, l.Intercept+l.Slope*at-half, low, 1e-9)
		require.InEpsilon(t, l.Intercept+l.Slope*at+half, high, 1e-9)
	}
	low, high, _ := l.Band(0)
	require.InDelta(t, l.InterceptLow, low, 1e-9)
	require.InDelta(t, l.InterceptHigh, high, 1e-9)
	rma, err := ReducedMajorAxis(x, y)
	require.NoError(t, err)
	_, _, ok := rma.Band(20)
	require.False(t, ok, "no covariance, no band")
}
