package plan

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/compare"
)

func question() Question {
	return Question{Setups: []string{"drop box", "cyclone"}, ReductionPercent: 50, Seed: 17}
}

// 80 % power, two-sided 5 %, sd 0.5: R power.t.test gives 31.84, 16.06, 9.23 and
// 3.94 sessions per setup for 30, 40, 50 and 70 % (reference case power_unp).
func TestUsualSpreadTakesAsManySessionsAsThePowerOfTheT(t *testing.T) {
	p, err := Before(question())
	require.NoError(t, err)
	require.Equal(t, 10, p.Needed)
	require.Equal(t, 20, p.Days)
	got := map[float64]int{}
	for _, x := range p.Takes {
		got[x.ReductionPercent] = x.Sessions
	}
	require.Equal(t, 32, got[30])
	require.Equal(t, 17, got[40])
	require.Equal(t, 10, got[50])
	require.Equal(t, 4, got[70])
	require.Contains(t, p.Notes[0], "17 %")
	require.Equal(t, 17, LooksPercent)
}

// sd 0.4 of daily ratios: 11.93 and 6.97 days for 30 and 40 % (case power_pair).
func TestDaysWithBothSetups(t *testing.T) {
	q := question()
	q.Paired, q.SD, q.ReductionPercent = true, 0.4, 30
	p, err := Before(q)
	require.NoError(t, err)
	require.Equal(t, 12, p.Needed)
	require.Equal(t, 12, p.Days)
	require.Equal(t, 7, p.Takes[2].Sessions)
	for _, s := range p.Order {
		require.ElementsMatch(t, q.Setups, s.Setups)
	}
}

// A week of five days with both setups and sd 0.5 shows 1 − exp(−(2.776 + 0.941)·
// 0.5/√5) = 56 %; the t quantiles are from any table with 4 degrees of freedom.
func TestWhatAWeekCanShow(t *testing.T) {
	q := question()
	q.Paired = true
	p, err := Before(q)
	require.NoError(t, err)
	require.InDelta(t, 100*(1-math.Exp(-(2.776+0.941)*0.5/math.Sqrt(5))), p.WeekPercent, 0.1)
	q.Paired = false
	q.Weekdays = []time.Weekday{time.Monday, time.Tuesday}
	p, err = Before(q)
	require.NoError(t, err)
	require.Equal(t, 100.0, p.WeekPercent, "one session of each shows nothing")
}

func TestMeasuredSpreadIsPlannedWithAndDoubted(t *testing.T) {
	q := question()
	q.Measured = &compare.Spread{SD: 0.3, Sessions: 5}
	p, err := Before(q)
	require.NoError(t, err)
	require.Equal(t, 0.3, p.SD)
	// χ² with 4 df: 7.779 and 1.064 at 90 and 10 % (any table).
	require.InDelta(t, 0.3*math.Sqrt(4/7.779), *p.SDLow, 1e-4)
	require.InDelta(t, 0.3*math.Sqrt(4/1.064), *p.SDHigh, 1e-3)
	require.Greater(t, *p.NeededHigh, p.Needed)
	require.Contains(t, strings.Join(p.Notes, " "), "as large as 0.58")
}

func TestThreeSetupsTakeMoreThanTwo(t *testing.T) {
	two, err := Before(question())
	require.NoError(t, err)
	q := question()
	q.Setups = append(q.Setups, "cyclone and filter")
	three, err := Before(q)
	require.NoError(t, err)
	require.Greater(t, three.Needed, two.Needed)
	require.Equal(t, 3*three.Needed, three.Days)
}

func TestTheOrderIsThatOfTheSeed(t *testing.T) {
	q := question()
	q.First = time.Date(2026, time.March, 6, 0, 0, 0, 0, time.UTC) // a Friday
	q.Sessions = 3
	p, err := Before(q)
	require.NoError(t, err)
	require.Equal(t, []string{"2026-03-06", "2026-03-09", "2026-03-10", "2026-03-11", "2026-03-12", "2026-03-13"}, dates(p))
	var flat []string
	for _, b := range compare.DrawOrder(q.Seed, q.Setups, 3) {
		flat = append(flat, b...)
	}
	for i, s := range p.Order {
		require.Equal(t, flat[i:i+1], s.Setups)
	}
	require.Contains(t, strings.Join(p.Notes, " "), "3 sessions are too few for 50 %")
	var list strings.Builder
	require.NoError(t, WriteChecklist(&list, p))
	require.Contains(t, list.String(), "seed 17")
	require.Contains(t, list.String(), "[ ]   1  Fri 2026-03-06  "+flat[0])
	require.Equal(t, 6, strings.Count(list.String(), "[ ]"))
}

func dates(p Plan) (out []string) {
	for _, s := range p.Order {
		out = append(out, s.Date)
	}
	return out
}

func TestWhatCannotBePlanned(t *testing.T) {
	for name, change := range map[string]func(*Question){
		"one setup": func(q *Question) { q.Setups = q.Setups[:1] }, "twice": func(q *Question) { q.Setups[1] = q.Setups[0] },
		"all of it": func(q *Question) { q.ReductionPercent = 100 }, "no seed": func(q *Question) { q.Seed = 0 },
		"confidence": func(q *Question) { q.Confidence = 95 }, "spread": func(q *Question) { q.SD = -1 },
		"one session": func(q *Question) { q.Sessions = 1 }, "too small": func(q *Question) { q.ReductionPercent = 1e-9 },
	} {
		q := question()
		change(&q)
		_, err := Before(q)
		require.ErrorIs(t, err, ErrQuestion, name)
	}
}

func ptr(x float64) *float64 { return &x }

func open(n int, ratio, sd float64) compare.Result {
	return compare.Result{
		Verdict: compare.NoReductionShown, NBefore: n, NAfter: n, Ratio: ptr(ratio), SpreadLn: ptr(sd),
		SmallestChange: 30, Confidence: 0.95,
	}
}

func TestSettledNeedsNoMore(t *testing.T) {
	a := Settle(compare.Result{Verdict: compare.ReducedEnough, Ratio: ptr(0.4), SmallestChange: 30, Confidence: 0.95})
	require.Nil(t, a.More)
	require.Contains(t, a.Answer, "settled")
}

// To show 30 % at sd 0.5 takes 32 sessions (case power_unp). To tell a true ratio
// of 0.5 from 0.7 takes the same test at a distance of ln(0.7/0.5).
func TestMoreSessionsToSettle(t *testing.T) {
	a := Settle(open(5, 0.5, 0.5))
	require.Equal(t, 32, *a.ToShow)
	want, err := compare.SessionsForShift(math.Log(0.7/0.5), 0.5, false, 0.8, 0.95)
	require.NoError(t, err)
	require.Equal(t, int(math.Ceil(want)), *a.ToSettle)
	require.Equal(t, max(32, *a.ToSettle)-5, *a.More)
	require.Contains(t, a.Answer, "more than there are")
	require.Contains(t, a.Looks, "17 %")
}

func TestSomeQuestionsNoNumberOfSessionsSettles(t *testing.T) {
	a := Settle(open(5, 0.7001, 0.5))
	require.Nil(t, a.ToSettle)
	require.Contains(t, a.Answer, "on the border")
	require.Equal(t, 27, *a.More)

	a = Settle(open(5, 0.9, 3))
	require.Nil(t, a.More)
	require.Contains(t, a.Answer, "spread too much")

	r := open(5, 0.6, 0.3)
	r.Uncertainty.Drift = 0.2 // 1.96·0.2 is more than ln(1/0.7)
	a = Settle(r)
	require.Contains(t, a.Answer, "drift")
	require.Nil(t, a.More)
}
