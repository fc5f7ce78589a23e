package sqlite_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

const target = "influx://host/dust shop"

// lacking reads what the ranges that target lacks hold now.
func lacking(t *testing.T, s *sqlite.Store) (ranges []sqlite.ForwardRange, readings []dust.Reading) {
	t.Helper()
	ranges, err := s.TakeForward(t.Context(), target)
	require.NoError(t, err)
	for _, r := range ranges {
		for reading, err := range s.Readings(t.Context(), dust.Query{Sensors: []string{r.Sensor}}) {
			require.NoError(t, err)
			if ms := reading.Time.UnixMilli(); ms >= r.From && ms < r.To {
				readings = append(readings, reading)
			}
		}
	}
	return ranges, readings
}

func shipped(t *testing.T, s *sqlite.Store, ranges []sqlite.ForwardRange) {
	t.Helper()
	var done []sqlite.ForwardDone
	for _, r := range ranges {
		done = append(done, sqlite.ForwardDone{Range: r, To: r.To})
	}
	require.NoError(t, s.ForwardShipped(t.Context(), target, done))
}

func append1(t *testing.T, s *sqlite.Store, list []dust.Reading) {
	t.Helper()
	added, err := s.Append(t.Context(), list)
	require.NoError(t, err)
	require.Len(t, list, added, "what a trigger writes is not counted")
}

func TestForwardTakesOldNewAndLateReadings(t *testing.T) {
	s := tempStore(t)
	old := storetest.Readings("bench", start, 100)
	append1(t, s, old)
	require.NoError(t, s.AddForwardTarget(t.Context(), target))
	require.NoError(t, s.AddForwardTarget(t.Context(), target), "a second time changes nothing")
	ranges, got := lacking(t, s)
	storetest.Same(t, old, got)
	shipped(t, s, ranges)
	ranges, _ = lacking(t, s)
	require.Empty(t, ranges)

	late := storetest.Readings("bench", start.Add(-40*24*time.Hour), 7)
	append1(t, s, late)
	ranges, got = lacking(t, s)
	require.Len(t, ranges, 1)
	storetest.Same(t, late, got)
	again, _ := lacking(t, s)
	require.Equal(t, ranges, again, "returned until they are done")
	shipped(t, s, ranges)

	// What is there already is not new.
	added, err := s.Append(t.Context(), append(old, late...))
	require.NoError(t, err)
	require.Zero(t, added)
	ranges, _ = lacking(t, s)
	require.Empty(t, ranges)
}

func TestForwardNotesWhatComesAfterTheTaking(t *testing.T) {
	s := tempStore(t)
	require.NoError(t, s.AddForwardTarget(t.Context(), target))
	append1(t, s, storetest.Readings("bench", start, 5))
	ranges, _ := lacking(t, s)
	between := storetest.Readings("bench", start.Add(500*time.Millisecond), 4) // within the taken stretch
	append1(t, s, between)
	shipped(t, s, ranges)
	ranges, got := lacking(t, s)
	require.Len(t, ranges, 1)
	require.Subset(t, got, between)
}

func TestForwardPartsOfARange(t *testing.T) {
	s := tempStore(t)
	list := storetest.Readings("bench", start, 10)
	append1(t, s, list)
	require.NoError(t, s.AddForwardTarget(t.Context(), target))
	ranges, _ := lacking(t, s)
	half := list[5].Time.UnixMilli()
	require.NoError(t, s.ForwardShipped(t.Context(), target, []sqlite.ForwardDone{{Range: ranges[0], To: half, LastMS: half - 1000, Refused: 2}}))
	_, got := lacking(t, s)
	storetest.Same(t, list[5:], got)
	states, err := s.ForwardStates(t.Context())
	require.NoError(t, err)
	require.Equal(t, []sqlite.ForwardState{{Target: target, Sensor: "bench", Last: list[4].Time, Refused: 2, Pending: 1}}, states)
}

// TestForwardTwoProgramsAtOnce: both hold a stretch, one confirms it late.
func TestForwardTwoProgramsAtOnce(t *testing.T) {
	s := tempStore(t)
	require.NoError(t, s.AddForwardTarget(t.Context(), target))
	append1(t, s, storetest.Readings("bench", start, 5))
	ranges, _ := lacking(t, s)
	shipped(t, s, ranges)
	append1(t, s, storetest.Readings("bench", start.Add(5*time.Second), 3))
	newer, _ := lacking(t, s)
	require.Len(t, newer, 1)
	shipped(t, s, ranges)
	still, _ := lacking(t, s)
	require.Equal(t, newer, still)
}

// TestForwardOneRangePerHour: a year without a server must not fill the disk.
func TestForwardOneRangePerHour(t *testing.T) {
	s := tempStore(t)
	require.NoError(t, s.AddForwardTarget(t.Context(), target))
	hour := start.Truncate(time.Hour)
	list := append(storetest.Readings("a", hour, 2*3600), storetest.Readings("b", hour, 3600)...)
	append1(t, s, list)
	ranges, got := lacking(t, s)
	require.Len(t, ranges, 3)
	require.Len(t, got, len(list))
}

func TestForwardBefore1970AndTwoTargets(t *testing.T) {
	s := tempStore(t)
	require.NoError(t, s.AddForwardTarget(t.Context(), target))
	require.NoError(t, s.AddForwardTarget(t.Context(), "another"))
	list := storetest.Readings("bench", time.Date(1969, 12, 31, 23, 59, 55, 1e6, time.UTC), 10)
	append1(t, s, list)
	ranges, got := lacking(t, s)
	storetest.Same(t, list, got)
	shipped(t, s, ranges)
	others, err := s.TakeForward(t.Context(), "another")
	require.NoError(t, err)
	require.Len(t, others, len(ranges))

	for i, name := range []string{target, "another"} {
		known, err := s.DropForwardTarget(t.Context(), name)
		require.NoError(t, err)
		require.True(t, known, i)
	}
	known, err := s.DropForwardTarget(t.Context(), target)
	require.NoError(t, err)
	require.False(t, known)
	append1(t, s, storetest.Readings("bench", start, 3)) // nothing listens any more
}

func TestForwardDiaryOnlyWhenChanged(t *testing.T) {
	s := tempStore(t)
	require.NoError(t, s.AddForwardTarget(t.Context(), target))
	require.NoError(t, s.PutSensor(t.Context(), dust.Sensor{Name: "bench", Model: "sps30", Position: dust.BreathingZone}))
	first, err := s.ForwardDiary(t.Context(), target)
	require.NoError(t, err)
	require.Equal(t, "sps30", first.Sensors[0].Model)
	require.NoError(t, s.ForwardDiaryShipped(t.Context(), target, *first))
	none, err := s.ForwardDiary(t.Context(), target)
	require.NoError(t, err)
	require.Nil(t, none)
	_, err = s.StartTask(t.Context(), dust.Task{Name: "sanding", Start: start})
	require.NoError(t, err)
	second, err := s.ForwardDiary(t.Context(), target)
	require.NoError(t, err)
	require.Len(t, second.Tasks, 1)
	require.Greater(t, second.Generation, first.Generation)
}

// BenchmarkImportForwarded is BenchmarkImport with the trigger at work.
func BenchmarkImportForwarded(b *testing.B) {
	s := tempStore(b)
	require.NoError(b, s.AddForwardTarget(b.Context(), target))
	at := start
	for b.Loop() {
		b.StopTimer()
		batch := benchReadings(at, 100_000)
		at = at.Add(25_000 * time.Second)
		b.StartTimer()
		require.NoError(b, s.Import(b.Context(), func(tx sqlite.Appender) error {
			_, err := tx.Append(b.Context(), batch)
			return err
		}))
	}
	b.ReportMetric(100_000*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}
