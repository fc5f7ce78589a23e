package calibrate

import (
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// The humidity correction.
const (
	// dryDensity of particles relative to water, as Crilley et al. 2018 take it.
	dryDensity = 1.65
	// tooHumid is where the formula is no longer used: near saturation one
	// percent of humidity changes it by a fifth (judgement, no source).
	tooHumid = 95.0
)

// Growth is how much heavier than dry an optical sensor sees dust that takes up
// water:
//
//	g = 1 + (κ/1.65)/(1/a_w − 1),  a_w = RH/100,  dry mass = reading/g
//
// κ: 0 takes up no water, 0.01–0.5 most organic matter, 0.5–1.4 salts (Petters &
// Kreidenweis 2007, ACP 7:1961). Source of the formula: Crilley et al. 2018, AMT
// 11:709. There is no default: their κ of about 0.4 is that of outdoor air full
// of sulfate and nitrate. Nothing is published for fresh wood dust; most of it
// is coarse and barely soluble, so an outdoor κ would take away dust that is
// there.
func Growth(kappa, rhPercent float64) (float64, error) {
	if !(kappa >= 0) || kappa > 2 {
		return 0, fmt.Errorf("humidity: κ is %g: give 0 to 2, and only one that was measured for this dust", kappa)
	}
	if !(rhPercent >= 0 && rhPercent < 100) {
		return 0, fmt.Errorf("humidity: %g %% is outside 0 to below 100 %%", rhPercent)
	}
	aw := rhPercent / 100
	return 1 + kappa/dryDensity*aw/(1-aw), nil
}

// Dried is a series with the humidity correction, and what it could not reach.
type Dried struct {
	Series    *dust.Series
	Corrected int // readings
	Unknown   int // without a humidity of the time: left as they are
	TooHumid  int // above 95 %: left as they are
}

// Dry returns a mass series as it would read in dry air, by the humidity that the
// same sensor sent with each reading. The series given stays as it is.
func Dry(mass, humidity *dust.Series, kappa float64) (Dried, error) {
	if _, err := Growth(kappa, 0); err != nil {
		return Dried{}, err
	}
	d := Dried{Series: dust.NewSeries(mass.Sensor, mass.Channel)}
	d.Series.Hold = mass.Hold
	j := 0
	for i := range mass.Len() {
		at, value, flags := mass.At(i)
		for j+1 < humidity.Len() && !timeOf(humidity, j+1).After(at) {
			j++
		}
		value = d.one(value, at, humidity, j, kappa)
		if err := d.Series.Append(at, value, flags); err != nil {
			return d, fmt.Errorf("humidity: %w", err)
		}
	}
	d.Series.FitHold()
	return d, nil
}

func timeOf(s *dust.Series, i int) time.Time {
	at, _, _ := s.At(i)
	return at
}

// one corrects one reading by reading j of the humidity, the last before it.
func (d *Dried) one(value float64, at time.Time, humidity *dust.Series, j int, kappa float64) float64 {
	if j >= humidity.Len() {
		d.Unknown++
		return value
	}
	then, rh, _ := humidity.At(j)
	switch {
	case then.After(at) || at.Sub(then) > humidity.LongestHold() || !(rh >= 0):
		d.Unknown++
		return value
	case rh > tooHumid:
		d.TooHumid++
		return value
	}
	growth, err := Growth(kappa, rh)
	if err != nil { // κ was checked and rh is in range
		d.Unknown++
		return value
	}
	d.Corrected++
	return value / growth
}
