package compare

import (
	"errors"
	"maps"
	"math"
	"slices"
)

// Fewest sessions per setup, and fewest days with both, that an interval is
// drawn from.
const (
	fewestSessions   = 3
	fewestPairedDays = 3
)

type side int

const (
	before side = iota
	after
	sides
)

// sample is ln of one run's value with what the estimator needs to know of it.
type sample struct {
	observation
	side side
	day  string
}

// estimate is the effect of the change on one quantity.
type estimate struct {
	paired  bool
	n       [sides]int     // units that went in
	mean    [sides]float64 // mean ln value, at the common task mix
	ratio   LogRatio
	ok      bool // ratio holds an interval
	perm    Permutation
	units   [sides][]float64 // the values themselves, ln; of paired days in the order of days
	spread  float64          // sd of the units within a setup (paired: of daily differences), ln
	effects map[int]float64  // ln session values, every session that could be placed
	used    map[int]bool     // sessions in the estimate

	lonelyTasks []string // seen under one setup only
	unlinked    []int    // sessions that share no task with the others
	pooledDays  bool     // several sessions of a setup on a day were taken as one
	trouble     error    // why there is no interval
}

// estimateChange is the default method on ln values: session effects, then one
// difference per day where three days hold both setups, else Welch's t.
func estimateChange(samples []sample, confidence float64) estimate {
	var e estimate
	samples, e.lonelyTasks = dropLonelyTasks(samples)
	samples, e.unlinked = keepLinked(samples)
	if len(samples) == 0 {
		e.trouble = ErrTooFew
		return e
	}
	effects, err := fitSessions(observations(samples))
	if err != nil {
		e.trouble = err
		return e
	}
	e.effects = effects
	days := byDay(samples, effects)
	if both := daysWithBoth(days); len(both) >= fewestPairedDays {
		e.pairDays(both, confidence)
		return e
	}
	e.compareSessions(days, confidence)
	return e
}

// dayUnits are the sessions of one day.
type dayUnits struct {
	day     string
	session [sides][]int
	value   [sides][]float64
}

func (d dayUnits) both() bool { return len(d.value[before]) > 0 && len(d.value[after]) > 0 }

// byDay sorts the session effects into days, in order.
func byDay(samples []sample, effects map[int]float64) []dayUnits {
	days := map[string]*dayUnits{}
	seen := map[int]bool{}
	bySession := slices.Clone(samples)
	slices.SortStableFunc(bySession, func(a, b sample) int { return a.session - b.session })
	for _, s := range bySession {
		if seen[s.session] {
			continue
		}
		seen[s.session] = true
		if days[s.day] == nil {
			days[s.day] = &dayUnits{day: s.day}
		}
		d := days[s.day]
		d.session[s.side] = append(d.session[s.side], s.session)
		d.value[s.side] = append(d.value[s.side], effects[s.session])
	}
	var out []dayUnits
	for _, day := range slices.Sorted(maps.Keys(days)) {
		out = append(out, *days[day])
	}
	return out
}

func daysWithBoth(days []dayUnits) []dayUnits {
	var both []dayUnits
	for _, d := range days {
		if d.both() {
			both = append(both, d)
		}
	}
	return both
}

// pairDays takes one difference per day.
func (e *estimate) pairDays(days []dayUnits, confidence float64) {
	e.paired, e.used = true, map[int]bool{}
	var differences []float64
	var means [sides][]float64
	for _, d := range days {
		for side := range sides {
			m, _ := meanSD(d.value[side])
			means[side] = append(means[side], m)
			markUsed(e.used, d.session[side])
		}
		i := len(differences)
		differences = append(differences, means[after][i]-means[before][i])
	}
	e.setMeans(means)
	_, e.spread = meanSD(differences)
	e.ratio, e.trouble = oneSample(differences, confidence)
	e.finish(PermutationSignFlip(differences))
}

// compareSessions takes the sessions as two independent sets. On a day that
// holds one setup only, its sessions share whatever that day did to the air, so
// they count as one.
func (e *estimate) compareSessions(days []dayUnits, confidence float64) {
	e.used = map[int]bool{}
	var units [sides][]float64
	for _, d := range days {
		for side := range sides {
			markUsed(e.used, d.session[side])
			values := d.value[side]
			if !d.both() && len(values) > 1 {
				m, _ := meanSD(values)
				values, e.pooledDays = []float64{m}, true
			}
			units[side] = append(units[side], values...)
		}
	}
	e.setMeans(units)
	e.spread = pooledSD(units[before], units[after])
	if e.n[before] < fewestSessions || e.n[after] < fewestSessions {
		e.trouble = ErrTooFew
		return
	}
	e.ratio, e.trouble = welch(units[before], units[after], confidence)
	e.finish(PermutationTwoSample(units[before], units[after]))
}

func markUsed(used map[int]bool, sessions []int) {
	for _, s := range sessions {
		used[s] = true
	}
}

func (e *estimate) setMeans(units [sides][]float64) {
	e.units = units
	for side := range sides {
		e.n[side] = len(units[side])
		e.mean[side], _ = meanSD(units[side])
	}
}

func (e *estimate) finish(perm Permutation, err error) {
	e.perm = perm
	e.trouble = errors.Join(e.trouble, err)
	e.ok = e.trouble == nil
}

// point is the ratio of the means, interval or not; NaN without both setups.
func (e estimate) point() float64 {
	return math.Exp(e.mean[after]) / math.Exp(e.mean[before])
}

// hasPoint reports whether both setups have a mean.
func (e estimate) hasPoint() bool { return e.n[before] > 0 && e.n[after] > 0 }

// pooledSD is the common standard deviation of two sets; NaN for fewer than
// three values in all.
func pooledSD(a, b []float64) float64 {
	var ss float64
	df := 0
	for _, x := range [][]float64{a, b} {
		if len(x) < 2 {
			continue
		}
		_, sd := meanSD(x)
		ss += sd * sd * float64(len(x)-1)
		df += len(x) - 1
	}
	return math.Sqrt(ss / float64(df))
}

func observations(samples []sample) []observation {
	out := make([]observation, len(samples))
	for i, s := range samples {
		out[i] = s.observation
	}
	return out
}

// dropLonelyTasks leaves out tasks seen under one setup only: nothing tells
// their level apart from the setup's.
func dropLonelyTasks(samples []sample) (kept []sample, lonely []string) {
	seen := map[string][sides]bool{}
	for _, s := range samples {
		both := seen[s.task]
		both[s.side] = true
		seen[s.task] = both
	}
	for _, s := range samples {
		if both := seen[s.task]; both[before] && both[after] {
			kept = append(kept, s)
		}
	}
	for _, task := range slices.Sorted(maps.Keys(seen)) {
		if both := seen[task]; !both[before] || !both[after] {
			lonely = append(lonely, task)
		}
	}
	return kept, lonely
}

// keepLinked keeps the largest group of sessions that common tasks link, and
// names the sessions of the others.
func keepLinked(samples []sample) (kept []sample, dropped []int) {
	groups := linkedSessions(observations(samples))
	if len(groups) < 2 {
		return samples, nil
	}
	best := 0
	for i, g := range groups {
		if len(g) > len(groups[best]) {
			best = i
		}
	}
	for i, g := range groups {
		if i != best {
			dropped = append(dropped, g...)
		}
	}
	slices.Sort(dropped)
	for _, s := range samples {
		if !slices.Contains(dropped, s.session) {
			kept = append(kept, s)
		}
	}
	return kept, dropped
}
