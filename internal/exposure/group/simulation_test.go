package group

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

var update = flag.Bool("update", false, "rewrite testdata/simulations.json")

// How often do tolerance limits hold what they promise where shifts lie below
// detection? The truth is lognormal with a GSD of 2, and the detection limit is at
// the quantile of the setting; sets with more than half below are not fitted. The
// saved figures come from 4000 studies each (-update); every run repeats a few.
func TestSimulatedToleranceLimits(t *testing.T) {
	const seed = 689
	studies := 300
	if *update {
		studies = 4000
	}
	gsd := 2.0
	truth := math.Pow(gsd, normalQuantile(0.95)) // 95th percentile for a GM of 1
	var rows []validation.Simulation
	for _, n := range []int{6, 10, 20} {
		for _, share := range []float64{0, 0.2, 0.4} {
			r := rand.New(rand.NewPCG(seed, uint64(n)))
			detection := 0.0
			if share > 0 {
				detection = math.Pow(gsd, normalQuantile(share))
			}
			k := map[int]float64{95: value(t)(ToleranceFactor(n, 0.95, 0.95)), 70: value(t)(ToleranceFactor(n, 0.95, 0.70))}
			held, fits := map[int]float64{}, 0.0
			for range studies {
				w := worker{}
				w.sift(censoredBelow(detection, lognormals(r, n, 1, gsd)))
				if w.choose(); w.fitErr != nil {
					continue
				}
				fits++
				for confidence, factor := range k {
					if math.Exp(w.fit.Mean+factor*w.fit.SD) >= truth {
						held[confidence]++
					}
				}
			}
			for _, confidence := range []int{95, 70} {
				found := held[confidence] / fits
				se := math.Sqrt(found * (1 - found) / fits)
				rows = append(rows, validation.Simulation{
					What:    fmt.Sprintf("UTL 95/%d lies above the 95th percentile", confidence),
					Setting: fmt.Sprintf("%d shifts, %.0f %% below detection, GSD %g", n, 100*share, gsd),
					Studies: int(fits), Seed: seed, Intended: fmt.Sprintf("%d %%", confidence), Found: found, SE: se,
				})
				// Exact where all is detected; otherwise what the warning says.
				low, high := float64(confidence)/100-4*se, float64(confidence)/100+4*se
				if share > 0 {
					low -= 0.04
				}
				require.True(t, found >= low && found <= high, "%d shifts, share %g, confidence %d: %.3f", n, share, confidence, found)
			}
		}
	}
	if *update {
		require.NoError(t, validation.SaveSimulations(validation.SimulationFile, rows))
	}
	saved, err := validation.LoadSimulations(validation.SimulationFile)
	require.NoError(t, err)
	require.Len(t, saved, len(rows))
	for i, row := range rows {
		require.Equal(t, row.What+row.Setting, saved[i].What+saved[i].Setting)
		require.InDelta(t, row.Found, saved[i].Found, 4*row.SE, "run with -update, and make docs")
	}
}
