// Package storetest holds the tests that every back end of package store passes.
package storetest

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store"
)

// start is an arbitrary moment; nothing here depends on it.
var start = time.Date(2025, 3, 10, 8, 0, 0, 0, time.UTC)

// Run runs the suite. Each test gets an empty store from open, which must also
// see to its closing.
func Run(t *testing.T, open func(t *testing.T) store.Store) {
	for _, test := range []struct {
		name string
		run  func(t *testing.T, s store.Store)
	}{
		{"Empty", testEmpty},
		{"RoundTrip", testRoundTrip},
		{"ExactNumbers", testExactNumbers},
		{"MissingStaysMissing", testMissing},
		{"Flags", testFlags},
		{"AppendTwice", testAppendTwice},
		{"DuplicateInBatch", testDuplicateInBatch},
		{"SameTimeTwoSensors", testSameTime},
		{"BadReadingRefusesBatch", testBadReading},
		{"EmptyBatch", testEmptyBatch},
		{"TimeOrder", testTimeOrder},
		{"MillisecondsCutOff", testMilliseconds},
		{"BySensor", testBySensor},
		{"ByTimeHalfOpen", testHalfOpen},
		{"ByChannel", testByChannel},
		{"AwkwardNames", testAwkwardNames},
		{"LargeBatch", testLargeBatch},
		{"StopEarly", testStopEarly},
		{"ReadTwice", testReadTwice},
		{"CanceledAppend", testCanceledAppend},
		{"CanceledRead", testCanceledRead},
		{"Span", testSpan},
		{"SeveralDays", testSeveralDays},
		{"LateReadings", testLateReadings},
	} {
		t.Run(test.name, func(t *testing.T) { test.run(t, open(t)) })
	}
}

// Readings makes n readings of one sensor, one a second, with four channels
// whose values differ from reading to reading.
func Readings(sensor string, from time.Time, n int) []dust.Reading {
	list := make([]dust.Reading, n)
	for i := range list {
		r := &list[i]
		r.Time, r.Sensor = from.Add(time.Duration(i)*time.Second), sensor
		x := float64(i%1000) / 10
		r.Values.Set(dust.PM1, x)
		r.Values.Set(dust.PM25, x+1)
		r.Values.Set(dust.PM10, x+2)
		r.Values.Set(dust.N03, x*100)
	}
	return list
}

// All reads everything that q selects.
func All(t testing.TB, s store.Store, q dust.Query) []dust.Reading {
	t.Helper()
	var list []dust.Reading
	for r, err := range s.Readings(t.Context(), q) {
		require.NoError(t, err)
		list = append(list, r)
	}
	return list
}

// Same requires got to be want. It reports the first difference only: whole
// readings by the thousand help nobody.
func Same(t testing.TB, want, got []dust.Reading, about ...any) {
	t.Helper()
	for i := range min(len(want), len(got)) {
		if want[i] != got[i] {
			require.Equal(t, describe(want[i]), describe(got[i]), append([]any{fmt.Sprintf("reading %d of %d", i, len(want))}, about...)...)
			require.FailNow(t, "readings print alike but differ", "reading %d: %#v, %#v", i, want[i], got[i])
		}
	}
	require.Equal(t, len(want), len(got), about...)
}

func describe(r dust.Reading) string {
	text := fmt.Sprintf("%s %q %s", r.Time.Format(time.RFC3339Nano), r.Sensor, r.Flags)
	for c, x := range r.Values.All() {
		text += fmt.Sprintf(" %s=%g", c, x)
	}
	return text
}

func reading(sensor string, after time.Duration, values map[dust.Channel]float64) dust.Reading {
	r := dust.Reading{Time: start.Add(after), Sensor: sensor}
	for c, x := range values {
		r.Values.Set(c, x)
	}
	return r
}

func pm(sensor string, after time.Duration, x float64) dust.Reading {
	return reading(sensor, after, map[dust.Channel]float64{dust.PM25: x})
}

func add(t *testing.T, s store.Store, want int, batch ...dust.Reading) {
	t.Helper()
	added, err := s.Append(t.Context(), batch)
	require.NoError(t, err)
	require.Equal(t, want, added)
}

func testEmpty(t *testing.T, s store.Store) {
	require.Empty(t, All(t, s, dust.Query{}))
	require.Empty(t, All(t, s, dust.Query{Sensors: []string{"nobody"}, From: start, To: start.Add(time.Hour)}))
	spans, err := s.Span(t.Context())
	require.NoError(t, err)
	require.Empty(t, spans)
}

func testRoundTrip(t *testing.T, s store.Store) {
	r := dust.Reading{Time: start.Add(123 * time.Millisecond), Sensor: "bench"}
	for c := range dust.ChannelCount {
		r.Values.Set(c, 1.5+float64(c))
	}
	add(t, s, 1, r)
	Same(t, []dust.Reading{r}, All(t, s, dust.Query{}))
}

func testExactNumbers(t *testing.T, s store.Store) {
	numbers := []float64{0, 0.1, 1.0 / 3, -0.7, 1e-300, 5e-324, math.MaxFloat64, -math.MaxFloat64, 1 << 53, 1<<53 - 1, 65535, math.Pi}
	var batch []dust.Reading
	for i, x := range numbers {
		batch = append(batch, pm("bench", time.Duration(i)*time.Second, x))
	}
	add(t, s, len(batch), batch...)
	got := All(t, s, dust.Query{})
	require.Len(t, got, len(numbers))
	for i, x := range numbers {
		y, ok := got[i].Values.Get(dust.PM25)
		require.True(t, ok, "%g", x)
		require.Equal(t, math.Float64bits(x), math.Float64bits(y), "%g came back as %g", x, y)
	}
}

func testMissing(t *testing.T, s store.Store) {
	batch := []dust.Reading{
		reading("bench", 0, map[dust.Channel]float64{dust.PM25: 7, dust.Humidity: 40}),
		reading("bench", time.Second, map[dust.Channel]float64{dust.Humidity: 0}),
		reading("bench", 2*time.Second, map[dust.Channel]float64{dust.PM25: 0}),
		reading("bench", 3*time.Second, nil),
	}
	batch[3].Flags = dust.MissingValue
	add(t, s, 4, batch...)
	Same(t, batch, All(t, s, dust.Query{}))
}

func testFlags(t *testing.T, s store.Store) {
	var batch []dust.Reading
	for i := range 32 {
		r := pm("bench", time.Duration(i)*time.Second, 1)
		r.Flags = 1 << i
		batch = append(batch, r)
	}
	all := pm("bench", time.Minute, 1)
	all.Flags = math.MaxUint32
	batch = append(batch, all)
	add(t, s, len(batch), batch...)
	Same(t, batch, All(t, s, dust.Query{}))
	for _, r := range All(t, s, dust.Query{Channels: []dust.Channel{dust.PM1}}) {
		require.NotZero(t, r.Flags, "flags belong to every selection of channels")
	}
}

func testAppendTwice(t *testing.T, s store.Store) {
	first := []dust.Reading{pm("bench", 0, 1), pm("bench", time.Second, 2)}
	add(t, s, 2, first...)
	add(t, s, 0, first...)
	changed := reading("bench", time.Second, map[dust.Channel]float64{dust.PM25: 99, dust.PM10: 99})
	changed.Flags = dust.Stuck
	third := pm("bench", 2*time.Second, 3)
	add(t, s, 1, changed, third)
	Same(t, append(first, third), All(t, s, dust.Query{}), "the reading written first must stay, whole")
}

func testDuplicateInBatch(t *testing.T, s store.Store) {
	second := reading("bench", 0, map[dust.Channel]float64{dust.PM25: 2, dust.PM10: 5})
	add(t, s, 1, pm("bench", 0, 1), second)
	Same(t, []dust.Reading{pm("bench", 0, 1)}, All(t, s, dust.Query{}))
}

func testSameTime(t *testing.T, s store.Store) {
	// Written so that neither the order of writing nor of first sight is by name.
	add(t, s, 1, pm("c", 0, 3))
	add(t, s, 3, pm("b", time.Second, 5), pm("a", 0, 1), pm("b", 0, 2))
	add(t, s, 1, pm("a", time.Second, 4))
	want := []dust.Reading{pm("a", 0, 1), pm("b", 0, 2), pm("c", 0, 3), pm("a", time.Second, 4), pm("b", time.Second, 5)}
	Same(t, want, All(t, s, dust.Query{}))
}

func testBadReading(t *testing.T, s store.Store) {
	for _, bad := range []dust.Reading{{Time: start}, {Sensor: "bench"}} {
		added, err := s.Append(t.Context(), []dust.Reading{pm("bench", 0, 1), bad, pm("bench", time.Second, 2)})
		require.Error(t, err)
		require.Zero(t, added)
	}
	require.Empty(t, All(t, s, dust.Query{}), "nothing of a refused batch may stay")
}

func testEmptyBatch(t *testing.T, s store.Store) {
	add(t, s, 0)
	require.Empty(t, All(t, s, dust.Query{}))
}

func testTimeOrder(t *testing.T, s store.Store) {
	batch := Readings("bench", start, 50)
	backwards := slices.Clone(batch[25:])
	slices.Reverse(backwards)
	add(t, s, 25, backwards...)
	add(t, s, 25, batch[:25]...)
	Same(t, batch, All(t, s, dust.Query{}))
}

func testMilliseconds(t *testing.T, s store.Store) {
	fine := pm("bench", 0, 1)
	fine.Time = start.Add(1999 * time.Microsecond)
	add(t, s, 1, fine)
	add(t, s, 0, pm("bench", time.Millisecond, 2))
	Same(t, []dust.Reading{pm("bench", time.Millisecond, 1)}, All(t, s, dust.Query{}))

	zone := time.FixedZone("somewhere", 5*3600+1800)
	local := pm("bench", time.Minute, 3)
	local.Time = local.Time.In(zone)
	add(t, s, 1, local)
	Same(t, []dust.Reading{pm("bench", time.Minute, 3)},
		All(t, s, dust.Query{From: start.Add(time.Minute).In(zone)}), "times come back as UTC")
}

func testBySensor(t *testing.T, s store.Store) {
	a, b, c := Readings("a", start, 5), Readings("b", start, 5), Readings("c", start, 5)
	add(t, s, 15, slices.Concat(a, b, c)...)
	Same(t, b, All(t, s, dust.Query{Sensors: []string{"b"}}))
	require.Len(t, All(t, s, dust.Query{Sensors: []string{"a", "c"}}), 10)
	Same(t, a, All(t, s, dust.Query{Sensors: []string{"a", "nobody"}}))
	require.Empty(t, All(t, s, dust.Query{Sensors: []string{"nobody"}}))
	require.Len(t, All(t, s, dust.Query{}), 15)
}

func testHalfOpen(t *testing.T, s store.Store) {
	batch := Readings("bench", start, 10)
	add(t, s, 10, batch...)
	at := func(i int) time.Time { return batch[i].Time }
	for _, test := range []struct {
		name     string
		from, to time.Time
		want     []dust.Reading
	}{
		{"from is in, to is out", at(3), at(6), batch[3:6]},
		{"open start", time.Time{}, at(2), batch[:2]},
		{"open end", at(7), time.Time{}, batch[7:]},
		{"nothing between", at(3).Add(time.Millisecond), at(4), nil},
		{"empty range", at(3), at(3), nil},
		{"turned round", at(6), at(3), nil},
		{"before all", at(0).Add(-time.Hour), at(0), nil},
		{"one millisecond", at(3), at(3).Add(time.Millisecond), batch[3:4]},
		{"finer than a millisecond: after", at(3).Add(time.Microsecond), at(5), batch[4:5]},
		{"finer than a millisecond: before", at(3), at(4).Add(time.Microsecond), batch[3:5]},
	} {
		Same(t, test.want, All(t, s, dust.Query{From: test.from, To: test.to}), test.name)
	}
}

func testByChannel(t *testing.T, s store.Store) {
	add(t, s, 2,
		reading("bench", 0, map[dust.Channel]float64{dust.PM1: 1, dust.PM25: 2, dust.Humidity: 50}),
		reading("bench", time.Second, map[dust.Channel]float64{dust.PM1: 3}))
	want := []dust.Reading{
		reading("bench", 0, map[dust.Channel]float64{dust.PM25: 2, dust.Humidity: 50}),
		reading("bench", time.Second, nil),
	}
	Same(t, want, All(t, s, dust.Query{Channels: []dust.Channel{dust.Humidity, dust.PM25, dust.Humidity}}))
}

func testAwkwardNames(t *testing.T, s store.Store) {
	var want []dust.Reading
	for i, name := range []string{"bench saw", `quote " and \ back`, "comma, equals=sign", "it's", "Säge µ 木", "a%20b", "'; DROP TABLE reading; --", "new\nline"} {
		want = append(want, pm(name, time.Duration(i)*time.Second, float64(i)))
	}
	add(t, s, len(want), want...)
	Same(t, want, All(t, s, dust.Query{}))
	for _, r := range want {
		Same(t, []dust.Reading{r}, All(t, s, dust.Query{Sensors: []string{r.Sensor}}), r.Sensor)
	}
}

func testLargeBatch(t *testing.T, s store.Store) {
	batch := Readings("bench", start, 12_345)
	add(t, s, len(batch), batch...)
	Same(t, batch, All(t, s, dust.Query{}))
	add(t, s, 0, batch...)
}

func testStopEarly(t *testing.T, s store.Store) {
	add(t, s, 100, Readings("bench", start, 100)...)
	for range 50 { // more often than a leak could go unnoticed
		n := 0
		for _, err := range s.Readings(t.Context(), dust.Query{}) {
			require.NoError(t, err)
			if n++; n == 3 {
				break
			}
		}
		require.Equal(t, 3, n)
	}
	add(t, s, 1, pm("bench", time.Hour, 1))
}

func testReadTwice(t *testing.T, s store.Store) {
	add(t, s, 5, Readings("bench", start, 5)...)
	seq := s.Readings(t.Context(), dust.Query{})
	for range 2 {
		n := 0
		for _, err := range seq {
			require.NoError(t, err)
			n++
		}
		require.Equal(t, 5, n)
	}
	pairs := 0
	for _, err := range seq {
		require.NoError(t, err)
		pairs += len(All(t, s, dust.Query{}))
	}
	require.Equal(t, 25, pairs, "a reader may read again while it reads")
}

func testCanceledAppend(t *testing.T, s store.Store) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	added, err := s.Append(ctx, Readings("bench", start, 5))
	require.ErrorIs(t, err, context.Canceled)
	require.Zero(t, added)
	require.Empty(t, All(t, s, dust.Query{}))
	add(t, s, 5, Readings("bench", start, 5)...)
}

func testCanceledRead(t *testing.T, s store.Store) {
	const many = 20_000
	add(t, s, many, Readings("bench", start, many)...)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	n, last := 0, error(nil)
	for _, err := range s.Readings(ctx, dust.Query{}) {
		require.NoError(t, last, "nothing may follow an error")
		if last = err; err == nil {
			n++
		}
		if n == 10 {
			cancel()
		}
	}
	require.ErrorIs(t, last, context.Canceled)
	require.Less(t, n, many)
	require.Len(t, All(t, s, dust.Query{}), many, "the store must stay usable")
}

func testSpan(t *testing.T, s store.Store) {
	for i, name := range []string{"b", "a"} {
		add(t, s, 10, Readings(name, start.Add(time.Duration(i)*time.Hour), 10)...)
	}
	spans, err := s.Span(t.Context())
	require.NoError(t, err)
	var got []string
	for _, p := range spans {
		got = append(got, fmt.Sprint(p.Sensor, " ", p.First.Format(time.RFC3339), " ", p.Last.Format(time.RFC3339), " ", p.Count))
	}
	require.Equal(t, []string{
		"a 2025-03-10T09:00:00Z 2025-03-10T09:00:09Z 10",
		"b 2025-03-10T08:00:00Z 2025-03-10T08:00:09Z 10",
	}, got)
}

// testSeveralDays reads across midnights, UTC and others, of two sensors.
func testSeveralDays(t *testing.T, s store.Store) {
	var all []dust.Reading
	for minute := range 3 * 24 * 60 {
		for _, name := range []string{"a", "b"} {
			if name == "a" || minute%7 < 5 { // so that the two do not always come together
				r := pm(name, time.Duration(minute)*time.Minute, float64(minute%500)/10)
				r.Flags = dust.Flags(minute % 3)
				all = append(all, r)
			}
		}
	}
	for part := range slices.Chunk(all, 2000) {
		add(t, s, len(part), part...)
	}
	Same(t, all, All(t, s, dust.Query{}))
	add(t, s, 0, all[3000:5000]...)
	for _, window := range [][2]time.Duration{{15 * time.Hour, 17 * time.Hour}, {0, 16 * time.Hour}, {16 * time.Hour, 40 * time.Hour},
		{16*time.Hour - time.Minute, 40*time.Hour + time.Millisecond}, {39 * time.Hour, 200 * time.Hour}, {80 * time.Hour, 90 * time.Hour}} {
		q := dust.Query{Sensors: []string{"b"}, From: start.Add(window[0]), To: start.Add(window[1]), Channels: []dust.Channel{dust.PM25}}
		var want []dust.Reading
		for _, r := range all {
			if r.Sensor == "b" && !r.Time.Before(q.From) && r.Time.Before(q.To) {
				want = append(want, r)
			}
		}
		Same(t, want, All(t, s, q), window)
	}
}

// testLateReadings adds, days later, readings between and around those that are
// there, with channels that the day did not have; some are there already.
func testLateReadings(t *testing.T, s store.Store) {
	batch := Readings("bench", start, 3000)
	odd, even := []dust.Reading(nil), []dust.Reading(nil)
	for i, r := range batch {
		if i%2 == 0 {
			even = append(even, r)
			continue
		}
		r.Values.Set(dust.Humidity, float64(i)/3)
		batch[i], odd = r, append(odd, r)
	}
	add(t, s, len(even), even...)
	add(t, s, 4, Readings("bench", start.Add(48*time.Hour), 4)...)
	changed := even[5]
	changed.Values.Set(dust.PM25, 99)
	add(t, s, len(odd), append([]dust.Reading{changed}, odd...)...)
	before := pm("bench", -7*time.Hour, 5)
	add(t, s, 1, before)
	add(t, s, 0, batch...)
	want := append([]dust.Reading{before}, batch...)
	Same(t, want, All(t, s, dust.Query{To: start.Add(24 * time.Hour)}))
	spans, err := s.Span(t.Context())
	require.NoError(t, err)
	require.Len(t, spans, 1)
	require.EqualValues(t, len(want)+4, spans[0].Count)
	require.Equal(t, before.Time, spans[0].First)
}
