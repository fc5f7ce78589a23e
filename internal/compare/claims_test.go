package compare

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

// How often the method claims what is not there is counted in package simulate.

// inventedStudy is one before/after study of 3 + 3 days with a true ratio: 1 Hz
// readings with autocorrelation 0.99, ln sd 0.5, and days (0.30), sessions (0.20)
// and runs (0.45) that differ, three tasks, of which a session holds 2 to 5 runs.
func inventedStudy(t *testing.T, rng *rand.Rand, ratio float64) Input {
	t.Helper()
	s := newShop(t)
	tasks := []string{"sanding", "sawing", "sweeping"}
	for d := range 6 {
		day := monday.AddDate(0, 0, d)
		level := math.Log(200) + rng.NormFloat64()*math.Hypot(0.30, 0.20)
		if d%3 == 0 {
			s.setup([]string{"old hood", "new hood"}[d/3], day)
		}
		if d >= 3 {
			level += math.Log(ratio)
		}
		for k := range 2 + rng.IntN(4) {
			task := rng.IntN(3)
			noise := ar1(rng, 0.99, 0.5)
			y := level - 0.5*float64(task) + 0.45*rng.NormFloat64()
			s.run(tasks[task], day.Add(time.Duration(k)*10*time.Minute), time.Minute, func(int) float64 { return math.Exp(y + noise()) })
		}
	}
	return s.in
}

// What the session unit protects from: the same unchanged air, seconds taken as
// replicates, is "changed" nearly every time.
func TestSecondsAsReplicatesWouldClaim(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	wrong := 0
	const studies = 50
	for range studies {
		in := inventedStudy(t, rng, 1)
		var x [2][]float64
		for i := range in.Series[0].Len() {
			at, v, _ := in.Series[0].At(i)
			k := 0
			if dust.SetupAt(in.Setups, at) == "new hood" {
				k = 1
			}
			x[k] = append(x[k], v)
		}
		r, err := WelchLogRatio(x[0], x[1], 0.95)
		require.NoError(t, err)
		if r.P < 0.05 {
			wrong++
		}
	}
	require.Greater(t, wrong, studies*3/4)
}
