package efficiency

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

var (
	monday = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)
	before = dust.Sensor{Name: "inlet", Model: "senml_line", Position: dust.Upstream}
	behind = dust.Sensor{Name: "outlet", Model: "senml_line", Position: dust.Downstream}
)

// levels are constant levels by channel, in the channel's unit.
type levels map[dust.Channel]float64

// recorded is a run of ten minutes that starts so many hours after Monday 08:00.
func recorded(t *testing.T, hour float64, up, down levels, flags dust.Flags) Recorded {
	t.Helper()
	start := monday.Add(time.Duration(hour * float64(time.Hour)))
	stop := start.Add(10 * time.Minute)
	side := func(s dust.Sensor, l levels) Side {
		out := Side{}
		for c, value := range l {
			series := dust.NewSeries(s, c)
			for i := range 600 {
				require.NoError(t, series.Append(start.Add(time.Duration(i)*time.Second), value, flags))
			}
			out[c] = Measure(series, start, stop)
		}
		return out
	}
	return Recorded{
		Task: dust.Task{Name: "planing", Start: start, Stop: stop}, Setup: "cyclone",
		Up: side(before, up), Down: side(behind, down),
	}
}

func bins(n03, n05, n10 float64) levels { return levels{dust.N03: n03, dust.N05: n05, dust.N10: n10} }

func row(t *testing.T, r Result, label string) Row {
	t.Helper()
	for _, x := range r.Setups[0].BySize {
		if x.Label == label {
			return x
		}
	}
	t.Fatalf("no row %q", label)
	return Row{}
}

func analyse(t *testing.T, in Input) Result {
	t.Helper()
	r, err := Analyse(in)
	require.NoError(t, err)
	_, err = json.Marshal(r)
	require.NoError(t, err, "no infinity in the JSON")
	return r
}

func TestBinsAreDifferences(t *testing.T) {
	var runs []Recorded
	for i, p := range []float64{0.09, 0.1, 0.111111} {
		// 0.3–0.5 µm: 100 → 100·p; 0.5–1 µm: 300 → 300·p/10; above 1 µm: 100 → 10.
		runs = append(runs, recorded(t, float64(i), bins(500, 400, 100), bins(100*p+30*p+10, 30*p+10, 10), 0))
	}
	r := analyse(t, Input{Upstream: before, Downstream: behind, Runs: runs})
	fine := row(t, r, "0.3–0.5 µm")
	require.Equal(t, Measured, fine.State, fine.Why)
	require.InDelta(t, 90, *fine.Efficiency, 0.01)
	require.InDelta(t, 99, *row(t, r, "0.5–1 µm").Efficiency, 0.001)
	require.Equal(t, "runs", fine.Interval)
	// ln P lies ±0.10536 about ln 0.1: t(0.975, 2)·s/√3 = 4.3027·0.10536/√3.
	half := 4.3027 * math.Log(10.0/9) / math.Sqrt(3)
	require.InDelta(t, 100*(1-0.1*math.Exp(half)), *fine.EfficiencyLow, 0.02)
	require.InDelta(t, 100*(1-0.1*math.Exp(-half)), *fine.EfficiencyHigh, 0.02)
	require.Nil(t, fine.Q, "levels, not counts")

	ePM1 := r.Setups[0].Fractions[0]
	require.Equal(t, "ePM1", ePM1.Name)
	require.Greater(t, *ePM1.Efficiency, 90.0)
	require.Less(t, *ePM1.Efficiency, 99.0)
	require.Less(t, *ePM1.Lower, *ePM1.Efficiency)
	require.Nil(t, r.Setups[0].Fractions[1].Efficiency, "no bin reaches 2.5 µm")
	require.Contains(t, r.Setups[0].Fractions[1].Why, "2.5")
}

func TestOneRunCountsParticles(t *testing.T) {
	in := Input{Upstream: before, Downstream: behind, SampleFlow: 0.5,
		Runs: []Recorded{recorded(t, 0, bins(20, 3.3, 0), bins(0.14, 0, 0), 0)}}
	r := analyse(t, in)
	fine := row(t, r, "0.3–0.5 µm")
	// 0.5 cm³/s over 600 s are 300 cm³: 42 behind, 5010 before.
	want, err := FromCounts(Counted{42, 300}, Counted{5010, 300})
	require.NoError(t, err)
	require.InDelta(t, 100*want.P, *fine.Penetration, 1e-9)
	require.InDelta(t, 100*want.High, *fine.PenetrationHigh, 1e-9)
	require.Equal(t, "counting", fine.Interval)
	require.Contains(t, fine.Why, "one run")

	zero := row(t, r, "0.5–1 µm")
	require.Equal(t, AtLeast, zero.State)
	require.Nil(t, zero.Efficiency, "never 100 %")
	require.InDelta(t, 100*(1+math.Log(0.05)/990), *zero.AtLeast, 1e-6) // 3.3·300 before, rule of three
	require.Contains(t, r.Setups[0].Fractions[0].Why, "at least")

	in.SampleFlow = 0
	r = analyse(t, in)
	require.Equal(t, CannotTell, row(t, r, "0.5–1 µm").State)
	require.Contains(t, row(t, r, "0.5–1 µm").Why, "--sample-flow")
	alone := row(t, r, "0.3–0.5 µm")
	require.NotNil(t, alone.Efficiency)
	require.Nil(t, alone.EfficiencyLow, "one run without counts has no interval")
}

func TestDerivedBinsCannotTell(t *testing.T) {
	run := recorded(t, 0, bins(500, 400, 100), bins(100, 60, 10), 0)
	for _, side := range []Side{run.Up, run.Down} {
		side[dust.PM10], side[dust.PM25] = side[dust.N03], side[dust.N05]
	}
	pms := before
	pms.Model = "pms5003"
	r := analyse(t, Input{Upstream: pms, Downstream: behind, Runs: []Recorded{run}})
	for _, label := range []string{"0.3–0.5 µm", "0.5–1 µm", "PM10 mass"} {
		x := row(t, r, label)
		require.Equal(t, CannotTell, x.State, label)
		require.NotEmpty(t, x.Why)
		require.Nil(t, x.Efficiency)
		require.NotNil(t, x.Upstream, "what was read is shown")
	}
	require.Equal(t, Measured, row(t, r, "all it counts, > 0.3 µm").State)
	require.Equal(t, Measured, row(t, r, "PM2.5 mass").State)
	require.Nil(t, r.Setups[0].Fractions[0].Efficiency)

	for label, want := range map[Bin]bool{{0.3, 0.5}: true, {0.5, 1}: true, {1, 2.5}: false, {4, 10}: false} {
		why, _ := quantity{bin: label}.judge("sps30")
		require.Equal(t, want, why == "", "%v", label)
	}
	why, note := quantity{bin: Bin{1, 2.5}}.judge("")
	require.Empty(t, why)
	require.NotEmpty(t, note, "an instrument of one's own")
}

func TestTheZeroCountIsTakenOff(t *testing.T) {
	in := Input{Upstream: before, Downstream: behind, Runs: []Recorded{
		recorded(t, 1, levels{dust.N03: 102}, levels{dust.N03: 15}, 0)}}
	require.InDelta(t, 100*15.0/102, *row(t, analyse(t, in), "all it counts, > 0.3 µm").Penetration, 1e-9)
	in.Zero = []Recorded{recorded(t, 0, levels{dust.N03: 2}, levels{dust.N03: 5}, 0)}
	require.InDelta(t, 10, *row(t, analyse(t, in), "all it counts, > 0.3 µm").Penetration, 1e-9)

	// Exchanged, the zero counts go with their sensors.
	swapped := recorded(t, 1, levels{dust.N03: 105}, levels{dust.N03: 12}, 0)
	swapped.Exchanged = true
	in.Runs = []Recorded{swapped}
	require.InDelta(t, 10, *row(t, analyse(t, in), "all it counts, > 0.3 µm").Penetration, 1e-9)
}

func TestExchangedSensors(t *testing.T) {
	const gain = 1.25 // the outlet's sensor reads so much more
	r := rand.New(rand.NewPCG(6, 6))
	var runs []Recorded
	for i := range 8 {
		p := 0.08 * math.Exp(0.1*r.NormFloat64())
		if i%2 == 0 {
			runs = append(runs, recorded(t, float64(i), levels{dust.PM25: 300}, levels{dust.PM25: 300 * p * gain}, 0))
			continue
		}
		x := recorded(t, float64(i), levels{dust.PM25: 300 * gain}, levels{dust.PM25: 300 * p}, 0)
		x.Exchanged = true
		runs = append(runs, x)
	}
	result := analyse(t, Input{Upstream: before, Downstream: behind, Runs: runs})
	mass := row(t, result, "PM2.5 mass")
	require.True(t, result.Exchanged)
	require.Less(t, *mass.PenetrationLow, 8.0)
	require.Greater(t, *mass.PenetrationHigh, 8.0)
	require.InDelta(t, gain, *mass.Gain, 0.15)
	require.Contains(t, result.Setups[0].Loading.Why.String(), "exchanged")
	for _, w := range result.Warnings {
		require.NotContains(t, w, "10 % or more")
	}
}

func TestLoading(t *testing.T) {
	var runs []Recorded
	for i := range 8 {
		// 10 % less comes through after each run of 10 min, with a little scatter.
		p := 0.2 * math.Pow(0.9, float64(i)) * (1 + 0.01*float64(i%3-1))
		runs = append(runs, recorded(t, float64(i), levels{dust.PM25: 1000}, levels{dust.PM25: 1000 * p}, 0))
	}
	l := analyse(t, Input{Upstream: before, Downstream: behind, Runs: runs, DuctFlow: 600}).Setups[0].Loading
	require.NotNil(t, l)
	require.Empty(t, l.Why)
	want := 100 * (math.Pow(0.9, 60) - 1) // 10 h are 60 runs
	require.InDelta(t, want, *l.ChangePer10h, 0.1)
	require.Less(t, *l.ChangeHigh, 0.0)
	require.InDelta(t, 20/math.Sqrt(0.9), *l.AtStart, 0.3) // 20 % stands for the middle of the first run
	require.Len(t, l.Runs, 8)
	require.InDelta(t, 100, *l.Runs[0].FedMg, 1e-9) // 1000 µg/m³ · 600 m³/h · 1/6 h
	require.InDelta(t, 19.8, *l.Runs[0].PassedMg, 1e-9)
	require.InDelta(t, 7.0/6, l.Runs[7].HoursBefore, 1e-12)
	few := analyse(t, Input{Upstream: before, Downstream: behind, Runs: runs[:4]}).Setups[0].Loading
	require.Nil(t, few.ChangePer10h)
	require.NotEmpty(t, few.Why)
}

func TestRunsThatCannotBeUsed(t *testing.T) {
	good := recorded(t, 0, levels{dust.PM25: 100}, levels{dust.PM25: 10}, 0)
	overlap := recorded(t, 0.1, levels{dust.PM25: 100}, levels{dust.PM25: 10}, 0)
	deaf := recorded(t, 1, levels{dust.PM25: 100}, nil, 0)
	running := recorded(t, 2, levels{dust.PM25: 100}, levels{dust.PM25: 10}, 0)
	running.Task.Stop = time.Time{}
	r := analyse(t, Input{Upstream: before, Downstream: behind, Runs: []Recorded{running, deaf, overlap, good}})
	require.Equal(t, 1, r.Setups[0].Runs)
	require.Len(t, r.Excluded, 3)

	top := recorded(t, 0, levels{dust.PM25: 1000}, levels{dust.PM25: 10}, dust.Saturated)
	x := row(t, analyse(t, Input{Upstream: before, Downstream: behind, Runs: []Recorded{top}}), "PM2.5 mass")
	require.Equal(t, CannotTell, x.State)
	require.Contains(t, x.Why, "top of the sensor's range")

	warm := recorded(t, 0, levels{dust.PM25: 100}, levels{dust.PM25: 10}, dust.WarmUp)
	x = row(t, analyse(t, Input{Upstream: before, Downstream: behind, Runs: []Recorded{warm}}), "PM2.5 mass")
	require.Contains(t, x.Why, "nothing was measured")

	leak := recorded(t, 0, levels{dust.PM25: 100}, levels{dust.PM25: 130}, 0)
	r = analyse(t, Input{Upstream: before, Downstream: behind, Runs: []Recorded{leak}})
	require.InDelta(t, -30, *row(t, r, "PM2.5 mass").Efficiency, 1e-9)
	require.Contains(t, r.Warnings[len(r.Warnings)-1], "more dust behind")
	clean := recorded(t, 0, levels{dust.PM25: 0}, levels{dust.PM25: 0}, 0)
	r = analyse(t, Input{Upstream: before, Downstream: behind, Runs: []Recorded{clean}})
	require.Equal(t, CannotTell, row(t, r, "PM2.5 mass").State)
}

func TestBadQuestions(t *testing.T) {
	run := recorded(t, 0, levels{dust.PM25: 100}, levels{dust.PM25: 10}, 0)
	_, err := Analyse(Input{Upstream: before, Downstream: before, Runs: []Recorded{run}})
	require.ErrorContains(t, err, "name two")
	_, err = Analyse(Input{Upstream: before, Downstream: behind})
	require.ErrorIs(t, err, ErrTooFew)
	_, err = Analyse(Input{Upstream: before, Downstream: behind, Runs: []Recorded{run}, DuctFlow: -1})
	require.ErrorIs(t, err, ErrBadInput)
	_, err = Analyse(Input{Upstream: before, Downstream: behind, Runs: []Recorded{run}, SampleFlow: math.NaN()})
	require.ErrorIs(t, err, ErrBadInput)
}

func TestSetupsAreKeptApart(t *testing.T) {
	a := recorded(t, 0, levels{dust.PM25: 100}, levels{dust.PM25: 10}, 0)
	b := recorded(t, 1, levels{dust.PM25: 100}, levels{dust.PM25: 1}, 0)
	b.Setup = "fleece"
	r := analyse(t, Input{Upstream: before, Downstream: behind, Runs: []Recorded{a, b}})
	require.Len(t, r.Setups, 2)
	require.InDelta(t, 90, *r.Setups[0].BySize[0].Efficiency, 1e-9)
	require.InDelta(t, 99, *r.Setups[1].BySize[0].Efficiency, 1e-9)
}
