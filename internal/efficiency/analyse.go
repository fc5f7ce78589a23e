package efficiency

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
)

const method = "E = 1 − P, P = (Ndown/Vdown)/(Nup/Vup) of differential counts. Three runs or more: Student's t on ln P, the run is the unit " +
	"(exchanged sensors: half the sum of the two means, Welch). One run: exact conditional Poisson limits, which speak for that run only. " +
	"Nothing counted behind the filter: one-sided 95 % limit."

// pair is one run's quantity before and behind the filter.
type pair struct {
	run      Recorded
	up, down Level
}

// Analyse works out what each setup holds back.
func Analyse(in Input) (Result, error) {
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	if err := in.check(); err != nil {
		return Result{}, err
	}
	r := Result{
		Schema: 1, Upstream: in.Upstream.Name, Downstream: in.Downstream.Name, ZeroChecks: len(in.Zero),
		Setups: []SetupEfficiency{}, Excluded: []Exclusion{}, Warnings: []string{}, Method: method,
	}
	in.Runs, r.Excluded = in.usable()
	for _, run := range in.Runs {
		r.Exchanged = r.Exchanged || run.Exchanged
		if !slices.ContainsFunc(r.Setups, func(s SetupEfficiency) bool { return s.Setup == run.Setup }) {
			r.Setups = append(r.Setups, in.ofSetup(run.Setup))
		}
	}
	r.Warnings = in.warnings(r)
	return r, nil
}

// usable sorts the runs and leaves out those that share time with one before, and
// those without a reading on one side.
func (in Input) usable() (kept []Recorded, out []Exclusion) {
	out = []Exclusion{}
	runs := slices.Clone(in.Runs)
	slices.SortStableFunc(runs, func(a, b Recorded) int { return a.Task.Start.Compare(b.Task.Start) })
	exclude := func(r Recorded, why string) {
		out = append(out, Exclusion{r.Task.Start.In(in.Zone).Format(time.DateOnly), r.Task.Name, why})
	}
	for _, r := range runs {
		switch n := len(kept); {
		case r.Task.Check() != nil || r.Task.Running():
			exclude(r, "not a finished task")
		case n > 0 && r.Task.Start.Before(kept[n-1].Task.Stop):
			exclude(r, fmt.Sprintf("shares its time with %q", kept[n-1].Task.Name))
		case len(r.Up) == 0:
			exclude(r, "no reading before the filter")
		case len(r.Down) == 0:
			exclude(r, "no reading behind the filter")
		default:
			kept = append(kept, r)
		}
	}
	return kept, out
}

func (in Input) ofSetup(setup string) SetupEfficiency {
	runs := slices.DeleteFunc(slices.Clone(in.Runs), func(r Recorded) bool { return r.Setup != setup })
	s := SetupEfficiency{Setup: setup, Runs: len(runs), BySize: []Row{}, Fractions: []Fraction{}}
	present := func(c dust.Channel) bool {
		return slices.ContainsFunc(runs, func(r Recorded) bool { return has(r.Up, c) && has(r.Down, c) })
	}
	for _, q := range quantities(present) {
		pairs, why := in.pairs(q, runs)
		row := in.row(q, pairs, why)
		s.BySize = append(s.BySize, row)
		// The finest mass is what a filter's state is followed by.
		if s.Loading == nil && q.mass && row.State == Measured {
			s.Loading = in.loading(q, pairs)
		}
	}
	s.Fractions = isoStyle(s.BySize)
	return s
}

func has(s Side, c dust.Channel) bool {
	_, ok := s[c]
	return ok
}

// pairs are the runs in which both sides measured the quantity; why is the reason
// of the last one that did not.
func (in Input) pairs(q quantity, runs []Recorded) (out []pair, why string) {
	for _, r := range runs {
		up, against := q.of(r.Up)
		if against != "" {
			why = "before the filter " + against
			continue
		}
		down, against := q.of(r.Down)
		if against != "" {
			why = "behind the filter " + against
			continue
		}
		out = append(out, pair{r, up, down})
	}
	return out, why
}

// zeroLevels are what the sensors read of a quantity in air without particles.
func (in Input) zeroLevels(q quantity) (up, down float64) {
	var ups, downs []float64
	for _, z := range in.Zero {
		if l, why := q.of(z.Up); why == "" {
			ups = append(ups, l.Mean)
		}
		if l, why := q.of(z.Down); why == "" {
			downs = append(downs, l.Mean)
		}
	}
	average := func(x []float64) (m float64) {
		for _, v := range x {
			m += v / float64(len(x))
		}
		return m
	}
	return average(ups), average(downs)
}

func (in Input) row(q quantity, pairs []pair, why string) Row {
	row := Row{Label: q.label, Metric: q.plus.Key(), Unit: q.plus.Unit(), Runs: len(pairs), State: CannotTell}
	if q.differs {
		row.Metric = q.plus.Metric() + "_minus_" + q.minus.Key()
	}
	if q.sized() {
		row.LowUm, row.HighUm = ptr(q.bin.Low), ptr(q.bin.High)
	}
	for _, model := range []string{in.Upstream.Model, in.Downstream.Model} {
		against, note := q.judge(model)
		row.Why, row.Note = cmp.Or(row.Why, against), cmp.Or(row.Note, note)
	}
	if len(pairs) == 0 {
		row.Why = cmp.Or(row.Why, why, "no run in which both sides measured it")
		return row
	}
	var up, down float64
	for _, p := range pairs {
		up, down = up+p.up.Mean/float64(len(pairs)), down+p.down.Mean/float64(len(pairs))
	}
	row.Upstream, row.Downstream = ptr(up), ptr(down)
	if row.Why != "" {
		return row
	}
	in.newEstimate(q, pairs).fill(&row)
	if q.sized() {
		row.bin.Bin = q.bin
	}
	return row
}

// isoStyle weighs the bins with the standard's dusts.
func isoStyle(rows []Row) []Fraction {
	var bins, lows []BinEfficiency
	for _, r := range rows {
		if r.LowUm != nil && r.State != CannotTell {
			bins = append(bins, r.bin)
			lows = append(lows, BinEfficiency{r.bin.Bin, r.low})
		}
	}
	out := []Fraction{}
	for _, f := range fractions {
		row := Fraction{Name: f.name, Dust: f.dust.name}
		share, ok := f.ePM(bins)
		if !ok {
			row.Why = fmt.Sprintf("no efficiency for all sizes from 0.3 to %g µm", f.um)
			out = append(out, row)
			continue
		}
		row.Efficiency, row.RoundedDown = ptr(100*share), RoundedDown(share)
		if slices.ContainsFunc(rows, func(r Row) bool { return r.LowUm != nil && r.State == AtLeast }) {
			row.Why = "where nothing came through the lower limit stands for the efficiency: at least"
		}
		if lower, _ := f.ePM(lows); finite(lower) {
			row.Lower = ptr(100 * lower)
		}
		out = append(out, row)
	}
	return out
}

func (in Input) warnings(r Result) (out []string) {
	add := func(when bool, text string) {
		if when {
			out = append(out, text)
		}
	}
	out = []string{"equal flow, equal tubing and the same way of taking air are assumed on both sides; bends and long tubes hold back coarse dust"}
	add(!r.Exchanged, "two sensors of one make differ by 10 % or more, and that is in every figure: exchange them for half of the runs (--swapped-at)")
	add(in.Upstream.Model != in.Downstream.Model, fmt.Sprintf("the sensors are of two models (%q, %q), which do not see the same dust", in.Upstream.Model, in.Downstream.Model))
	add(len(in.Zero) == 0, "no zero check: what the sensors count in air without particles was not taken off, which makes a good filter look worse")
	counts := slices.ContainsFunc(r.Setups, func(s SetupEfficiency) bool {
		return slices.ContainsFunc(s.BySize, func(row Row) bool { return row.Unit == dust.N03.Unit() })
	})
	add(counts && in.SampleFlow == 0, "the air that the sensors look at is not known, so particles were not counted but concentrations compared: no limits for one run or where nothing came through")
	negative := slices.ContainsFunc(r.Setups, func(s SetupEfficiency) bool {
		return slices.ContainsFunc(s.BySize, func(row Row) bool { return row.Efficiency != nil && *row.Efficiency < 0 })
	})
	add(negative, "more dust behind the filter than before it: a leak, a second source, or exchanged sensors that were not declared")
	return out
}

// percent is 100·x, nil for what is not a number.
func percent(x float64) *float64 { return ptr(100 * x) }

// lnRatio is ln of the net levels' ratio; infinite where one is at zero.
func lnRatio(down, up float64) float64 { return math.Log(down) - math.Log(up) }
