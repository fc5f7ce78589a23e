package compare

import (
	"errors"
	"math"
	"slices"
)

// manyNonDetects is the share of runs not told from the background above which
// logarithms are no longer trusted with them.
const manyNonDetects = 0.20

// rules are the choices that an analysis may be repeated with, to see whether
// the answer hangs on them.
type rules struct {
	everything bool // unusable readings and thin runs too
	swapped    bool // non-detects: the opposite stand-in values
	raw        bool // plain means of the runs, nothing subtracted
	spikes     bool // single readings that no air can give, too
}

// lookFor says which readings the rules take.
func (st *study) lookFor(r rules) look {
	if r.everything || r.spikes {
		return look{everything: r.everything}
	}
	return look{spikes: st.spikes}
}

// errNoDiary: working time is not known, so a shorter working day looks like less
// dust. The means stand, as a hint; no interval or test does.
var errNoDiary = errors.New("no task of the diary lies under these setups")

// analysis is the effect of the change on one quantity under one set of rules.
type analysis struct {
	estimate
	nets       []net   // one per run of the study
	usable     []bool  // runs measured well enough
	in         []bool  // of them, those that the estimate holds
	loq        float64 // below it a run is not told from the background
	nonDetects [sides]int
	arithmetic bool // mean and interval are of arithmetic session means
	low, high  float64
	p          float64
	value      [sides]float64 // mean level per setup, in the quantity's unit
	noSpread   bool
	ground     *ground
	sessions   part // the interval's share from the spread of sessions
	background part // and what the background's own error adds
}

// question is what was analysed, and how.
type question struct {
	metric string
	rules  rules
}

// analyse estimates the change of q from the runs of the study, once for each
// set of rules. Without a background there is nothing to subtract, so the raw
// analysis is the net one.
func (st *study) analyse(q quantity, r rules) analysis {
	if st.groundOf(q).kind == noGround {
		r.raw = false
	}
	key := question{q.metric, r}
	if a, ok := st.analyses[key]; ok {
		return a
	}
	a := st.estimateQuantity(q, r)
	st.analyses[key] = a
	return a
}

func (st *study) estimateQuantity(q quantity, r rules) analysis {
	a := analysis{ground: st.groundOf(q), usable: make([]bool, len(st.runs)), in: make([]bool, len(st.runs))}
	a.nets, a.loq = st.netMeans(q, r)
	var samples []sample
	var moves shifts
	for i, run := range st.runs {
		x := a.nets[i].value
		if !st.takes(run, r) || math.IsNaN(x) {
			continue
		}
		a.usable[i] = true
		n := a.nets[i]
		if x < a.loq {
			x, n.byA, n.byB = standIn(a.loq, run.side, r.swapped), 0, 0
		}
		samples = append(samples, st.sample(run, math.Log(x)))
		moves.add(n.byA/x, n.byB/x)
	}
	a.estimate = estimateChange(samples, st.in.Confidence)
	a.background = st.sharedError(a.ground, samples, moves, a.estimate)
	a.sessions = part{a.ratio.SE, a.ratio.DF}
	a.widen(a.background, st.drift())
	runsIn := 0
	for i, run := range st.runs {
		a.in[i] = a.usable[i] && a.used[run.session] && !slices.Contains(a.lonelyTasks, run.task)
		if a.in[i] {
			runsIn++
			if a.nets[i].value < a.loq {
				a.nonDetects[run.side]++
			}
		}
	}
	a.readEstimate()
	if n := a.nonDetects[before] + a.nonDetects[after]; float64(n) > manyNonDetects*float64(runsIn) {
		st.useArithmetic(&a)
	}
	if st.noDiary {
		a.low, a.high, a.p = math.NaN(), math.NaN(), math.NaN()
		a.ok, a.trouble, a.noSpread, a.perm = false, errNoDiary, false, Permutation{}
	}
	return a
}

// readEstimate takes over the numbers of an estimate on logarithms.
func (a *analysis) readEstimate() {
	a.low, a.high, a.p = a.ratio.Low, a.ratio.High, a.ratio.P
	a.noSpread = errors.Is(a.trouble, ErrNoSpread)
	if !a.ok {
		a.low, a.high, a.p = math.NaN(), math.NaN(), math.NaN()
	}
	for side := range sides {
		a.value[side] = math.NaN()
		if a.n[side] > 0 {
			a.value[side] = math.Exp(a.mean[side])
		}
	}
}

// takes reports whether the run goes into an analysis under these rules.
func (st *study) takes(r run, rules rules) bool {
	if rules.everything {
		return r.need > 0 // it is whole and lies under one setup
	}
	return r.why.IsZero() && st.sessions[r.session].why.IsZero()
}

func (st *study) sample(r run, y float64) sample {
	x := st.sessions[r.session]
	return sample{observation: observation{session: r.session, task: r.task, y: y}, side: x.side, day: x.day}
}

// standIn is the value of a run that cannot be told from the background. The
// usual choice works against the claim of a reduction: low before, high after.
func standIn(loq float64, s side, swapped bool) float64 {
	if (s == after) != swapped {
		return loq
	}
	return loq / 2
}

// useArithmetic replaces the ratio by that of arithmetic session means with
// Fieller's interval, which needs no stand-in values.
func (st *study) useArithmetic(a *analysis) {
	a.arithmetic, a.paired = true, false
	var units [sides][]float64
	a.effects = map[int]float64{}
	for i, x := range st.sessions {
		if !a.used[i] {
			continue
		}
		if m := a.sessionMean(st, i, netValue); !math.IsNaN(m) {
			units[x.side] = append(units[x.side], m)
			a.effects[i] = math.Log(m)
		}
	}
	a.setMeans(units)
	a.value = a.mean
	a.low, a.high, a.p, a.ok, a.noSpread = math.NaN(), math.NaN(), math.NaN(), false, false
	if a.n[before] < fewestSessions || a.n[after] < fewestSessions {
		a.trouble = ErrTooFew
		return
	}
	f, err := FiellerRatio(units[before], units[after], st.in.Confidence)
	perm, permErr := PermutationTwoSample(sameScale(units[before], units[after]))
	a.perm, a.trouble = perm, errors.Join(err, permErr)
	a.noSpread = errors.Is(err, ErrNoSpread)
	if a.trouble != nil {
		return
	}
	// Below zero there is no dust: "at most nothing above background".
	a.ok, a.p = true, f.P
	a.low, a.high = math.Max(0, f.Low), math.Max(0, f.High)
	a.widenArithmetic(st)
}

func netValue(n net) float64 { return n.value }

// sessionMean is the plain mean over the session's runs of what of picks.
func (a *analysis) sessionMean(st *study, i int, of func(net) float64) float64 {
	mean, n := math.NaN(), 0.0
	for j, r := range st.runs {
		if r.session != i || !a.in[j] {
			continue
		}
		if n++; n == 1 {
			mean = 0
		}
		mean += of(a.nets[j])/n - mean/n // a sum of huge values would overflow
	}
	return mean
}

// meanKind names the mean that level gives.
func (a analysis) meanKind() string {
	if a.arithmetic {
		return ArithmeticMean
	}
	return GeometricMean
}

// level is the mean under one setup, never below zero.
func (a analysis) level(s side) float64 { return math.Max(0, a.value[s]) }

// pointRatio is after/before; NaN without both.
func (a analysis) pointRatio() float64 {
	if !a.hasPoint() || !(a.value[before] > 0) {
		return math.NaN()
	}
	if ratio := a.level(after) / a.level(before); isFinite(ratio) {
		return ratio
	}
	return math.NaN()
}

// word is the verdict on this analysis alone, the guard included.
func (a analysis) word(smallest, confidence float64) (v Verdict, restsOnModel bool) {
	switch {
	case !a.ok && errors.Is(a.trouble, ErrNotPositive):
		return NoReductionShown, false
	case !a.ok:
		return TooLittleData, false
	case math.IsNaN(a.low):
		return NoReductionShown, false // no bounded interval
	}
	return guarded(VerdictFor(a.low, a.high, smallest), a.perm, 1-confidence)
}
