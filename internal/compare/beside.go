package compare

import (
	"maps"
	"math"
	"slices"
	"time"

	"dustlog/internal/compare/alternatives"
	"dustlog/internal/words"
)

// Alternative is another look at the same runs. None of them decides: they show
// whether the answer hangs on the method.
type Alternative struct {
	Key     string     `json:"method"`
	Label   words.Text `json:"label"`
	Ratio   *float64   `json:"ratio"`
	CILow   *float64   `json:"ci_low"`
	CIHigh  *float64   `json:"ci_high"`
	PValue  *float64   `json:"p_value"`
	Warning words.Text `json:"warning"` // "" or why it must not be leaned on
}

const (
	bootstrapDraws = 4000
	// fewestResampled is the number of sessions below which a bootstrap is too narrow.
	fewestResampled = 6
	// minuteMeans are what single records are compared by; serialLag is ten of them.
	minuteMeans = time.Minute
	serialLag   = 10
)

// alternatives lists the other looks that the study allows.
func (st *study) alternatives(q quantity, a analysis) []Alternative {
	list := []Alternative{}
	if st.noDiary || !a.hasPoint() {
		return list
	}
	add := func(x Alternative, err error) {
		if err == nil && x.Ratio != nil {
			list = append(list, x)
		}
	}
	if !a.arithmetic {
		add(st.hodgesLehmann(a))
		add(st.inBlocks(a))
		add(st.runsAsUnits(a))
	}
	add(st.bootstrap(a))
	if a.n[before] == 1 && a.n[after] == 1 {
		list = append(list, st.singleRecords(q, a)...)
	}
	return list
}

func alternative(key string, label words.Text, ratio, low, high, p float64, warning words.Text) Alternative {
	return Alternative{Key: key, Label: label, Ratio: ptr(ratio), CILow: ptr(low), CIHigh: ptr(high), PValue: ptr(p), Warning: warning}
}

// hodgesLehmann bears one wild session.
func (st *study) hodgesLehmann(a analysis) (Alternative, error) {
	if min(a.n[before], a.n[after]) < fewestSessions {
		return Alternative{}, ErrTooFew
	}
	s, perm, err := sessionShift(a.units, a.paired, st.in.Confidence)
	if err != nil {
		return Alternative{}, err
	}
	var warning words.Text
	if s.Coverage < st.in.Confidence-0.005 {
		warning = words.Of("so few sessions give an interval of %.0f %% at most", 100*s.Coverage)
	}
	return alternative("hodges_lehmann", words.Of("median of all ratios of sessions (Hodges and Lehmann), exact interval"),
		math.Exp(s.Estimate), math.Exp(s.Low), math.Exp(s.High), perm.P, warning), nil
}

// inBlocks exchanges labels of runs inside a task, or inside a task on a day where
// days hold both setups.
func (st *study) inBlocks(a analysis) (Alternative, error) {
	type key struct{ task, day string }
	blocks := map[key]*[sides][]float64{}
	switched := 0
	for i, r := range st.runs {
		if !a.in[i] || !(a.nets[i].value > 0) {
			continue
		}
		k := key{task: r.task}
		if a.paired {
			k.day = st.sessions[r.session].day
		}
		if blocks[k] == nil {
			blocks[k] = &[sides][]float64{}
		}
		blocks[k][r.side] = append(blocks[k][r.side], math.Log(math.Max(a.nets[i].value, a.loq)))
		if i > 0 && st.runs[i-1].side != r.side && st.sessions[st.runs[i-1].session].day == st.sessions[r.session].day {
			switched++
		}
	}
	var old, new [][]float64
	for _, k := range slices.SortedFunc(maps.Keys(blocks), func(x, y key) int {
		return slices.Compare([]string{x.day, x.task}, []string{y.day, y.task})
	}) {
		if b := blocks[k]; len(b[before]) > 0 && len(b[after]) > 0 {
			old, new = append(old, b[before]), append(new, b[after])
		}
	}
	p, err := alternatives.PermutationBlocks(old, new)
	if err != nil {
		return Alternative{}, err
	}
	runs := 0
	for i := range old {
		runs += len(old[i]) + len(new[i])
	}
	var warning words.Text
	if switched < runs/2 {
		warning = words.Of("the setup was not switched run by run, so runs could not have been exchanged: this p is too small")
	}
	return alternative("perm_blocks", words.Plural(len(old), "runs relabelled inside %d block of one task", "runs relabelled inside %d blocks of one task", len(old)),
		math.Exp(p.Statistic/float64(len(old))), math.NaN(), math.NaN(), p.P, warning), nil
}

// runsAsUnits takes runs for independent, which they are not.
func (st *study) runsAsUnits(a analysis) (Alternative, error) {
	var runs []alternatives.Run
	for i, r := range st.runs {
		if a.in[i] && a.nets[i].value > 0 {
			runs = append(runs, alternatives.Run{Ln: math.Log(math.Max(a.nets[i].value, a.loq)), Task: r.task, New: r.side == after})
		}
	}
	x, err := alternatives.RunsAsUnits(runs, st.in.Confidence)
	if err != nil {
		return Alternative{}, err
	}
	warning := words.Of("runs of one session share its day, so this is too narrow: it claims a change in 14 to 20 %% of studies that have none, instead of 5 %%")
	if icc, ok := st.alikeness(a); ok {
		warning = words.Of("%s; here runs of a session have %.0f %% of their variance in common", warning, 100*math.Max(0, icc))
	}
	return alternative("runs_as_units", words.Of("runs taken for independent"), x.Ratio, x.Low, x.High, x.P, warning), nil
}

// alikeness is the intraclass correlation of runs in sessions, with tasks and
// setups taken out.
func (st *study) alikeness(a analysis) (icc float64, ok bool) {
	sum, n := map[string]float64{}, map[string]float64{}
	residual := func(i int) float64 {
		r := st.runs[i]
		return math.Log(math.Max(a.nets[i].value, a.loq)) - a.effects[r.session]
	}
	for i, r := range st.runs {
		if a.in[i] && a.nets[i].value > 0 {
			sum[r.task] += residual(i)
			n[r.task]++
		}
	}
	groups := map[int][]float64{}
	for i, r := range st.runs {
		if a.in[i] && a.nets[i].value > 0 {
			own := residual(i) - sum[r.task]/n[r.task] + a.effects[r.session] - a.mean[r.side]
			groups[r.session] = append(groups[r.session], own)
		}
	}
	var list [][]float64
	for _, s := range slices.Sorted(maps.Keys(groups)) {
		list = append(list, groups[s])
	}
	one, err := alternatives.Anova(list)
	return one.ICC, err == nil
}

// bootstrap resamples sessions for the ratio of arithmetic means: total dose.
func (st *study) bootstrap(a analysis) (Alternative, error) {
	var units [sides][]float64
	for i, x := range st.sessions {
		if m := a.sessionMean(st, i, netValue); a.used[i] && !math.IsNaN(m) {
			units[x.side] = append(units[x.side], m)
		}
	}
	b, err := alternatives.BCaRatio(units[before], units[after], bootstrapDraws, st.in.Confidence)
	if err != nil {
		return Alternative{}, err
	}
	warning := words.Of("not adjusted for tasks")
	if fewest := min(len(units[before]), len(units[after])); fewest < fewestResampled {
		warning = words.Plural(fewest, "%[2]s; too narrow with %[1]d session of a setup, of which there are only %.0[3]f different resamples", "%[2]s; too narrow with %[1]d sessions of a setup, of which there are only %.0[3]f different resamples", fewest, warning, b.Resamples)
	}
	return alternative("bca_ratio", words.Of("ratio of arithmetic means, sessions resampled (BCa bootstrap)"), b.Estimate, b.Low, b.High, math.NaN(), warning), nil
}

// singleRecords compares one record each by its one-minute means.
func (st *study) singleRecords(q quantity, a analysis) []Alternative {
	var ln [sides][]float64
	for i, r := range st.runs {
		if !a.in[i] {
			continue
		}
		for at := r.start; !at.Add(minuteMeans).After(r.stop); at = at.Add(minuteMeans) {
			if m := st.mean(q, at, at.Add(minuteMeans), leastMeasured*minuteMeans.Seconds(), rules{}); m > 0 {
				ln[r.side] = append(ln[r.side], math.Log(m))
			}
		}
	}
	r, err := alternatives.OneRecordEach(ln[before], ln[after], serialLag, bootstrapDraws/4, st.in.Confidence)
	if err != nil {
		return nil
	}
	claims := words.Of("describes that stretch of time only: what differs from day to day is not in it. Never a verdict; such analyses claimed a change in a quarter to a third of studies that had none")
	return []Alternative{
		alternative("stationary_bootstrap", words.Of("one record each, one-minute means in blocks"), r.Ratio, r.BlockLow, r.BlockHigh, math.NaN(), claims),
		alternative("newey_west", words.Of("one record each, autocorrelation reckoned with to 10 min"), r.Ratio, r.SerialLow, r.SerialHigh, math.NaN(), claims),
		alternative("minutes_as_units", words.Of("one record each, minutes taken for independent"), r.Ratio, r.SecondsLow, r.SecondsHigh, math.NaN(),
			words.Of("describes that stretch of time only: what differs from day to day is not in it. Never a verdict; minutes are no replicates, and seconds even less: by seconds a change is claimed in 96 %% of studies that have none")),
	}
}
