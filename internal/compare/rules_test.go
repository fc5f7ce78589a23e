package compare

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

func TestCompareRefusesTheQuestion(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	for name, c := range map[string]struct {
		change func(in *Input)
		text   string
		is     error
	}{
		"unknown setup":    {func(in *Input) { in.After = "newer hood" }, `"newer hood": the diary holds "old hood", "new hood"`, dust.ErrUnknownSetup},
		"no setups":        {func(in *Input) { in.Setups = nil }, "holds no setup yet", dust.ErrUnknownSetup},
		"same setup":       {func(in *Input) { in.After = in.Before }, "name two setups", nil},
		"no readings":      {func(in *Input) { in.Metric = dust.PM10 }, "of pm10", dust.ErrNoReadings},
		"empty series":     {func(in *Input) { in.Series = []*dust.Series{dust.NewSeries(dust.Sensor{}, dust.PM25)} }, "pm2_5", dust.ErrNoReadings},
		"no series":        {func(in *Input) { in.Series = nil }, "pm2_5", dust.ErrNoReadings},
		"humidity":         {func(in *Input) { in.Metric = dust.Humidity }, "cannot be compared", nil},
		"no such channel":  {func(in *Input) { in.Metric = dust.ChannelCount }, "can be compared", nil},
		"confidence as %":  {func(in *Input) { in.Confidence = 95 }, "as in 0.95", nil},
		"smallest change":  {func(in *Input) { in.SmallestChangePercent = 100 }, "between 0 and 100", nil},
		"a second sensor":  {func(in *Input) { in.Series = append(in.Series, dust.NewSeries(dust.Sensor{Name: "door"}, dust.PM10)) }, "choose one sensor", nil},
		"negative change":  {func(in *Input) { in.SmallestChangePercent = -30 }, "between 0 and 100", nil},
		"blank setup name": {func(in *Input) { in.Before = "" }, `unknown setup ""`, dust.ErrUnknownSetup},
	} {
		t.Run(name, func(t *testing.T) {
			in := s.in
			in.Series = append([]*dust.Series{}, in.Series...)
			c.change(&in)
			_, err := Compare(in)
			require.Error(t, err)
			if c.is != nil {
				require.ErrorIs(t, err, c.is)
			}
			if name != "humidity" {
				require.ErrorContains(t, err, c.text)
			}
		})
	}
}

// excluded finds the reason why something was left out.
func excluded(res Result, what, name string) string {
	for _, x := range res.Excluded {
		if x.What == what && contains(x.Name.String(), name) {
			return x.Why.String()
		}
	}
	return ""
}

func TestCompareListsWhatItLeavesOut(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	want := s.compare()
	friday := monday.AddDate(0, 0, 9)
	diary := func(name string, start time.Time, length time.Duration) {
		s.in.Tasks = append(s.in.Tasks, dust.Task{Name: name, Start: start, Stop: start.Add(length)})
	}
	// 178 s of 240 s measured (the last reading speaks 5 s) is just too little. It
	// is a session of its own day, which then keeps none of its runs.
	s.readings(friday.AddDate(0, 0, 1), friday.AddDate(0, 0, 1).Add(174*time.Second), flat(90))
	diary("thin", friday.AddDate(0, 0, 1), runLength)
	diary("across", monday.AddDate(0, 0, 5).Add(-time.Hour), 2*time.Hour)
	s.in.Tasks = append(s.in.Tasks, dust.Task{Name: "running", Start: friday.AddDate(0, 0, 2)})
	s.readings(friday.AddDate(0, 0, 3), friday.AddDate(0, 0, 3).Add(runLength), flat(70))
	diary("turning", friday.AddDate(0, 0, 3), runLength)

	res := s.compare()
	require.Contains(t, excluded(res, "run", "thin"), "measured for 74 % of its time, 75 % needed")
	require.Equal(t, "the setup changed while it ran", excluded(res, "run", "across"))
	require.Equal(t, "still running", excluded(res, "run", "running"))
	require.Contains(t, excluded(res, "task", "turning"), "one setup only")
	require.Contains(t, excluded(res, "session", friday.AddDate(0, 0, 1).Format(time.DateOnly)), "0 of its 1 run")
	require.Contains(t, excluded(res, "session", friday.AddDate(0, 0, 3).Format(time.DateOnly)), "none of its tasks")
	requireSame(t, numbers(want), numbers(res))
	for _, row := range res.Sessions {
		require.Equal(t, row.Runs > 0, row.Adjusted != nil)
	}
}

func TestCompareKeepsARunOfThreeQuarters(t *testing.T) {
	s := newShop(t)
	s.setup("old hood", monday)
	s.setup("new hood", monday.AddDate(0, 0, 3))
	for i := range 6 {
		at := monday.AddDate(0, 0, i)
		s.readings(at, at.Add(176*time.Second), flat(float64(100+i))) // + 5 s hold: 180 s of 240 s
		s.in.Tasks = append(s.in.Tasks, dust.Task{Name: "sanding", Start: at, Stop: at.Add(runLength)})
	}
	res := s.compare()
	require.Empty(t, res.Excluded)
	require.InDelta(t, 3.0, res.Sessions[0].Minutes, 1e-9)
	require.InDelta(t, 12.0, res.Coverage[0].MinutesExpected, 1e-9)
	require.InDelta(t, 9.0, res.Coverage[0].MinutesMeasured, 1e-9)
}

func TestCompareUnusableReadingsAreNotMeasured(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld[:3], welchNew[:3])
	s.flags = dust.Stuck | dust.Humid
	s.run("sanding", monday.AddDate(0, 0, 6), runLength, flat(7))
	res := s.compare()
	require.Contains(t, excluded(res, "run", "sanding 2024-05-12"), "measured for 0 %")
	require.InDelta(t, 4, res.Coverage[1].MinutesExcluded["stuck"], 1e-9)
	require.Equal(t, 4, res.Coverage[1].RunsSeen)
	require.Equal(t, 3, res.Coverage[1].RunsKept)
}

// With a third of the new runs thrown out and none of the old, everything is put
// back in: the answer hangs on what was thrown out.
func TestCompareRepeatsWithEverythingIn(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{412, 655, 301, 518}, []float64{105, 60, 80, 121})
	require.Equal(t, ReducedEnough, s.compare().Verdict)
	s.flags = dust.Stuck
	for i := range 2 {
		s.run("sanding", monday.AddDate(0, 0, 8+i), runLength, flat(900))
	}
	res := s.compare()
	require.Equal(t, NoReductionShown, res.Verdict)
	require.Contains(t, res.Why.String(), "hangs on the readings and runs that were left out")
	requireWarning(t, res, "0 of 4 runs before, 2 of 6 after")
}

func TestCompareSplitsSessionsBySetupAndDay(t *testing.T) {
	zone := time.FixedZone("", 5*3600) // local midnight is 19:00 UTC
	s := newShop(t)
	s.in.Zone = zone
	day := monday.Add(6 * time.Hour) // 14:00 UTC, 19:00 local
	s.setup("old hood", day)
	for i := range 4 { // 14:00, 18:00 the same local day; 22:00, 02:00 the next
		s.run("sanding", day.Add(time.Duration(i)*4*time.Hour), runLength, flat(100+float64(i)))
	}
	s.setup("new hood", day.Add(20*time.Hour))
	s.run("sanding", day.Add(20*time.Hour), runLength, flat(50))
	s.setup("old hood", day.Add(21*time.Hour))
	s.run("sanding", day.Add(21*time.Hour), runLength, flat(99))
	s.setup("old hood", day.Add(22*time.Hour)) // declared again: still the same spell
	s.run("sanding", day.Add(22*time.Hour), runLength, flat(101))
	res := s.compare()
	var got []string
	for _, x := range res.Sessions {
		got = append(got, fmt.Sprint(x.Date, " ", x.Setup, " ", x.Runs))
	}
	require.Equal(t, []string{
		"2024-05-06 old hood 2", "2024-05-07 old hood 2", "2024-05-07 new hood 1", "2024-05-07 old hood 2",
	}, got)
	require.Equal(t, TooLittleData, res.Verdict)
	require.Nil(t, res.CILow)
	require.NotNil(t, res.Ratio)
	require.Contains(t, res.Why.String(), "hint, not a result")
}

func TestComparePauseDoesNotMakeASession(t *testing.T) {
	s := newShop(t)
	stop := func(t time.Time) { s.in.Setups[len(s.in.Setups)-1].To = t }
	s.setup("old hood", monday)
	s.run("sanding", monday, runLength, flat(100))
	stop(monday.Add(time.Hour))
	s.setup("old hood", monday.Add(2*time.Hour))
	s.run("sanding", monday.Add(2*time.Hour), runLength, flat(120))
	s.setup("new hood", monday.Add(4*time.Hour))
	s.run("sanding", monday.Add(4*time.Hour), runLength, flat(60))
	require.Len(t, s.compare().Sessions, 2)
}

// Another setup in between splits a day, but the pieces share that day: three
// of them are not three sessions.
func TestCompareDoesNotGainSessionsBySplittingADay(t *testing.T) {
	s := newShop(t)
	for d, name := range []string{"old hood", "new hood"} {
		for k := range 4 {
			at := monday.AddDate(0, 0, d).Add(time.Duration(2*k) * time.Hour)
			s.setup(name, at)
			s.run("sanding", at, runLength, flat(float64(100-60*d)+float64(k)))
			s.setup("none", at.Add(time.Hour))
		}
	}
	res := s.compare()
	require.Len(t, res.Sessions, 8)
	require.Equal(t, [2]int{1, 1}, [2]int{res.NBefore, res.NAfter})
	require.Equal(t, TooLittleData, res.Verdict)
	requireWarning(t, res, "count as one")
}

func TestCompareWithoutDiary(t *testing.T) {
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	s.in.Tasks = nil
	res := s.compare() // 4 min a day is less than 15
	require.Equal(t, TooLittleData, res.Verdict)
	require.Contains(t, excluded(res, "run", "2024-05-06"), "15 min needed")
	require.Contains(t, res.Why.String(), "There is no diary")

	s = newShop(t)
	day := monday
	for i, levels := range [][]float64{welchOld, welchNew} {
		s.setup([]string{"old hood", "new hood"}[i], day)
		for _, x := range levels {
			s.readings(day, day.Add(20*time.Minute), flat(x))
			day = day.AddDate(0, 0, 1)
		}
	}
	res = s.compare()
	require.InEpsilon(t, 0.3982775623717419, *res.Ratio, 1e-6) // case welch1
	requireWarning(t, res, "idle time counts as work")
}

func TestCompareWithoutCommonTask(t *testing.T) {
	s := newShop(t)
	s.setup("old hood", monday)
	s.setup("new hood", monday.AddDate(0, 0, 3))
	for i := range 6 {
		s.run([]string{"sanding", "sawing"}[i/3], monday.AddDate(0, 0, i), runLength, flat(float64(100+i)))
	}
	res := s.compare()
	require.Equal(t, TooLittleData, res.Verdict)
	require.Contains(t, res.Why.String(), "No task was done under both setups")
	require.Nil(t, res.Ratio)
	require.NotEmpty(t, excluded(res, "task", "sanding"))
}

func TestCompareDropsSessionsNoTaskLinks(t *testing.T) {
	s := newShop(t)
	s.setup("old hood", monday)
	s.setup("new hood", monday.AddDate(0, 0, 4))
	for i := range 8 {
		task := "sanding"
		if i == 3 || i == 7 {
			task = "turning" // one day each, and nothing else on those days
		}
		s.run(task, monday.AddDate(0, 0, i), runLength, flat(float64(100+i)))
	}
	res := s.compare()
	require.Equal(t, [2]int{3, 3}, [2]int{res.NBefore, res.NAfter})
	require.Contains(t, excluded(res, "session", "2024-05-09"), "shares no task")
}

func TestCompareFewDistinctSituations(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{100, 110, 120}, nil)
	s.setup("new hood", monday.AddDate(0, 0, 3))
	res := s.compare()
	require.Equal(t, TooLittleData, res.Verdict)
	require.Contains(t, res.Why.String(), "no measured work under “new hood”")
	require.Equal(t, "D", res.Design)
	require.NotNil(t, res.SessionsNeeded)

	s = newShop(t) // a stuck sensor that nobody flagged
	s.blocks([]float64{100, 100, 100}, []float64{100, 100, 100})
	res = s.compare()
	require.Equal(t, TooLittleData, res.Verdict)
	require.Contains(t, res.Why.String(), "do not differ at all")
}

func TestCompareSaysHowManyMoreSessions(t *testing.T) {
	s := newShop(t)
	s.blocks([]float64{97, 154, 61}, []float64{88, 140, 52})
	res := s.compare()
	require.Equal(t, NoReductionShown, res.Verdict)
	// pooled sd of the logs, then the noncentral t: R power.t.test is the source
	// of SessionsNeeded itself (cases power_*).
	n, err := SessionsNeeded(0.3, pooledSD(mustLogs(t, 97, 154, 61), mustLogs(t, 88, 140, 52)), false, 0.8, 0.95)
	require.NoError(t, err)
	require.Equal(t, int(n)+1, *res.SessionsNeeded)
	require.Equal(t, int(n)+1-3, *res.MoreSessions)
	require.Contains(t, res.Why.String(), fmt.Sprintf("About %d more sessions", int(n)+1-3))
	require.Contains(t, res.Why.String(), "not the same as no reduction")
}

func mustLogs(t *testing.T, x ...float64) []float64 {
	t.Helper()
	y, err := logs(x)
	require.NoError(t, err)
	return y
}

func TestComparePermutationGuard(t *testing.T) {
	// One old day lies among the new ones. Of the 70 relabellings of 4 v 4 the
	// two full separations and the two that swap just that pair are as extreme:
	// p = 4/70, although Welch's interval excludes 1.
	old, new := []float64{400, 410, 420, 330}, []float64{300, 310, 320, 340}
	r, err := WelchLogRatio(old, new, 0.95)
	require.NoError(t, err)
	require.True(t, VerdictFor(r.Low, r.High, 0.3).claimsChange())
	s := newShop(t)
	s.blocks(old, new)
	res := s.compare()
	require.InDelta(t, 4.0/70, *res.PermutationP, 1e-12)
	require.Equal(t, NoReductionShown, res.Verdict)
	require.Contains(t, res.Why.String(), "in 5.7 % of cases")
}

// Any diary at all, however odd, gives a result or an error, never a panic, and
// never a word of change from fewer than three sessions.
func TestCompareAnyDiary(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	pick := func(list ...string) string { return list[rng.IntN(len(list))] }
	for range 400 {
		s := newShop(t)
		s.derive(dust.PM10, func(x float64) float64 { return x + float64(rng.IntN(3)) })
		at := monday
		for range rng.IntN(12) {
			at = at.Add(time.Duration(1+rng.IntN(1500)) * time.Minute)
			if rng.IntN(3) == 0 {
				s.setup(pick("old hood", "new hood", "none"), at)
			}
			level := float64(rng.IntN(4)) * 50
			s.flags = []dust.Flags{0, 0, 0, dust.Stuck, dust.Humid | dust.Saturated}[rng.IntN(5)]
			s.run(pick("sanding", "sawing", ""), at, time.Duration(rng.IntN(90))*time.Second, flat(level))
		}
		s.in.Tasks = append(s.in.Tasks, dust.Task{Name: "open", Start: at})
		if rng.IntN(2) == 0 {
			s.in.Background = s.in.Series[1]
		}
		if rng.IntN(4) == 0 {
			s.in.Tasks = nil
		}
		res, err := Compare(s.in)
		if err != nil {
			continue
		}
		for _, text := range texts(res) {
			require.NotContains(t, text, "NaN")
			require.NotContains(t, text, `"`)
		}
		_, err = json.Marshal(res)
		require.NoError(t, err)
		if res.Verdict.claimsChange() {
			require.GreaterOrEqual(t, min(res.NBefore, res.NAfter), 3)
		}
	}
}
