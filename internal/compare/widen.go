package compare

import (
	"fmt"
	"math"
)

// part is one part of the uncertainty of ln ratio: its standard uncertainty and
// degrees of freedom. The zero part adds nothing.
type part struct{ u, df float64 }

// combine adds independent parts: variances add, degrees of freedom by Welch and
// Satterthwaite, ν = (Σu²)²/Σ(u⁴/ν). Source: JCGM 100:2008, G.4.
func combine(parts ...part) part {
	var variance, sum float64
	for _, p := range parts {
		if p.u > 0 {
			variance += p.u * p.u
			sum += p.u * p.u * p.u * p.u / p.df
		}
	}
	if variance == 0 {
		return part{}
	}
	return part{math.Sqrt(variance), variance * variance / sum}
}

// WidenForDrift adds a sensor's drift to the interval of a ratio. se is the
// standard error of ln ratio with df degrees of freedom, u the standard
// uncertainty of the drift in ln units with nu degrees of freedom:
// se² → se² + u², degrees of freedom by Welch and Satterthwaite.
// Source: JCGM 100:2008, G.4. Domain: ratio, df, nu > 0; se, u ≥ 0, not both zero.
func WidenForDrift(ratio, se, df, u, nu, confidence float64) (LogRatio, error) {
	if !(ratio > 0 && df > 0 && nu > 0 && se >= 0 && u >= 0) {
		return LogRatio{}, fmt.Errorf("ratio %g, se %g (df %g), drift %g (df %g): %w", ratio, se, df, u, nu, ErrNotPositive)
	}
	total := combine(part{se, df}, part{u, nu})
	return fromT(math.Log(ratio), total.u, total.df, confidence)
}

// drift is the sensor's drift as a part of the uncertainty.
func (st *study) drift() part { return part{st.in.DriftU, st.in.DriftDF} }

// widen adds parts to the interval on logarithms.
func (a *analysis) widen(parts ...part) {
	extra := combine(parts...)
	if !a.ok || !(extra.u > 0) {
		return
	}
	total := combine(part{a.ratio.SE, a.ratio.DF}, extra)
	if wide, err := fromT(math.Log(a.ratio.Ratio), total.u, total.df, a.ratio.confidence); err == nil {
		a.ratio = wide
	}
}

// widenArithmetic moves the limits of a ratio of arithmetic means apart. Their
// distances from it in ln units grow as those of a standard error would:
// to √(distance² + (t·u)²). An approximation: Fieller's limits are not symmetric.
func (a *analysis) widenArithmetic(st *study) {
	extra := combine(a.arithmeticBackground(st), st.drift())
	ratio := a.pointRatio()
	if !(extra.u > 0) || !(ratio > 0) || math.IsNaN(a.low) {
		return
	}
	t := tQuantile(1-(1-st.in.Confidence)/2, extra.df) * extra.u
	apart := func(limit float64) float64 { return math.Hypot(math.Log(limit/ratio), t) }
	if a.low > 0 {
		a.low = ratio * math.Exp(-apart(a.low))
	}
	a.high = ratio * math.Exp(apart(a.high))
}

// shifts tells how each sample's ln value moves with a and b of the background.
type shifts struct{ a, b []float64 }

func (s *shifts) add(byA, byB float64) { s.a, s.b = append(s.a, byA), append(s.b, byB) }

// sharedError is what the uncertainty of the background adds to ln ratio. It is
// shared by all runs: with the derivatives dA and dB of ln ratio it is
// u² = dA²·s²(a) + dB²·s²(b) + 2·dA·dB·cov(a, b). Source: JCGM 100:2008, 5.2.2.
func (st *study) sharedError(g *ground, samples []sample, moves shifts, e estimate) part {
	if !(g.varA > 0) || !e.hasPoint() || math.IsNaN(e.point()) {
		return part{}
	}
	// The estimate is linear in the ln values, so a step of one is exact.
	derivative := func(by []float64) float64 {
		moved := make([]sample, len(samples))
		for i, s := range samples {
			s.y += by[i]
			moved[i] = s
		}
		m := estimateChange(moved, st.in.Confidence)
		return m.mean[after] - m.mean[before] - (e.mean[after] - e.mean[before])
	}
	return g.spreadTo(derivative(moves.a), derivative(moves.b))
}

// spreadTo is the uncertainty of a result with these derivatives to a and b.
func (g *ground) spreadTo(dA, dB float64) part {
	variance := dA*dA*g.varA + dB*dB*g.varB + 2*dA*dB*g.cov
	if !(variance > 0) || math.IsInf(variance, 1) || !(g.df > 0) {
		return part{}
	}
	return part{math.Sqrt(variance), g.df}
}

// arithmeticBackground is sharedError for a ratio of arithmetic session means.
func (a *analysis) arithmeticBackground(st *study) part {
	var g *ground
	if g = a.ground; g == nil || !(g.varA > 0) {
		return part{}
	}
	derivative := func(by func(net) float64) float64 {
		var sum, n [sides]float64
		for i, x := range st.sessions {
			if m := a.sessionMean(st, i, by); a.used[i] && !math.IsNaN(m) {
				sum[x.side] += m
				n[x.side]++
			}
		}
		return sum[after]/n[after]/a.mean[after] - sum[before]/n[before]/a.mean[before]
	}
	p := g.spreadTo(derivative(func(n net) float64 { return n.byA }), derivative(func(n net) float64 { return n.byB }))
	a.background = p
	return p
}
