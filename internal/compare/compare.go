package compare

import (
	"math"
	"slices"

	"dustlog/internal/words"
)

const schemaVersion = 1

// Differences between the setups, as shares, from which on something is said or
// the analysis repeated.
const (
	unevenExclusion = 0.10
	unevenHumidity  = 0.10
	manySaturated   = 0.01   // of a run
	manyDrift       = 0.0953 // ln 1.1
)

// Compare answers whether the air under setup After held less dust than under
// Before. Errors wrap dust.ErrUnknownSetup or dust.ErrNoReadings; too little
// data is no error but a verdict. It reads no clock: equal input, equal result,
// whatever the order of tasks, setups and series.
func Compare(in Input) (Result, error) {
	in = in.withDefaults()
	if err := in.check(); err != nil {
		return Result{}, err
	}
	return newStudy(in).result(), nil
}

// result answers the study's question. It is to be asked once.
func (st *study) result() Result {
	q := st.channel(st.in.Metric)
	a := st.analyse(q, rules{})
	st.listDropped(a)
	coverage := st.coverage(a)

	res := st.header(q, a)
	res.Coverage = coverage
	d := st.decide(q, a, coverage)
	order := st.timeOrder(a)
	res.Design, res.DesignWhy = st.design(order)
	res.DesignByOrder = res.Design
	t := st.trend(a, order)
	if t.ok {
		res.TrendPercentPerDay, res.TrendLow, res.TrendHigh = ptr(perDay(t.slope)), ptr(perDay(t.low)), ptr(perDay(t.high))
	}
	if res.DesignByOrder == "C" {
		d = d.heedTrend(t, st.in.SmallestChangePercent/100)
	}
	res.Verdict, res.RestsOnLogNormal = d.verdict, d.restsOnModel
	st.fillNumbers(&res, a)
	st.fillPower(&res, a)
	st.fillBasis(&res, q, a)
	st.fillUncertainty(&res, a)
	st.fillSpikes(&res, q)
	res.Conditions = st.conditions(q, a)
	res.Confounders = st.confounders(a, res.Conditions)
	res.lowerDesign()
	res.Caution = st.caution(res, t)
	res.Why = st.why(res, a, d)
	res.Method = methodText(st, a)
	res.Sessions = st.sessionRows(a)
	res.Bins = st.bySize()
	res.Alternatives = st.alternatives(q, a)
	res.Outcomes = st.outcomes(q)
	adjustSecondary(&res)
	res.Fine = st.fineOrChips()
	res.Excluded = append([]Exclusion{}, st.excluded...)
	res.Warnings = append([]words.Text{}, st.warnings(q, a, res, order)...)
	return res
}

// decision is the verdict with what it hangs on.
type decision struct {
	verdict      Verdict
	restsOnModel bool
	withheld     Verdict    // the word the interval alone would give; "" if it stands
	hangsOn      words.Text // the choice that would change the word; ""
	trend        words.Text // what a trend within the setups has to do with it; ""
	trendBars    bool       // and for that "reduced enough" is withheld
}

// decide finds the verdict and repeats the analysis where statistics call for
// it: a word that hangs on such a choice is not shown.
func (st *study) decide(q quantity, a analysis, coverage []SetupCoverage) decision {
	in := st.in
	smallest := in.SmallestChangePercent / 100
	var d decision
	d.verdict, d.restsOnModel = a.word(smallest, in.Confidence)
	if d.verdict == TooLittleData {
		return d
	}
	if plain := VerdictFor(a.low, a.high, smallest); plain != d.verdict && plain != TooLittleData {
		d.withheld = plain
	}
	hangs := func(r rules, on words.Text) {
		if word, _ := st.analyse(q, r).word(smallest, in.Confidence); word != d.verdict && d.hangsOn.IsZero() {
			d.hangsOn = on
		}
	}
	if !a.arithmetic && a.nonDetects[before]+a.nonDetects[after] > 0 {
		hangs(rules{swapped: true}, words.Of("how runs that cannot be told from the background are counted"))
	}
	if unevenlyExcluded(coverage) {
		hangs(rules{everything: true}, words.Of("the readings and runs that were left out, which is more of them under one setup than under the other"))
	}
	if !d.hangsOn.IsZero() {
		d.withheld, d.verdict, d.restsOnModel = d.verdict, NoReductionShown, false
	}
	return d
}

func (st *study) header(q quantity, a analysis) Result {
	in := st.in
	sensor := in.series(in.Metric).Sensor
	res := Result{
		Schema: schemaVersion, Metric: in.Metric.Metric(), Unit: q.unit,
		Sensor: sensor.Name, Position: string(sensor.Position),
		Before: in.Before, After: in.After,
		UnitOfReplication: "session",
		Confidence:        in.Confidence, SmallestChange: in.SmallestChangePercent,
		MeanKind: a.meanKind(), NBefore: a.n[before], NAfter: a.n[after], Paired: a.paired,
	}
	if a.paired {
		res.UnitOfReplication = pairedDay
	}
	if st.subtracted(a) > 0 && q.hasBackground() {
		res.BackgroundSensor = q.bgPlus.Sensor.Name
	}
	return res
}

// subtracted counts the runs that went in with a background taken off.
func (st *study) subtracted(a analysis) int {
	n := 0
	for i := range st.runs {
		if a.in[i] && a.nets[i].background {
			n++
		}
	}
	return n
}

func (st *study) fillNumbers(res *Result, a analysis) {
	if a.n[before] > 0 {
		res.GMBefore = ptr(a.level(before))
	}
	if a.n[after] > 0 {
		res.GMAfter = ptr(a.level(after))
	}
	if a.ok && !a.arithmetic {
		res.SpreadLn = ptr(a.spread)
	}
	ratio := a.pointRatio()
	res.Ratio, res.ChangePercent = ptr(ratio), ptr(100*(ratio-1))
	res.CILow, res.CIHigh, res.PValue = ptr(a.low), ptr(a.high), ptr(a.p)
	if a.ok {
		res.PermutationP = ptr(a.perm.P)
	}
}

// power to plan with.
const planningPower = 0.80

// fillPower says how many sessions would show the smallest change that matters,
// where the verdict leaves it open.
func (st *study) fillPower(res *Result, a analysis) {
	if res.Verdict != NoReductionShown && res.Verdict != TooLittleData || st.noDiary {
		return // without a diary more of the same would not help
	}
	needed, ok := st.sessionsFor(st.in.SmallestChangePercent, a)
	if !ok {
		return
	}
	more := max(0, needed-min(a.n[before], a.n[after]))
	res.SessionsNeeded, res.MoreSessions = &needed, &more
}

// sessionsFor is the number of sessions per setup that would show a reduction,
// with the spread seen, or the usual one while too little is seen.
func (st *study) sessionsFor(reductionPercent float64, a analysis) (n int, ok bool) {
	sd := a.spread
	if a.arithmetic || !(sd > noSpread) || min(a.n[before], a.n[after]) < fewestSessions {
		sd = PlanningSD
	}
	x, err := SessionsNeeded(reductionPercent/100, sd, a.paired, planningPower, st.in.Confidence)
	return max(fewestSessions, int(math.Ceil(x))), err == nil
}

// listDropped puts what the estimator left out on the list of exclusions.
func (st *study) listDropped(a analysis) {
	for _, task := range a.lonelyTasks {
		if !st.noDiary {
			st.exclude("task", words.Literal(task), words.Of("seen under one setup only, so it cannot be compared"))
		}
	}
	for _, i := range a.unlinked {
		st.exclude("session", st.sessionName(i), words.Of("shares no task with the other sessions"))
	}
	if a.used == nil {
		return
	}
	for i, x := range st.sessions {
		_, placed := a.effects[i]
		switch {
		case a.used[i] || !x.why.IsZero() || slices.Contains(a.unlinked, i):
		case placed:
			st.exclude("session", st.sessionName(i), words.Of("its day holds only one setup; days with both are compared"))
		default:
			st.exclude("session", st.sessionName(i), words.Of("none of its tasks was done under both setups"))
		}
	}
}

func (st *study) sessionRows(a analysis) []Session {
	sensor := st.in.series(st.in.Metric).Sensor
	rows := make([]Session, 0, len(st.sessions))
	for i, x := range st.sessions {
		row := Session{Date: x.day, Setup: x.setup, Start: x.start, End: x.end, Tasks: []string{}, Sensor: sensor.Name, Position: sensor.Position}
		for j, r := range st.runs {
			if r.session != i || !a.in[j] {
				continue
			}
			row.Runs++
			row.Minutes += r.measured.seconds / 60
			if r.task != "" && !slices.Contains(row.Tasks, r.task) {
				row.Tasks = append(row.Tasks, r.task)
			}
		}
		slices.Sort(row.Tasks)
		if y, ok := a.effects[i]; ok && a.used[i] {
			row.Adjusted = ptr(math.Exp(y))
		}
		rows = append(rows, row)
	}
	return rows
}
