package exposure

import (
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Factor turns a sensor's reading into the mass a filter sampler would find:
// mean of filter / mean of sensor over the same time, from samples side by side.
// It holds for its dust, its fraction and its days only.
type Factor struct {
	ID            string   `json:"id"` // of the stored calibration; "" for one from the configuration
	Factor        float64  `json:"factor"`
	Fraction      Fraction `json:"fraction"`
	Metric        string   `json:"metric"`         // channel it holds for; "" for any
	SpreadPercent float64  `json:"spread_percent"` // between the pairs, either way; 0 means not stated
	// UncertaintyPercent is that of one new shift, 95 %: the true factor of the
	// shift lies between Factor / (1 + u) and Factor · (1 + u). 0 means not
	// stated; the spread then stands in for it.
	UncertaintyPercent float64 `json:"uncertainty_percent"`
	Pairs              int     `json:"pairs"` // of filter and sensor; 0 means not stated
	Source             string  `json:"source"`
	Date               string  `json:"date"`              // of the last pair, 2006-01-02
	ValidFrom          string  `json:"valid_from"`        // first day; "" for any
	Expires            string  `json:"expires"`           // last day; "" for none
	Material           string  `json:"material"`          // "" for any
	Task               string  `json:"task"`              // "" for any
	Season             string  `json:"season"`            // told, not asked about
	ZeroMgM3           float64 `json:"zero_offset_mg_m3"` // taken off a reading before the factor
	// Unusable says why no finding may rest on it, whatever the dust.
	Unusable string `json:"unusable,omitempty"`
}

// stated reports whether anything is known of the factor's error.
func (f Factor) stated() bool { return f.UncertaintyPercent > 0 || f.SpreadPercent > 0 }

// doubt is the word for what is known of the factor's error.
func (f Factor) doubt() words.Text {
	if f.UncertaintyPercent > 0 {
		return words.Of("uncertainty")
	}
	return words.Of("spread")
}

// limits are what the factor may be in one new shift.
func (f Factor) limits() (low, high float64) {
	if u := f.UncertaintyPercent / 100; u > 0 {
		return f.Factor / (1 + u), f.Factor * (1 + u)
	}
	return f.Factor * (1 - f.SpreadPercent/100), f.Factor * (1 + f.SpreadPercent/100)
}

// faulty reports whether the numbers are not those of a factor.
func (f Factor) faulty() bool {
	return !(f.Factor > 0) || !finite(f.Factor) || !(f.SpreadPercent >= 0) || !finite(f.SpreadPercent) ||
		!(f.UncertaintyPercent >= 0) || !finite(f.UncertaintyPercent) || !(f.ZeroMgM3 >= 0) || !finite(f.ZeroMgM3)
}

// name is how messages call the factor: "calibration 7 of 2026-02-01".
func (f Factor) name() words.Text {
	if f.ID != "" {
		return words.Of("calibration %s of %s", f.ID, orUnstatedDate(f.Date))
	}
	return words.Of("%s, %s", orUnstatedSource(f.Source), orUnstatedDate(f.Date))
}

// describe is the factor with its error, as a finding names it.
func (f Factor) describe() words.Text {
	low, high := f.limits()
	error := words.Of("± %s %%", number(f.SpreadPercent))
	if f.UncertaintyPercent > 0 {
		error = words.Of("(95 %% for one new shift: %s to %s)", number(low), number(high))
	}
	text := words.Of("factor %s %s for the %s fraction from %s", number(f.Factor), error, f.Fraction.Text(), f.name())
	if f.ID != "" && strings.TrimSpace(f.Source) != "" {
		text = words.Of("%s, %s", text, f.Source)
	}
	return words.Of("%s, valid for that dust only", text)
}

// factorUse is what a factor is wanted for.
type factorUse struct {
	limit     Limit
	channel   dust.Channel
	date      string   // of the shift, 2006-01-02
	materials []string // that the diary names
	tasks     []string
}

// against says why the factor may not be used; nothing if it may.
func (f Factor) against(u factorUse) words.Text {
	other := func(name string, worked []string) int {
		if strings.TrimSpace(name) == "" {
			return -1
		}
		return slices.IndexFunc(worked, func(w string) bool { return !strings.EqualFold(strings.TrimSpace(w), strings.TrimSpace(name)) })
	}
	switch {
	case f.faulty():
		return words.Of("factor, spread, uncertainty and zero must be numbers, the factor above zero")
	case f.Unusable != "":
		return words.Of("no finding may rest on it: %s", f.Unusable)
	case u.limit.Fraction == NotStatedFraction:
		return words.Of("the limit's fraction is not stated")
	case f.Fraction != u.limit.Fraction:
		return words.Of("it is for the %s fraction, the limit is for %s", f.Fraction.Text(), u.limit.Fraction.Text())
	case f.Metric != "" && f.Metric != u.channel.Metric():
		return words.Of("it is for %s, this is %s", f.Metric, u.channel.Metric())
	case f.ValidFrom != "" && u.date < f.ValidFrom:
		return words.Of("it holds from %s on", words.Day(f.ValidFrom))
	case f.Expires != "" && u.date > f.Expires:
		return words.Of("it expired after %s", words.Day(f.Expires))
	}
	if i := other(f.Material, u.materials); i >= 0 {
		return words.Of("it comes from %s, and %s was worked", f.Material, u.materials[i])
	}
	if i := other(f.Task, u.tasks); i >= 0 {
		return words.Of("it comes from %s, and %s was done", f.Task, u.tasks[i])
	}
	return words.Text{}
}

// fit ranks factors that may be used: the one that names the dust and the task
// before one for any, then the newer.
func (f Factor) fit(u factorUse) (rank int) {
	if strings.TrimSpace(f.Material) != "" && len(u.materials) > 0 {
		rank += 2
	}
	if strings.TrimSpace(f.Task) != "" && len(u.tasks) > 0 {
		rank++
	}
	return rank
}

// since is the day that decides which of two equal factors is the newer one.
func (f Factor) since() string {
	if f.ValidFrom != "" {
		return f.ValidFrom
	}
	return f.Date
}

// calibration is the factor chosen for a use.
type calibration struct {
	Factor
	use       bool
	overreads bool       // a sound factor below 1: the reading is no lower bound
	note      words.Text // what was used, or why nothing was; nothing without a factor
}

// calibrate chooses among a sensor's factors the one that may be used and fits
// best. If none may be used, the note says why not, for each.
func calibrate(factors []Factor, u factorUse) calibration {
	var c calibration
	var refused []words.Text
	for _, f := range factors {
		c.overreads = c.overreads || !f.faulty() && f.Factor < 1
		if why := f.against(u); !why.IsZero() {
			refused = append(refused, f.refusal(why, len(factors)))
			continue
		}
		rank, best := f.fit(u), c.Factor.fit(u)
		if !c.use || rank > best || rank == best && f.since() >= c.since() {
			c.Factor, c.use = f, true
		}
	}
	switch {
	case c.use:
		c.overreads = c.Factor.Factor < 1
		c.note = c.assumed(u, c.describe())
	case len(factors) == 1:
		c.Factor = factors[0]
		c.note = words.Of("the sensor's factor was not used: %s", refused[0])
	case len(factors) > 1:
		c.note = words.Of("none of the sensor's %d factors was used: %s", len(factors), words.Join(", ", refused...))
	}
	return c
}

func (f Factor) refusal(why words.Text, of int) words.Text {
	if of == 1 && f.ID == "" {
		return why
	}
	return words.Of("%s: %s", f.name(), why)
}

// assumed adds to a text what is taken for granted where the diary is silent, and what is
// old.
func (f Factor) assumed(u factorUse, text words.Text) words.Text {
	if strings.TrimSpace(f.Material) != "" && len(u.materials) == 0 {
		text = words.Of("%s (%s, which the diary does not name)", text, f.Material)
	}
	if strings.TrimSpace(f.Task) != "" && len(u.tasks) == 0 {
		text = words.Of("%s (%s, which the diary does not name)", text, f.Task)
	}
	made, err1 := time.Parse(time.DateOnly, f.Date)
	day, err2 := time.Parse(time.DateOnly, u.date)
	if f.Expires == "" && err1 == nil && err2 == nil && day.After(made.AddDate(1, 0, 0)) {
		text = words.Of("%s (more than a year old)", text)
	}
	return text
}

func orUnstatedDate(s string) any {
	if strings.TrimSpace(s) == "" {
		return words.Of("date not stated")
	}
	return words.Day(s)
}

func orUnstatedSource(s string) any {
	if strings.TrimSpace(s) == "" {
		return words.Of("source not stated")
	}
	return s
}

// net is a reading (mg/m³) less the sensor's zero, of which it holds a share:
// that of the averaging time for which the sensor spoke.
func (c calibration) net(x, share float64) float64 { return max(0, x-c.ZeroMgM3*share) }

// label says what the numbers stand for.
func (c calibration) label(channel dust.Channel) words.Text {
	if !c.use {
		return words.Of("%s, uncalibrated optical", ChannelText(channel))
	}
	return words.Of("%s, with a factor for %s", ChannelText(channel), c.Fraction.Text())
}

// spoken is the share of the averaging time for which the sensor spoke, in value
// and in upper.
func (j judgement) spoken() (value, upper float64) {
	if j.limit.Averaging == FifteenMinutes {
		return 1, 1 // the mean is over the measured part
	}
	hours := float64(j.hours.Milliseconds())
	return float64(j.m.ms) / hours, float64(j.m.length().Milliseconds()) / hours
}

// withFactor is the compared value with the factor, and its 95 % limits in this
// one shift, for the time that was measured.
func (j judgement) withFactor() (x, low, high float64) {
	share, _ := j.spoken()
	net := j.factor.net(*j.value, share)
	least, most := j.factor.limits()
	return net * j.factor.Factor.Factor, net * least, net * most
}

// atMost is the upper limit with unmeasured time like the measured.
func (j judgement) atMost() float64 {
	_, share := j.spoken()
	_, most := j.factor.limits()
	return j.factor.net(*j.upper, share) * most
}
