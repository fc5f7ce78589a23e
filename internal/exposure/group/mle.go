package group

import (
	"errors"
	"fmt"
	"math"
)

// CensoredMLE is the lognormal distribution most likely to give the values.
type CensoredMLE struct {
	Mu, Sigma float64 // of ln(mg/m³); σ as the likelihood has it, divisor n
	LogLik    float64 // of the logarithms
	N         int
}

// FitMLE maximises
//
//	Σ_detected ln[φ((y−µ)/σ)/σ] + Σ_below ln Φ((c−µ)/σ)
//
// in θ = 1/σ and γ = µ/σ, where it is concave, by Newton's method. Source: Helsel
// 2012, ch. 6; Olsen 1978, Econometrica 46:1211 for θ and γ. It needs three detected
// values, not all the same.
func FitMLE(values []Value) (CensoredMLE, error) {
	var detected, below []float64
	for _, v := range values {
		if v.Below {
			below = append(below, math.Log(v.MgM3))
		} else {
			detected = append(detected, math.Log(v.MgM3))
		}
	}
	if len(detected) < fewestForSpread {
		return CensoredMLE{}, fmt.Errorf("of the detected shifts: %w", TooFewError{Have: len(detected), Need: fewestForSpread})
	}
	start := fitLogs(detected)
	if !(start.SD > noSpread) {
		return CensoredMLE{}, ErrNoSpread
	}
	// About the mean of the detected values the two parameters hardly interfere.
	for i := range detected {
		detected[i] -= start.Mean
	}
	for i := range below {
		below[i] -= start.Mean
	}
	theta, gamma := 1/start.SD, 0.0
	lik := newTobit(detected, below, theta, gamma)
	for range 200 {
		dTheta, dGamma := lik.newton()
		step := 1.0
		next := newTobit(detected, below, theta+dTheta, gamma+dGamma)
		for ; !(next.value >= lik.value) && step > 1e-9; step /= 2 {
			next = newTobit(detected, below, theta+step/2*dTheta, gamma+step/2*dGamma)
		}
		if !(next.value >= lik.value) {
			next = lik
		}
		theta, gamma, lik = next.theta, next.gamma, next
		if math.Abs(dTheta) <= 1e-12*theta && math.Abs(dGamma) <= 1e-12*(1+math.Abs(gamma)) {
			break
		}
	}
	if !positive(theta) || math.IsNaN(gamma) || !positive(1/theta) {
		return CensoredMLE{}, errors.New("the likelihood has no highest point: too much lies below detection")
	}
	return CensoredMLE{Mu: start.Mean + gamma/theta, Sigma: 1 / theta, LogLik: lik.value, N: len(values)}, nil
}

// tobit is the log-likelihood at one (θ, γ) with its slope and curvature.
type tobit struct {
	theta, gamma float64
	value        float64
	gT, gG       float64
	hTT, hTG     float64
	hGG          float64
}

func newTobit(detected, below []float64, theta, gamma float64) tobit {
	l := tobit{theta: theta, gamma: gamma, value: math.Inf(-1)}
	if !(theta > 0) {
		return l
	}
	l.value = float64(len(detected)) * (math.Log(theta) - math.Log(2*math.Pi)/2)
	for _, y := range detected {
		r := theta*y - gamma
		l.value -= r * r / 2
		l.gT += 1/theta - r*y
		l.gG += r
		l.hTT -= 1/(theta*theta) + y*y
		l.hTG += y
		l.hGG--
	}
	for _, c := range below {
		x := theta*c - gamma
		logCDF := logNormalCDF(x)
		hazard := math.Exp(-x*x/2 - math.Log(2*math.Pi)/2 - logCDF) // φ(x)/Φ(x)
		curve := hazard * (x + hazard)
		l.value += logCDF
		l.gT += hazard * c
		l.gG -= hazard
		l.hTT -= curve * c * c
		l.hTG += curve * c
		l.hGG -= curve
	}
	return l
}

// newton is the step to where the slope would vanish if the curvature stayed.
func (l tobit) newton() (dTheta, dGamma float64) {
	det := l.hTT*l.hGG - l.hTG*l.hTG
	return (-l.gT*l.hGG + l.gG*l.hTG) / det, (-l.gG*l.hTT + l.gT*l.hTG) / det
}

// Mean is e^(µ + σ²/2), mg/m³.
func (m CensoredMLE) Mean() float64 { return math.Exp(m.Mu + m.Sigma*m.Sigma/2) }

// StdDev is Mean·√(e^σ² − 1), mg/m³.
func (m CensoredMLE) StdDev() float64 { return m.Mean() * math.Sqrt(math.Expm1(m.Sigma*m.Sigma)) }

// Lognormal takes σ to the divisor n−1, so that without censoring it is the
// ordinary fit.
func (m CensoredMLE) Lognormal() Lognormal {
	n := float64(m.N)
	return Lognormal{N: m.N, Mean: m.Mu, SD: m.Sigma * math.Sqrt(n/(n-1))}
}
