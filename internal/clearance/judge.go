package clearance

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"dustlog/internal/words"
)

// What a record must show before a rate is said. The first two tell a background
// from a slow tail; the last two are our choice, no published source.
const (
	visible     = 3.0 // C0 must be above this many times the background
	longEnough  = 2.0 // record length in units of 1/λ, background fitted
	fixedEnough = 0.5 // the same with a background from elsewhere
	surely      = 3.0 // C0 − Cbg in standard uncertainties of a fixed background
)

// Judge fits a decay with the background free if the record can tell it, else
// with the background from elsewhere (nil: none is known). why says nothing where it
// can tell; then f is the fit. An error means values that cannot be used at all.
func Judge(hours, c []float64, elsewhere *Background, o Options) (f Fit, why words.Text, err error) {
	if _, err := checkDecay(hours, c); err != nil {
		return Fit{}, words.Text{}, err
	}
	o.Fixed = nil
	free, why := judgeFree(hours, c, o)
	if why.IsZero() {
		return free, words.Text{}, nil
	}
	if elsewhere == nil {
		return Fit{}, words.Of("%s, and no background is known from elsewhere", why), nil
	}
	o.Fixed = elsewhere
	fixed, against := judgeFixed(hours, c, o)
	if against.String() == why.String() {
		return Fit{}, why, nil
	}
	if !against.IsZero() {
		return Fit{}, words.Of("%s; with the %s, %s", why, elsewhere.Kind, against), nil
	}
	return fixed, words.Text{}, nil
}

func judgeFree(hours, c []float64, o Options) (Fit, words.Text) {
	f, err := FitDecay(hours, c, o)
	switch {
	case err != nil:
		return f, reason(err)
	case f.C0 <= visible*f.Background:
		return f, words.Of("the level at the start is only %.1f times the background", f.C0/f.Background)
	case f.Hours*f.PerHour < longEnough:
		return f, words.Of("the record of %.0f min is %.1f times 1/λ, %g times is needed to tell the background", f.Hours*60, f.Hours*f.PerHour, longEnough)
	case !(f.Low > 0):
		return f, words.Of("the scatter is so wide that the rate may be zero")
	}
	return f, words.Text{}
}

func judgeFixed(hours, c []float64, o Options) (Fit, words.Text) {
	f, err := FitDecay(hours, c, o)
	switch {
	case err != nil:
		return f, reason(err)
	case f.excess() <= surely*o.Fixed.U:
		return f, words.Of("the level at the start, %.3g, is not clearly above it", f.C0)
	case f.Hours*f.PerHour < fixedEnough:
		return f, words.Of("the record of %.0f min is only %.1f times 1/λ", f.Hours*60, f.Hours*f.PerHour)
	case !(f.Low > 0):
		return f, words.Of("the scatter is so wide that the rate may be zero")
	}
	return f, words.Text{}
}

// noFallingCurve is said of every record that no decay fits. Whether least squares
// then end off a minimum or in a rising curve hangs on the last bits of a sum, and so
// on the kind of processor.
func noFallingCurve() words.Text { return words.Of("no falling curve fits") }

// noRate is why there is no rate, as an error of a kind.
type noRate struct {
	text words.Text
	kind error
}

func (e *noRate) Error() string { return "decay: " + e.text.String() + ": " + e.kind.Error() }
func (e *noRate) Unwrap() error { return e.kind }

// reason is what an error says to people.
func reason(err error) words.Text {
	if errors.Is(err, ErrNoFit) {
		return noFallingCurve()
	}
	if e := (*noRate)(nil); errors.As(err, &e) {
		return e.text
	}
	return words.Literal(strings.TrimPrefix(err.Error(), "decay: "))
}

// ToLevel is the time from the start of the record until this decay is at a
// level.
//
//	t = ln[(C0 − Cbg)/(L − Cbg)]/λ
//
// The interval is by the delta method with the covariance of all three. Errors
// wrap ErrNoFall where the background is not below the level.
type ToLevel struct {
	Minutes, Low, High float64 // High is infinite if the background may not be below the level
	BeyondRecord       bool    // the level was not reached within the record: extrapolated
}

// MinutesTo is ToLevel for a level in the unit of C.
func (f Fit) MinutesTo(level float64) (ToLevel, error) {
	over := level - f.Background
	if !(over > 0) {
		return ToLevel{}, fmt.Errorf("level %.3g: %w: the background is %.3g, so clearing does not reach it", level, ErrNoFall, f.Background)
	}
	if level >= f.C0 {
		return ToLevel{}, nil
	}
	t := math.Log(f.excess()/over) / f.PerHour
	g := [3]float64{1 / (over * f.PerHour), 1 / (f.excess() * f.PerHour), -t / f.PerHour}
	var v float64
	for a := range 3 {
		for b := range 3 {
			v += g[a] * g[b] * f.cov.At(a, b)
		}
	}
	half := tQuantile(0.975, f.DF) * math.Sqrt(v)
	to := ToLevel{Minutes: 60 * t, Low: max(60*(t-half), 0), High: 60 * (t + half), BeyondRecord: t > f.Hours}
	if level <= f.backgroundHigh() {
		to.High = math.Inf(1)
	}
	return to, nil
}

// backgroundHigh is the one-sided 95 % upper limit of the background.
func (f Fit) backgroundHigh() float64 {
	return f.Background + tQuantile(0.95, f.DF)*math.Sqrt(f.cov.At(0, 0))
}
