package exposure

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// shop makes series of several days in a row with all that real ones have: gaps,
// flags, warm-up, values of different resolution, holes, a sensor that starts late.
func shop(t *testing.T, r *rand.Rand, days int, zone *time.Location) (series []*dust.Series, tasks []dust.Task) {
	t.Helper()
	begin := time.Date(2026, 3, 27, 0, 0, 0, 0, zone) // a clock change two days later
	quanta := []float64{10, 1, 1000, 0}
	for k, name := range []string{"collar", "room", "slow", "late"} {
		s := dust.NewSeries(dust.Sensor{Name: name, Position: dust.Positions()[k%2]}, []dust.Channel{dust.PM25, dust.PM1, dust.PM25, dust.PM10}[k])
		pace := []int64{7000, 4000, 61_000, 11_000}[k]
		now, stop := begin.UnixMilli()+int64(r.IntN(40_000_000))*int64(k%3), begin.AddDate(0, 0, days).UnixMilli()
		level := 0.0
		for now < stop {
			level = 0.99*level + 0.3*r.NormFloat64()
			x := 20 * math.Exp(level)
			if quanta[k] > 0 {
				x = math.Round(x*quanta[k]) / quanta[k]
			} else {
				x = float64(float32(x))
			}
			flags := dust.Flags(0)
			switch r.IntN(200) {
			case 0:
				flags = dust.WarmUp
			case 1:
				flags = dust.Humid | dust.Saturated | dust.SaturatedCoarse
			case 2:
				flags, x = dust.AllZero, 0
			case 3:
				x = -x
			case 4:
				now += int64(r.IntN(4_000_000))
			case 5:
				flags = dust.Humid
			}
			require.NoError(t, s.Append(time.UnixMilli(now), x, flags))
			now += pace + int64(r.IntN(100))
		}
		series = append(series, s)
	}
	at := func(h float64) time.Time { return begin.Add(hours(h)) }
	tasks = []dust.Task{
		{Name: "sanding", Material: "oak", Person: "a", Start: at(9), Stop: at(11)},
		{Name: "routing", Person: "b", Start: at(10), Stop: at(10.5)},
		{Name: "night run", Start: at(20), Stop: at(53)},
		{Name: "backwards", Start: at(30), Stop: at(29)},
		{Name: "turning", Material: "ash", Start: at(float64(24*days) - 7)},
		{Name: "tomorrow", Start: at(float64(24*days) + 1)},
	}
	return series, tasks
}

// asColumns are the readings of a series of one UTC day, as a store has them:
// with a row without a value here and there.
func asColumns(s *dust.Series, from, to int64, perUnit int) (c Columns) {
	ms, value, flags := s.Columns()
	i, _ := slices.BinarySearch(ms, from)
	j, _ := slices.BinarySearch(ms, to)
	for ; i < j; i++ {
		if i%100 == 50 && i > 0 && ms[i]-ms[i-1] > 2 {
			c.MS, c.Flags, c.Floats, c.Missing = append(c.MS, ms[i]-1), append(c.Flags, dust.WarmUp), append(c.Floats, 0), append(c.Missing, true)
		}
		f := flags[i]
		if f.Has(dust.Saturated) {
			f = f&^dust.Saturated | dust.SaturatedIn(s.Channel)
		}
		c.MS, c.Flags, c.Floats, c.Missing = append(c.MS, ms[i]), append(c.Flags, f), append(c.Floats, value[i]), append(c.Missing, false)
	}
	if !slices.Contains(c.Missing, true) {
		c.Missing = nil
	}
	if perUnit > 0 {
		c.PerUnit = perUnit
		for _, x := range c.Floats {
			c.Ints = append(c.Ints, int32(math.Round(x*float64(perUnit))))
		}
		c.Floats = nil
	}
	return c
}

const utcDay = int64(24 * time.Hour / time.Millisecond)

// stream feeds an assessor by UTC days.
func stream(t *testing.T, a *Assessor, series []*dust.Series, columns bool) Result {
	t.Helper()
	from, to := int64(math.MaxInt64), int64(0)
	for _, s := range series {
		a.Track(s.Sensor, s.Channel)
		first, last, _ := s.Bounds()
		from, to = min(from, first.UnixMilli()), max(to, last.UnixMilli())
	}
	widest := 0
	for day := from / utcDay * utcDay; day < to; day += utcDay {
		noon := time.UnixMilli(day + day/1000%utcDay)
		rest, errs := make([]Columns, len(series)), make([]error, len(series))
		for k, s := range series {
			if columns {
				var before Columns
				before, rest[k] = asColumns(s, day, day+utcDay, []int{10, 1, 1000, 0}[k]).Cut(noon)
				require.NoError(t, a.tracks[k].Add(before))
			} else {
				require.NoError(t, a.tracks[k].AddSeries(s, time.UnixMilli(day), time.UnixMilli(day+utcDay)))
			}
		}
		if columns {
			a.AdvanceThen(noon, func(t *Track) {
				k := slices.Index(a.tracks, t)
				errs[k] = t.Add(rest[k])
			})
		}
		for k := range series {
			require.NoError(t, errs[k])
			if n := len(a.tracks[k].buffer.ms); n > 0 {
				widest = max(widest, int(a.tracks[k].buffer.ms[n-1]-a.tracks[k].buffer.ms[0]))
			}
		}
		a.Advance(time.UnixMilli(day + utcDay))
	}
	require.LessOrEqual(t, int64(widest), 50*time.Hour.Milliseconds(), "two days and the spring clock change are the most to be held")
	r, err := a.Result()
	require.NoError(t, err)
	return r
}

func asJSON(t *testing.T, r Result) string {
	t.Helper()
	data, err := json.MarshalIndent(r, "", " ")
	require.NoError(t, err)
	return string(data)
}

// What comes of a stream is byte for byte what comes of the whole, whichever way
// the shifts are found and the readings are kept.
func TestStreamEqualsTheWhole(t *testing.T) {
	for seed := range uint64(6) {
		zone := []*time.Location{time.UTC, centralEurope(t), time.FixedZone("", -9*3600)}[seed%3]
		series, tasks := shop(t, rand.New(rand.NewPCG(seed, 1)), 5, zone)
		for _, s := range series {
			s.FitHold()
		}
		in := Input{Limit: mustLimit(t, "de-aswg-a"), Tasks: tasks, Setups: []dust.SetupPeriod{{Setup: "old", From: tasks[0].Start}},
			Factors: map[string][]Factor{"collar": {respirableFactor}}}

		whole := in
		whole.Series, whole.Shifts = series, ShiftsFromReadings(series, zone)
		want := asJSON(t, mustAssess(t, whole))
		require.Contains(t, want, `"p99_mg_m3": 0`)
		require.Equal(t, want, asJSON(t, stream(t, NewAssessorOfDays(in, zone), series, false)))
		require.Equal(t, want, asJSON(t, stream(t, NewAssessorOfDays(in, zone), series, true)))
		in.Shifts = whole.Shifts
		require.Equal(t, want, asJSON(t, stream(t, NewAssessor(in), series, true)))

		hours := dust.ShiftHours{Start: 22 * time.Hour, End: 6 * time.Hour, Zone: zone}
		if seed%2 == 0 {
			hours.Start, hours.End = 8*time.Hour, 16*time.Hour
		}
		first, last, _ := bounds(tracksOf(t, series))
		whole.Shifts = slices.DeleteFunc(hours.Between(time.UnixMilli(first), time.UnixMilli(last)), func(s dust.Shift) bool {
			return !slices.ContainsFunc(series, func(x *dust.Series) bool {
				for range x.Spans(s.Start, s.End) {
					return true
				}
				return false
			})
		})
		want = asJSON(t, mustAssess(t, whole))
		require.Equal(t, want, asJSON(t, stream(t, NewAssessorOfHours(in, hours), series, true)))
	}
}

func tracksOf(t *testing.T, series []*dust.Series) (tracks []*Track) {
	t.Helper()
	a := NewAssessor(Input{})
	for _, s := range series {
		first, last, _ := s.Bounds()
		require.NoError(t, a.Track(s.Sensor, s.Channel).AddSeries(s, first, last))
	}
	return a.tracks
}

func TestReadingsMustComeInOrder(t *testing.T) {
	a := NewAssessorOfDays(Input{}, nil)
	track := a.Track(dust.Sensor{Name: "collar"}, dust.PM25)
	c := Columns{MS: []int64{1000, 2000}, Floats: []float64{1, 2}, Flags: []dust.Flags{0, 0}}
	require.NoError(t, track.Add(c))
	require.ErrorIs(t, track.Add(c), dust.ErrTimeBackwards)

	const n = 2*pieceRows + 10
	for _, at := range []int{1, 2, 100, 101, pieceRows - 1, pieceRows, pieceRows + 1, pieceRows + 2, n - 2, n - 1} {
		for _, perUnit := range []int{0, 10} {
			c := Columns{MS: make([]int64, n), PerUnit: perUnit, Ints: make([]int32, n), Floats: make([]float64, n), Flags: make([]dust.Flags, n)}
			for i := range c.MS {
				c.MS[i] = int64(i) * 1000
			}
			c.Flags[100] = dust.WarmUp
			require.NoError(t, a.Track(dust.Sensor{}, dust.PM25).Add(c))
			c.MS[at] = c.MS[at-1]
			require.ErrorIs(t, a.Track(dust.Sensor{}, dust.PM25).Add(c), dust.ErrTimeBackwards, "row %d", at)
		}
	}
}

// The blocks that the search passes over hold no higher window: the same as
// looking at every instant, to the last bit.
func TestPeakPassesOverNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 15))
	for n := range 400 {
		spans := randomSpans(r, 50+r.IntN(500), int64(1+r.IntN(9000)))
		for i := range spans {
			if n%3 > 0 { // whole numbers are exact; others may differ in the last bit
				spans[i].Value = math.Round(spans[i].Value * 10)
			}
			if n%3 == 2 { // few levels, many ties
				spans[i].Value = math.Floor(spans[i].Value / 60)
			}
		}
		from := start.Add(time.Duration(r.IntN(600_000)) * time.Millisecond)
		to := from.Add(15*time.Minute + time.Duration(r.IntN(3*3_600_000))*time.Millisecond)
		best := highest{complete: true}
		all := stretchOf(spans, from, to)
		best.scan(all.start(), all.start(), from.UnixMilli()+windowMs, to.UnixMilli())
		got, err := Max15min(spans, from, to)
		require.Equal(t, best.found, err == nil)
		if err != nil {
			continue
		}
		want := best.peak(all)
		if n%3 > 0 {
			require.Equal(t, want, got)
		}
		require.InEpsilon(t, want.Mean+1, got.Mean+1, 1e-12)
		require.Equal(t, want.Complete, got.Complete)
	}
}

// The definition taken word by word: sort, add up time, stop at the share.
func percentileByDefinition(spans []dust.Span, percent int64) float64 {
	sorted := slices.SortedFunc(slices.Values(spans), func(a, b dust.Span) int {
		if a.Value < b.Value {
			return -1
		}
		return 1
	})
	total, sum := int64(0), int64(0)
	for _, p := range sorted {
		total += p.To - p.From
	}
	for _, p := range sorted {
		if sum += p.To - p.From; sum*100 >= percent*total {
			return p.Value
		}
	}
	return math.NaN()
}

func TestPercentilesAreThoseOfTheDefinition(t *testing.T) {
	r := rand.New(rand.NewPCG(50, 95))
	for n := range 60 {
		s := dust.NewSeries(dust.Sensor{Name: "collar", Position: dust.BreathingZone}, dust.PM25)
		now := start
		for range 50 + r.IntN(3000) {
			x := 50 * math.Exp(2*r.NormFloat64())
			switch n % 4 {
			case 0:
				x = math.Round(x*10) / 10
			case 1:
				x = math.Round(x)
			case 2:
				x = math.Round(x*1000) / 1000
			}
			require.NoError(t, s.Append(now, x, 0))
			now = now.Add(time.Duration(200+r.IntN(9000)) * time.Millisecond)
		}
		got := oneShift(t, "eu-cmrd", s)
		spans := slices.Collect(s.Usable(start, at(hours(8))))
		for percent, p := range map[int64]*float64{50: got.P50, 95: got.P95, 99: got.P99} {
			require.InEpsilon(t, percentileByDefinition(spans, percent)/1000, *p, 1e-15, "%d %%", percent)
		}
		above := int64(0)
		for _, p := range spans {
			if p.Value > 1000*got.LimitMgM3 {
				above += p.To - p.From
			}
		}
		require.InDelta(t, float64(above)/60_000, *got.MinutesAboveLimit, 1e-12)
	}
}

// By hand: 10 min at 10, 9 at 20 and 1 at 3000 µg/m³. Half of the time the air was
// at or below 10; 95 % is reached at 20 (19 of 20 min); 99 % only at the top,
// which alone is above 2 mg/m³.
func TestPercentilesByHand(t *testing.T) {
	s := seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, 10 * time.Minute, 10, 0}, steady{10 * time.Minute, 19 * time.Minute, 20, 0},
		steady{19 * time.Minute, 20*time.Minute - 4*time.Second, 3000, 0})
	r := oneShift(t, "eu-cmrd", s)
	require.InDelta(t, 0.010, *r.P50, 0)
	require.InDelta(t, 0.020, *r.P95, 0)
	require.InDelta(t, 3, *r.P99, 0)
	require.InDelta(t, 1, *r.MinutesAboveLimit, 1e-12)

	atLimit := oneShift(t, "eu-cmrd", steadyDay(t, dust.BreathingZone, dust.PM25, 2000))
	require.InDelta(t, 0, *atLimit.MinutesAboveLimit, 0, "at the limit is not above it")
	silent := oneShift(t, "eu-cmrd", seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(8), 0, dust.AllZero}))
	require.Nil(t, silent.P50)
	require.Nil(t, silent.MinutesAboveLimit)
}

// A day at 1 Hz as a store hands it over: time per reading of everything but
// reading the store.
func BenchmarkAssessDay(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 4))
	c := Columns{PerUnit: 10}
	level, slow := 0.0, 0.0
	for i := range int64(86_400) {
		level = level*math.Exp(-1.0/45) + r.NormFloat64()*0.05
		slow = slow*math.Exp(-1.0/3600) + r.NormFloat64()*0.01
		x := 12 * math.Exp(level+slow)
		if i%7200 > 6500 {
			x += 180 * math.Exp(level)
		}
		c.MS, c.Ints, c.Flags = append(c.MS, start.UnixMilli()/utcDay*utcDay+i*1000+int64(r.IntN(12))), append(c.Ints, int32(x*10)), append(c.Flags, 0)
	}
	limit := mustLimitB(b, "eu-cmrd")
	a := NewAssessorOfDays(Input{Limit: limit}, nil)
	track := a.Track(dust.Sensor{Name: "collar"}, dust.PM25)
	for b.Loop() {
		if err := track.Add(c); err != nil {
			b.Fatal(err)
		}
		for i := range c.MS {
			c.MS[i] += utcDay
		}
		a.Advance(time.UnixMilli(c.MS[0] / utcDay * utcDay))
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/86_400, "ns/reading")
}

func mustLimitB(b *testing.B, id string) Limit {
	l, err := ChooseLimit(id)
	if err != nil {
		b.Fatal(err)
	}
	return l
}
