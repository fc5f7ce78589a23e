package respirator

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// air is a random day: work, pauses and dust without a diary.
type air struct {
	level []float64
	tasks [][2]int // from, to, in seconds
	names []string
}

func randomAir(r *rand.Rand, n int) air {
	a := air{level: make([]float64, n)}
	names := []string{"sanding", "assembly", "assembly", "assembly", "assembly", "routing", "sweeping", "empty the bag", "blow down"}
	for at := 60 + r.IntN(300); at < n; {
		to := min(at+60+r.IntN(600), n)
		a.tasks, a.names = append(a.tasks, [2]int{at, to}), append(a.names, names[r.IntN(len(names))])
		at = to + r.IntN(3000)
	}
	// At some of the work the person's sensor reads more than the room's air.
	plume := make([]float64, len(a.tasks))
	for k := range plume {
		plume[k] = 250 * r.Float64() * float64(r.IntN(2))
	}
	room := 0.0
	for i := range a.level {
		room *= math.Exp(-6.0 / 3600)
		for k, task := range a.tasks {
			if i >= task[0] && i < task[1] && a.names[k] != "assembly" {
				room += 0.4 * r.Float64()
			}
		}
		if r.IntN(8000) == 0 {
			room += 300 * r.Float64()
		}
		a.level[i] = 9 + 2*r.Float64() + room
		for k, task := range a.tasks {
			if i >= task[0] && i < task[1] {
				a.level[i] += plume[k]
			}
		}
	}
	return a
}

// play is the answer at every second of a day.
func (a air) play(t *testing.T, facts Facts, change func(i int, level float64) (float64, dust.Flags)) []Status {
	s := newShop(t)
	s.m.Learn(facts, nil)
	got := make([]Status, 0, len(a.level))
	for i := range a.level {
		for k, task := range a.tasks {
			switch i {
			case task[0]:
				s.start(a.names[k], "oak")
			case task[1]:
				s.stop()
			}
		}
		s.level, s.flags = change(i, a.level[i])
		got = append(got, s.run(time.Second))
	}
	return got
}

func asItIs(_ int, level float64) (float64, dust.Flags) { return level, 0 }

// neverLaxer holds a day against the same with more dust or less knowledge: at no second
// may the respirator come off that was on, nor the countdown end sooner.
func neverLaxer(t *testing.T, what string, base, harder []Status) {
	t.Helper()
	require.Len(t, harder, len(base))
	for i, s := range base {
		h := harder[i]
		if s.KeptOn() && !h.KeptOn() {
			t.Fatalf("%s: second %d: %s / %s", what, i, s.Why, h.Why)
		}
		if s.KeepOnUntil != nil && h.KeepOnUntil != nil && h.KeepOnUntil.Before(s.KeepOnUntil.Add(-time.Microsecond)) {
			t.Fatalf("%s: second %d: ends at %s, sooner than %s", what, i, h.KeepOnUntil, s.KeepOnUntil)
		}
	}
}

// dustier adds dust at random: everywhere, in spells, and in single seconds.
func dustier(r *rand.Rand, n int) func(int, float64) (float64, dust.Flags) {
	factor, burst, strength := 1+r.Float64()*float64(r.IntN(2)), r.IntN(n), 200*r.Float64()*r.Float64()
	added := make([]float64, n)
	for i := range added {
		if r.IntN(300) == 0 {
			added[i] = 2000 * r.Float64()
		}
		if i >= burst && i < burst+300 {
			added[i] += strength
		}
	}
	return func(i int, level float64) (float64, dust.Flags) { return level*factor + added[i], 0 }
}

// lessSure makes what past days taught less sure in one way after the other, in the ways
// that lead to other facts: fewer decays, an air without work that was seen less often,
// more scatter of the runs, a vaguer factor, a lower limit, things not known at all.
func lessSure(r *rand.Rand) map[string]Facts {
	all := map[string]Facts{}
	change := func(what string, how func(*Facts)) {
		f := knownFacts()
		f.Masks[0].Limits = []exposure.MaskLimit{settled.Limits[0]}
		how(&f)
		all[what] = f
	}
	change("rate", func(f *Facts) { f.Clearing[0].Rate.LowPerHour -= 4.9 * r.Float64() })
	change("level without work", func(f *Facts) { f.Clearing[0].Rate.BackgroundHigh += 10 * r.Float64() })
	change("limit", func(f *Facts) { f.LimitUgM3 *= r.Float64() })
	change("no limit", func(f *Facts) { f.LimitUgM3 = 0 })
	change("no clearing", func(f *Facts) { f.Clearing = nil })
	change("no runs", func(f *Facts) { f.Masks = nil })
	change("scatter of the runs", func(f *Facts) { f.Masks[0].Limits[0].HazardRatioToCover = f64(0.6 + 0.4*r.Float64()) })
	change("factor", func(f *Facts) {
		k := 1 + 0.6*r.Float64() // the upper level stays below the limit
		f.Masks[0].HazardRatioAtMost, f.Masks[0].Limits[0].HazardRatioToCover = f64(0.3*k), f64(0.6*k)
	})
	change("dustier runs that settle nothing", func(f *Facts) {
		f.Masks[0].HighestMeanMgM3, f.Masks[0].HazardRatioAtMost = f64(0.4), f64(1.2)
		f.Masks[0].State, f.Masks[0].Why = exposure.MaskCannotTell, words.Literal("above the limit with the most of the factor")
	})
	return all
}

// More dust never relaxes the answer or the countdown, at no second; nor does knowing
// less of the room or of the task.
func TestMoreDustOrLessKnowledgeNeverRelaxes(t *testing.T) {
	days := 8
	if testing.Short() {
		days = 2
	}
	r := rand.New(rand.NewPCG(7, 26))
	relaxed, atWork, counted, told := 0, 0, 0, 0
	for range days {
		a := randomAir(r, 2*3600)
		base := a.play(t, knownFacts(), asItIs)
		for range 2 {
			dusty := a.play(t, knownFacts(), dustier(r, len(a.level)))
			neverLaxer(t, "dustier", base, dusty)
			for i, s := range base {
				if s.KeepOnUntil != nil && dusty[i].KeepOnUntil != nil && dusty[i].KeepOnUntil.Sub(*s.KeepOnUntil) > time.Minute {
					told++
				}
				require.GreaterOrEqual(t, dusty[i].State.Strictness(), s.State.Strictness(), i)
			}
		}
		// One that reads too little because it is at its top, or is out of order, is no reason.
		burst := r.IntN(len(a.level) - 200)
		neverLaxer(t, "saturated", base, a.play(t, knownFacts(), func(i int, level float64) (float64, dust.Flags) {
			if i >= burst && i < burst+30 {
				return level + 900, dust.Saturated
			}
			return level, 0
		}))
		for _, flag := range []dust.Flags{dust.Stuck, dust.WarmUp, dust.MissingValue} {
			lossy := a.play(t, knownFacts(), func(i int, level float64) (float64, dust.Flags) {
				if i >= burst && i < burst+40 {
					return level / 10, flag
				}
				return level, 0
			})
			for i := burst + 12; i < burst+40+59; i++ {
				require.True(t, lossy[i].KeptOn(), "second %d: %s", i, lossy[i].Why)
			}
			if testing.Short() {
				break
			}
		}
		facts := lessSure(r)
		for what, f := range facts {
			if testing.Short() && r.IntN(3) > 0 {
				continue
			}
			neverLaxer(t, what, base, a.play(t, f, asItIs))
		}
		for _, s := range base {
			if !s.KeptOn() {
				relaxed++
				if s.Cause == AtWork {
					atWork++
				}
			}
			if s.KeepOnUntil != nil {
				counted++
			}
		}
	}
	require.Greater(t, relaxed, 300*days, "the days must hold moments that can be relaxed at all")
	require.Greater(t, atWork, 20*days, "also while someone works")
	require.Greater(t, counted, 300*days, "and countdowns")
	require.Greater(t, told, 100*days, "that more dust makes longer")
}

// An upper bound once told is moved later by more dust only, never sooner, and the
// respirator does not come off before it.
func TestAnEndOnceToldHolds(t *testing.T) {
	days := 6
	if testing.Short() {
		days = 2
	}
	r := rand.New(rand.NewPCG(3, 26))
	moved := 0
	for range days {
		a := randomAir(r, 3600)
		var told time.Time
		for i, s := range a.play(t, knownFacts(), asItIs) {
			if s.KeepOnUntil != nil {
				require.False(t, s.KeepOnUntil.Before(told.Add(-time.Microsecond)), "second %d", i)
				if s.KeepOnUntil.After(told.Add(time.Second)) {
					moved++
				}
				told = *s.KeepOnUntil
			}
			// The bound includes Settle, which has passed by the second after.
			require.False(t, !s.KeptOn() && s.Time.Before(told.Add(-time.Second)), "second %d: off at %s, told %s", i, s.Time, told)
		}
	}
	require.Positive(t, moved)
}

// More dust so far, dustier runs or a wider range of them never make the outlook of a
// day better, and its range never narrower.
func TestOutlookNeverImprovesWithDust(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 26))
	for range 2000 {
		limit := 0.5 + 5*r.Float64()
		low := r.Float64()
		high := low + r.Float64()
		soFar, most := r.Float64(), high*(1+r.Float64())
		vaguer := most * (1 + r.Float64())
		ask := func(soFar, soFarHigh, low, high, most float64) OutlookLimit {
			shift := exposure.ShiftResult{Start: monday, End: monday.Add(8 * time.Hour), Limits: []exposure.LimitFinding{{
				LimitID: "x", LimitMgM3: limit, Averaging: exposure.EightHours, ComparedOverMinutes: 480, ComparedMgM3: f64(soFar / 3),
				WithFactor: f64(soFar), WithFactorLow: f64(soFar / 2), WithFactorHigh: f64(soFarHigh)}}}
			mask := exposure.MaskResult{Task: "t", Runs: 3, Limits: []exposure.MaskLimit{{LimitID: "x", LimitMgM3: limit,
				LowestMgM3: f64(low), TypicalMgM3: f64((low + high) / 2), HighestMgM3: f64(high), HazardRatioAtMost: f64(most / limit)}}}
			return Ahead(shift, &mask, monday.Add(4*time.Hour)).Limits[0]
		}
		base := ask(soFar, soFar*1.2, low, high, most)
		require.LessOrEqual(t, *base.LowMgM3, *base.TypicalMgM3)
		require.LessOrEqual(t, *base.TypicalMgM3, *base.HighMgM3)
		more := 1 + r.Float64()
		for what, harder := range map[string]OutlookLimit{
			"dustier day":    ask(soFar*more, soFar*1.2*more, low, high, most),
			"dustier runs":   ask(soFar, soFar*1.2, low*more, high*more, most*more),
			"dustiest run":   ask(soFar, soFar*1.2, low, high*more, most*more),
			"vaguer at work": ask(soFar, soFar*1.2, low, high, vaguer),
			"vaguer today":   ask(soFar, soFar*1.2*more, low, high, most),
		} {
			require.GreaterOrEqual(t, *harder.SoFarMgM3, *base.SoFarMgM3, what)
			require.GreaterOrEqual(t, *harder.TypicalMgM3, *base.TypicalMgM3, what)
			require.Greater(t, *harder.HighMgM3, *base.HighMgM3, what)
			require.Greater(t, *harder.HighShare, *base.HighShare, what)
		}
	}
}
