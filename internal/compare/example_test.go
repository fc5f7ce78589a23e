package compare_test

import (
	"fmt"

	"dustlog/internal/compare"
)

// Session means in µg/m³ before and after a change, on different days.
func ExampleWelchLogRatio() {
	old := []float64{412, 655, 301, 518, 730}
	new := []float64{205, 160, 330, 241, 118}
	r, err := compare.WelchLogRatio(old, new, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f (%.3f to %.3f), p = %.4f\n", r.Ratio, r.Low, r.High, r.P)
	fmt.Println(compare.VerdictFor(r.Low, r.High, 0.30))
	// Output:
	// 0.398 (0.230 to 0.689), p = 0.0048
	// reduced enough
}

// Both setups on each of five days.
func ExamplePairedLogRatio() {
	r, err := compare.PairedLogRatio(
		[]float64{310, 520, 205, 640, 415}, []float64{190, 260, 150, 300, 275}, 0.95)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.3f (%.3f to %.3f), %g degrees of freedom\n", r.Ratio, r.Low, r.High, r.DF)
	// Output: 0.587 (0.465 to 0.741), 4 degrees of freedom
}

// Tuesday held no sawing; the session effects repair that.
func ExampleSessionEffects() {
	effects, err := compare.SessionEffects([]compare.TaskRun{
		{Session: "Monday", Task: "sanding", Mean: 400},
		{Session: "Monday", Task: "sawing", Mean: 100},
		{Session: "Tuesday", Task: "sanding", Mean: 400},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f %.0f\n", effects["Monday"], effects["Tuesday"])
	// Output: 252 252
}

func ExamplePermutationTwoSample() {
	p, _ := compare.PermutationTwoSample([]float64{5, 6, 7}, []float64{1, 2, 3})
	fmt.Printf("p = %.2f of %d relabellings, smallest possible %.2f\n", p.P, p.Arrangements, p.Smallest)
	// Output: p = 0.10 of 20 relabellings, smallest possible 0.10
}

func ExamplePermutationSignFlip() {
	p, _ := compare.PermutationSignFlip([]float64{-0.49, -0.69, -0.31, -0.76, -0.41})
	fmt.Printf("p = %.4f\n", p.P)
	// Output: p = 0.0625
}

func ExampleHolm() {
	fmt.Printf("%.3f\n", compare.Holm([]float64{0.012, 0.3, 0.004, 0.048}))
	// Output: [0.036 0.300 0.016 0.096]
}

// A true reduction of 30 % or 70 %, planned with the usual spread.
func ExampleSessionsNeeded() {
	for _, reduction := range []float64{0.30, 0.70} {
		n, _ := compare.SessionsNeeded(reduction, compare.PlanningSD, false, 0.80, 0.95)
		fmt.Printf("%.1f\n", n)
	}
	// Output:
	// 31.8
	// 3.9
}

func ExampleFiellerRatio() {
	r, _ := compare.FiellerRatio([]float64{412, 655, 301, 518, 730}, []float64{205, 160, 330, 241, 118}, 0.95)
	fmt.Printf("%.3f (%.3f to %.3f)\n", r.Ratio, r.Low, r.High)
	// Output: 0.403 (0.132 to 0.736)
}

func ExampleWidenForDrift() {
	r, _ := compare.WidenForDrift(0.55, 0.18, 6.4, 0.08, 3, 0.95)
	fmt.Printf("%.3f to %.3f\n", r.Low, r.High)
	// Output: 0.351 to 0.862
}

// Ten readings two seconds apart, clearance 0.08 per second.
func ExampleCarryOver() {
	d, _ := compare.CarryOver([]float64{80, 140, 210, 260, 240, 190, 150, 118, 92, 71}, 12, 0.08, 2)
	fmt.Printf("%.1f of %.0f\n", d.Corrected, d.Raw)
	// Output: 2183.6 of 2862
}

// Halving every 60 s is ln 2 · 60 = 41.6 per hour.
func ExampleClearanceRate() {
	c, _ := compare.ClearanceRate([]float64{0, 60, 120, 180}, []float64{1600, 800, 400, 200}, 1000, 100)
	fmt.Printf("%.1f per hour from %d readings\n", c.PerHour, c.N)
	// Output: 41.6 per hour from 3 readings
}

func ExampleVerdictFor() {
	fmt.Println(compare.VerdictFor(0.40, 0.95, 0.30))
	fmt.Println(compare.VerdictFor(0.50, 1.30, 0.30))
	// Output:
	// reduced, size uncertain
	// no reduction shown
}
