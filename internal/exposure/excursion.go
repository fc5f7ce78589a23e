package exposure

import (
	"math"
	"strings"
	"time"

	"dustlog/internal/words"
)

// PeakRule is how far and how often a mean may rise above an 8-h limit that has
// no short-term limit of its own.
type PeakRule struct {
	Name       words.Text `json:"name"`
	Source     string     `json:"source"`
	Multiple   float64    `json:"multiple"`                // of the 8-h limit, over 15 min
	Most       int        `json:"most_occasions"`          // a shift; 0: none is allowed
	Spacing    float64    `json:"least_spacing_min"`       // from the end of one to the begin of the next
	LongestMin float64    `json:"longest_min"`             // of one occasion; 0 if the rule does not say
	TotalMin   float64    `json:"most_minutes_in_a_shift"` // above the multiple; 0 if the rule does not say
	Never      float64    `json:"never_above_multiple"`    // 0 if the rule does not say
}

// The rules that go with a body's 8-h limits. All constants from memory, except
// the German factor, which TRGS 553 prints.
var (
	peakRuleACGIH = PeakRule{Name: words.Of("peak exposure rule"), Source: "ACGIH TLVs and BEIs, introduction (from memory)",
		Multiple: 3, Most: 4, Spacing: 60, LongestMin: 15, Never: 5}
	peakRuleOlder = PeakRule{Name: words.Of("older excursion rule"), Source: "ACGIH TLVs and BEIs to about 2018, still written into several laws (from memory)",
		Multiple: 3, TotalMin: 30, Most: -1, Never: 5}
	peakRuleUK      = PeakRule{Name: words.Of("three times the WEL over 15 min"), Source: "EH40 (from memory)", Multiple: 3}
	peakRuleGermany = PeakRule{Name: words.Of("exceedance factor 8"), Source: "TRGS 553 (factor), TRGS 900 (four occasions, 1 h apart; from memory)",
		Multiple: 8, Most: 4, Spacing: 60, LongestMin: 15, Never: 8}
)

// peakRule is the rule for a limit; nil where none is known.
func (l Limit) peakRule() *PeakRule {
	switch {
	case l.Averaging != EightHours || l.Ambient || l.Own || strings.Contains(l.Kind, "not a limit"):
		return nil
	case l.Body == "ACGIH":
		return &peakRuleACGIH
	case strings.HasPrefix(l.Jurisdiction, "Canada"):
		return &peakRuleOlder
	case l.Jurisdiction == "UK":
		return &peakRuleUK
	case l.Jurisdiction == "Germany" && strings.Contains(l.Kind, "AGW"):
		return &peakRuleGermany
	}
	return nil
}

// Occasion is a stretch in which the rolling 15-min mean stays above a rule's
// multiple: from the begin of its first window to the end of its last.
type Occasion struct {
	Start   time.Time `json:"start"`
	End     time.Time `json:"end"`
	Minutes float64   `json:"minutes_above"` // for which the rolling mean is above, at least one step
	Highest float64   `json:"highest_15min_mg_m3"`
}

// Excursions is how a shift stands against a peak rule. Readings count as they
// are, or with the sensor's factor where one was used.
type Excursions struct {
	Rule      PeakRule     `json:"rule"`
	Occasions []Occasion   `json:"occasions"`
	Broken    []words.Text `json:"broken"` // the rule's parts that are broken, in words
}

// peakFloor is the 15-min mean, in ng/m³ of the reading, up to which no limit's
// peak rule is touched, whatever factor is used.
func (in Input) peakFloor() float64 {
	lowest, factor := math.Inf(1), 1.0
	for _, l := range in.limits() {
		if rule := l.peakRule(); rule != nil {
			lowest = min(lowest, rule.Multiple*l.MgM3)
		}
	}
	for _, factors := range in.Factors {
		for _, f := range factors {
			factor = max(factor, f.Factor)
		}
	}
	return lowest / factor * nanogramsPerMilligram
}

// peaksOf holds the shift against the peak rule of the limit.
func (j *judgement) peaksOf(p *piece) {
	rule := j.limit.peakRule()
	if rule == nil || p.peakErr != nil || !breathes(j.position) {
		return
	}
	scale := 1 / nanogramsPerMilligram
	if j.factor.use { // the zero stays in: it is a thousandth of what a rule looks at
		scale *= j.factor.Factor.Factor
	}
	e := rule.excursions(p.peaks, j.limit.MgM3, scale)
	j.excursions = &e
}

// above is a 15-min window whose mean may matter to a peak rule.
type above struct {
	end  int64 // of the window
	mean float64
}

// excursionStepMs is the step between windows: fine enough for rules in minutes.
const excursionStepMs = int64(15_000)

// windowsAbove lists the 15-min windows with a mean above floor (ng/m³), one for
// every step, where at least 75 % was measured, and the highest of all windows.
func (s *stretch) windowsAbove(floor float64, highest Peak) (windows []above) {
	peak := above{end: highest.Start.UnixMilli() + windowMs, mean: highest.Mean}
	for t := s.from + windowMs; t <= s.to; t += excursionStepMs {
		if peak.end > t-excursionStepMs && peak.end < t {
			windows = append(windows, peak)
		}
		doseHead, msHead := s.upTo(t)
		doseTail, msTail := s.upTo(t - windowMs)
		if ms := msHead - msTail; ms >= windowNeedMs {
			if mean := (doseHead - doseTail) / float64(ms); mean > floor {
				windows = append(windows, above{end: t, mean: mean})
			}
		}
	}
	if len(windows) == 0 || windows[len(windows)-1].end < peak.end {
		windows = append(windows, peak)
	}
	return windows
}

// excursions applies a rule to a shift's windows. scale turns a window's mean
// into the value to judge, in mg/m³.
func (r PeakRule) excursions(windows []above, limit, scale float64) Excursions {
	e := Excursions{Rule: r, Occasions: []Occasion{}, Broken: []words.Text{}}
	var first, last int64 // ends of the occasion's windows
	var highest float64
	for _, w := range windows {
		x := w.mean * scale
		if x <= r.Multiple*limit {
			continue
		}
		if len(e.Occasions) == 0 || w.end-last > excursionStepMs {
			first = w.end
			e.Occasions = append(e.Occasions, Occasion{Start: time.UnixMilli(w.end - windowMs).UTC()})
		}
		last, highest = w.end, max(highest, x)
		o := &e.Occasions[len(e.Occasions)-1]
		o.End, o.Highest = time.UnixMilli(last).UTC(), max(o.Highest, x)
		o.Minutes = float64(last-first+excursionStepMs) / msPerMinute
	}
	e.Broken = r.broken(e.Occasions, highest, limit)
	return e
}

// broken lists what the occasions break.
func (r PeakRule) broken(occasions []Occasion, highest, limit float64) []words.Text {
	why := []words.Text{}
	add := func(yes bool, text words.Text) {
		if yes {
			why = append(why, text)
		}
	}
	total := 0.0
	for i, o := range occasions {
		total += o.Minutes
		add(r.LongestMin > 0 && o.Minutes > r.LongestMin, words.Of("above %s times the limit for longer than %s min at a time", number(r.Multiple), number(r.LongestMin)))
		if i > 0 {
			add(r.Spacing > 0 && o.Start.Sub(occasions[i-1].End).Minutes() < r.Spacing, words.Of("two occasions less than %s min apart", number(r.Spacing)))
		}
	}
	add(r.Most >= 0 && len(occasions) > r.Most, words.Of("%d occasions above %s times the limit, the rule allows %d", len(occasions), number(r.Multiple), r.Most))
	add(r.TotalMin > 0 && total > r.TotalMin, words.Of("%s min above %s times the limit in all, the rule allows %s", number(total), number(r.Multiple), number(r.TotalMin)))
	add(r.Never > 0 && highest > r.Never*limit, words.Of("a 15-min mean of %s mg/m³, above %s times the limit", number(highest), number(r.Never)))
	return words.Once(why)
}
