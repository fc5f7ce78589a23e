package exposure

import (
	"fmt"
	"slices"
	"strings"

	"dustlog/internal/dust"
)

// Factor turns a sensor's reading into the mass a filter sampler would find:
// mean of filter / mean of sensor over the same time, from samples side by side.
// It holds for its dust and its fraction only.
type Factor struct {
	Factor        float64  `json:"factor"`
	Fraction      Fraction `json:"fraction"`
	SpreadPercent float64  `json:"spread_percent"` // between the pairs, either way; 0 means not stated
	Source        string   `json:"source"`
	Date          string   `json:"date"`
	Material      string   `json:"material"`
}

// calibration is a factor after the question whether it may be used here.
type calibration struct {
	Factor
	use       bool
	overreads bool   // a sound factor below 1: the reading is no lower bound
	note      string // what was used, or why not; "" without a factor
}

// calibrate decides whether a sensor's factor may be used for a limit and the
// materials worked: it must be a number, of the limit's own fraction, and not be
// known to come from another dust.
func calibrate(factors map[string]Factor, sensor string, limit Limit, worked []string) calibration {
	f, ok := factors[sensor]
	if !ok {
		return calibration{}
	}
	c := calibration{Factor: f}
	if !(f.Factor > 0) || !finite(f.Factor) || !(f.SpreadPercent >= 0) || !finite(f.SpreadPercent) {
		c.note = "the sensor's factor was not used: factor and spread must be numbers above zero"
		return c
	}
	c.overreads = f.Factor < 1
	other := slices.IndexFunc(worked, func(m string) bool { return !strings.EqualFold(m, strings.TrimSpace(f.Material)) })
	switch {
	case limit.Fraction == NotStatedFraction:
		c.note = "the sensor's factor was not used: the limit's fraction is not stated"
	case f.Fraction != limit.Fraction:
		c.note = fmt.Sprintf("the sensor's factor was not used: it is for the %s fraction, the limit is for %s", f.Fraction, limit.Fraction)
	case strings.TrimSpace(f.Material) != "" && other >= 0:
		c.note = fmt.Sprintf("the sensor's factor was not used: it comes from %s, and %s was worked", f.Material, worked[other])
	default:
		c.use = true
		c.note = fmt.Sprintf("factor %s ± %s %% for the %s fraction from %s, %s, valid for that dust only",
			number(f.Factor), number(f.SpreadPercent), f.Fraction, orUnstated(f.Source, "source"), orUnstated(f.Date, "date"))
	}
	return c
}

func orUnstated(s, what string) string {
	if strings.TrimSpace(s) == "" {
		return what + " not stated"
	}
	return s
}

// low and high are the ends of what a reading may mean with the factor's spread.
func (c calibration) low(x float64) float64  { return x * c.Factor.Factor * (1 - c.SpreadPercent/100) }
func (c calibration) high(x float64) float64 { return x * c.Factor.Factor * (1 + c.SpreadPercent/100) }

// label says what the numbers stand for.
func (c calibration) label(channel dust.Channel) string {
	if !c.use {
		return channel.Label() + ", uncalibrated optical"
	}
	return fmt.Sprintf("%s, with a factor for %s", channel.Label(), c.Fraction)
}
