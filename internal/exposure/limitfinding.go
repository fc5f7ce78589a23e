package exposure

import (
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// LimitFinding is one sensor over one shift against one limit.
type LimitFinding struct {
	LimitID   string    `json:"limit_id"`
	Label     string    `json:"limit"`
	LimitMgM3 float64   `json:"limit_mg_m3"`
	Averaging Averaging `json:"averaging"`
	// Bearing says whether it is the limit for the wood of the diary; Governs,
	// whether it is the lowest of those asked about, of one averaging time, that
	// may bear. Where the wood is not known, the lowest governs.
	Bearing    Bearing    `json:"bearing"`
	BearingWhy words.Text `json:"bearing_why,omitzero"`
	Governs    bool       `json:"governs"`

	ComparedOverMinutes float64    `json:"compared_over_minutes"`
	Fraction            words.Text `json:"fraction"`       // what was compared, in words
	ComparedMgM3        *float64   `json:"compared_mg_m3"` // the sensor's own reading
	Factor              *Factor    `json:"factor"`
	WithFactor          *float64   `json:"compared_with_factor_mg_m3"`
	// WithFactorLow and WithFactorHigh are the 95 % limits that the factor leaves
	// for this one shift.
	WithFactorLow  *float64   `json:"compared_with_factor_low_mg_m3"`
	WithFactorHigh *float64   `json:"compared_with_factor_high_mg_m3"`
	ShareOfLimit   *float64   `json:"share_of_limit"`             // of the adjusted limit if there is one
	ShareIsAtLeast bool       `json:"share_of_limit_is_at_least"` // as in ShiftResult
	Finding        Finding    `json:"finding"`
	Why            words.Text `json:"why"`

	Adjusted   *Adjusted   `json:"adjusted_for_long_shift"` // nil if the limit stands as it is
	Excursions *Excursions `json:"excursions"`              // nil if no rule goes with the limit, or nothing was measured
}

// limits are all limits asked about, the chosen one first.
func (in Input) limits() []Limit { return append([]Limit{in.Limit}, in.Also...) }

// againstLimits judges a shift by every limit.
func (a *Assessor) againstLimits(shift dust.Shift, t *Track, p *piece, m measured, tasks []dust.Task) []LimitFinding {
	worked, all := materials(tasks, shift)
	wood, known := WoodOf(strings.Join(worked, ","), a.in.Materials)
	var findings []LimitFinding
	for _, l := range a.in.limits() {
		j := judgement{
			limit: l, channel: t.channel, position: t.sensor.Position, declared: a.in.DeclaredShift, m: m,
			factor:   calibrate(a.in.Factors[t.sensor.Name], factorUse{l, t.channel, shift.Date, worked, tasksIn(tasks, shift)}),
			adjusted: l.adjust(a.in.LongShifts, shift.Duration(), a.weekOf(shift)),
		}
		j.bearing, j.bearingWhy = l.bearing(wood, known && all, worked)
		j.compare(p.peak, p.peakErr)
		j.peaksOf(p)
		findings = append(findings, j.finding())
	}
	govern(findings)
	return findings
}

// govern marks, for each averaging time, the lowest limit that may bear.
func govern(findings []LimitFinding) {
	lowest := map[Averaging]int{}
	for i, f := range findings {
		k, seen := lowest[f.Averaging]
		if f.Bearing != DoesNotApply && (!seen || f.LimitMgM3 < findings[k].LimitMgM3) {
			lowest[f.Averaging] = i
		}
	}
	for _, i := range lowest {
		findings[i].Governs = true
	}
}

// finding is what the judgement comes to.
func (j judgement) finding() LimitFinding {
	f := LimitFinding{
		LimitID: j.limit.ID, Label: j.limit.Label(), LimitMgM3: j.limit.MgM3, Averaging: j.limit.Averaging,
		Bearing: j.bearing, BearingWhy: j.bearingWhy, ComparedOverMinutes: j.hours.Minutes(), ComparedMgM3: j.value,
		Fraction: j.factor.label(j.channel),
		Adjusted: j.adjusted, Excursions: j.excursions,
	}
	f.Finding, f.Why = j.decide()
	if j.value == nil || !breathes(j.position) {
		return f // where nobody breathes there is no share of a limit
	}
	x := *j.value
	if j.factor.use {
		var low, high float64
		x, low, high = j.withFactor()
		f.Factor, f.WithFactor, f.WithFactorLow, f.WithFactorHigh = &j.factor.Factor, &x, &low, &high
	}
	ratio := x / j.mgM3()
	if !finite(ratio) || f.WithFactorHigh != nil && !finite(*f.WithFactorHigh) {
		f.WithFactor, f.WithFactorLow, f.WithFactorHigh = nil, nil, nil
		return f
	}
	f.ShareOfLimit, f.ShareIsAtLeast = &ratio, f.WithFactor == nil
	if j.adjusted != nil {
		j.adjusted.MeanMgM3 = &x
	}
	return f
}

// take makes a limit's finding that of the shift.
func (r *ShiftResult) take(f LimitFinding) {
	r.ComparedOverMinutes, r.Factor, r.ShareOfLimit, r.ShareIsAtLeast = f.ComparedOverMinutes, f.Factor, f.ShareOfLimit, f.ShareIsAtLeast
	r.WithFactor, r.WithFactorLow, r.WithFactorHigh = f.WithFactor, f.WithFactorLow, f.WithFactorHigh
	r.Fraction, r.Finding, r.Why = f.Fraction, f.Finding, f.Why
}

// tellTasks says what each task adds to the shift's numbers, and what the shift
// would come to with unmeasured time like the worst of them.
func (r *ShiftResult) tellTasks(m *measured) {
	var worst *float64
	for i := range r.TaskDoseShares {
		d := &r.TaskDoseShares[i]
		d.TWA8hPart = milligrams(d.Share * m.dose / float64(eightHoursMs))
		if d.Minutes > 0 {
			d.MeanMgM3 = milligrams(d.Share * m.dose / (d.Minutes * msPerMinute))
		}
		// A task of seconds says little about hours.
		if d.MeanMgM3 != nil && d.Minutes >= 1 && (worst == nil || *d.MeanMgM3 > *worst) {
			worst, r.WorstTask = d.MeanMgM3, d.Task
		}
	}
	if worst == nil || r.TWA8h == nil {
		return
	}
	missing := float64(m.length().Milliseconds() - m.ms)
	filled := *r.TWA8h + *worst*missing/float64(eightHoursMs)
	r.TWA8hWorst = &filled
}

// weekOf is the working time of all shifts that begin in the ISO week of a
// shift, by the dates on which they begin.
func (a *Assessor) weekOf(shift dust.Shift) (total time.Duration) {
	year, week, ok := isoWeek(shift)
	if !ok {
		return shift.Duration()
	}
	for _, s := range a.closed {
		if y, w, _ := isoWeek(s); y == year && w == week {
			total += s.Duration()
		}
	}
	return total
}

func isoWeek(s dust.Shift) (year, week int, ok bool) {
	day, err := time.Parse(time.DateOnly, s.Date)
	if err != nil {
		return 0, 0, false
	}
	year, week = day.ISOWeek()
	return year, week, true
}

func longest(shifts []dust.Shift) (most time.Duration) {
	for _, s := range shifts {
		most = max(most, s.Duration())
	}
	return most
}

// materials are those the diary names in a shift. all is false if a task of the
// shift has none.
func materials(tasks []dust.Task, shift dust.Shift) (found []string, all bool) {
	all = true
	for _, t := range tasks {
		if !t.Start.Before(shift.End) || !t.Stop.After(shift.Start) {
			continue
		}
		name := strings.TrimSpace(t.Material)
		all = all && name != ""
		if name != "" && !slices.Contains(found, name) {
			found = append(found, name)
		}
	}
	return found, all
}

// tasksIn are the tasks of the diary that share time with a shift.
func tasksIn(tasks []dust.Task, shift dust.Shift) (names []string) {
	for _, t := range tasks {
		if t.Start.Before(shift.End) && t.Stop.After(shift.Start) && !slices.Contains(names, t.Name) {
			names = append(names, t.Name)
		}
	}
	return names
}
