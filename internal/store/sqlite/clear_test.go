package sqlite_test

import (
	"cmp"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// superseded counts the rows that are in a listed file and not deleted yet.
func superseded(t *testing.T, s *sqlite.Store) (rows int) {
	t.Helper()
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	require.True(t, report.Clean, "%v", report.Problems)
	require.Zero(t, report.Doubles)
	return int(report.Superseded)
}

// requireOnce reads the store in every way; each reading must be there once.
func requireOnce(t *testing.T, s *sqlite.Store, want []dust.Reading) {
	t.Helper()
	storetest.Same(t, want, storetest.All(t, s, dust.Query{}))
	spans, err := s.Span(t.Context())
	require.NoError(t, err)
	for _, span := range spans {
		var of []dust.Reading
		for _, r := range want {
			if r.Sensor == span.Sensor {
				of = append(of, r)
			}
		}
		require.EqualValues(t, len(of), span.Count, span.Sensor)
		var got []dust.Reading
		for table, err := range s.Days(t.Context(), span.Sensor, nil, time.Time{}, time.Time{}) {
			require.NoError(t, err)
			for i := range table.Len() {
				got = append(got, table.Reading(i, span.Sensor))
			}
		}
		storetest.Same(t, of, got)
	}
}

// sortReadings puts readings in the order in which a store yields them.
func sortReadings(list []dust.Reading) {
	slices.SortFunc(list, func(a, b dust.Reading) int {
		return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Sensor, b.Sensor))
	})
}

// TestSealInterrupted cuts a sealing short before, between and after the slices
// in which it deletes rows: each reading must be seen once all the time, late
// ones must be told from superseded ones, and the next seal must go on.
func TestSealInterrupted(t *testing.T) {
	alone(t)
	for _, done := range []int{0, 1, 3, 1000} {
		s := tempStore(t)
		require.NoError(t, s.AddForwardTarget(t.Context(), target))
		all := week(midnight, 2)
		append1(t, s, all)
		require.NoError(t, s.SealAndStop(t.Context(), midnight, done, 333))
		left := max(0, 2*24*60-done*333)
		require.Equal(t, left, superseded(t, s))
		requireOnce(t, s, all)

		// What is sealed is not new, whether its row is still there or not.
		for _, known := range []int{0, 1000, 2*24*60 - 1} {
			added, err := s.Append(t.Context(), all[known:known+1])
			require.NoError(t, err)
			require.Zero(t, added)
		}
		// Late ones lie before, among and behind the superseded rows.
		late := storetest.Readings("room", midnight.Add(time.Millisecond), 30)
		late = append(late, storetest.Readings("room", midnight.Add(23*time.Hour+30*time.Second), 5)...)
		append1(t, s, late)
		all = append(all, late...)
		sortReadings(all)
		requireOnce(t, s, all)
		require.Equal(t, left, superseded(t, s))

		_, lack := lacking(t, s)
		require.Len(t, lack, len(all), "a copy gets each reading once")
		to := filepath.Join(t.TempDir(), "copy.db")
		_, err := s.Backup(t.Context(), to, sqlite.BackupOptions{})
		require.NoError(t, err)
		back, err := open(t, to, sqlite.Options{})
		require.NoError(t, err)
		for _, store := range []*sqlite.Store{s, back} {
			requireOnce(t, store, all)
			report, err := store.Seal(t.Context(), midnight) // no day ended by then
			require.NoError(t, err)
			require.Zero(t, report, "it only goes on with what was begun")
			require.Zero(t, superseded(t, store))
			requireOnce(t, store, all)
		}
		report, err := s.Seal(t.Context(), midnight.Add(48*time.Hour))
		require.NoError(t, err)
		require.Equal(t, 3, report.Days)
		require.Equal(t, 1, report.Late)
		require.EqualValues(t, 2*24*60+len(late), report.Readings)
		require.Zero(t, report.Doubles)
		require.Zero(t, superseded(t, s))
		requireOnce(t, s, all)
	}
}

// TestPruneInterrupted prunes a day whose rows are half deleted.
func TestPruneInterrupted(t *testing.T) {
	s := tempStore(t)
	all := week(midnight, 2)
	append1(t, s, all)
	require.NoError(t, s.SealAndStop(t.Context(), midnight, 2, 500))
	late := storetest.Readings("room", midnight.Add(time.Millisecond), 7)
	append1(t, s, late)
	report, err := s.Prune(t.Context(), midnight.Add(24*time.Hour), sqlite.PruneOptions{})
	require.NoError(t, err)
	require.EqualValues(t, 2*24*60+7, report.Readings)
	require.Zero(t, superseded(t, s))
	requireOnce(t, s, all[2*24*60:])
}

// TestLateWhileSealing: what comes between the reading of a day and the listing
// of its file is in the table only, and stays there.
func TestLateWhileSealing(t *testing.T) {
	s := tempStore(t)
	all := week(midnight, 1)
	append1(t, s, all)
	late := storetest.Readings("room", midnight.Add(time.Hour+time.Millisecond), 9)
	require.NoError(t, s.SealWhile(t.Context(), midnight, func() { append1(t, s, late) }))
	all = append(all, late...)
	sortReadings(all)
	require.Equal(t, 2*24*60, superseded(t, s))
	requireOnce(t, s, all)
	_, err := s.Seal(t.Context(), midnight) // deletes what is superseded
	require.NoError(t, err)
	require.Zero(t, superseded(t, s))
	requireOnce(t, s, all)
}

// TestTwoProgramsSeal: another program seals or prunes the day meanwhile. Then
// its work counts.
func TestTwoProgramsSeal(t *testing.T) {
	for name, meanwhile := range map[string]func(other *sqlite.Store) error{
		"sealed": func(other *sqlite.Store) error {
			_, err := other.Seal(t.Context(), midnight.Add(24*time.Hour))
			return err
		},
		"sealed in part": func(other *sqlite.Store) error { return other.SealAndStop(t.Context(), midnight, 1, 100) },
		"pruned": func(other *sqlite.Store) error {
			_, err := other.Prune(t.Context(), midnight.Add(24*time.Hour), sqlite.PruneOptions{})
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			for _, before := range []bool{false, true} { // sealed before, with late rows now
				s := tempStore(t)
				all := week(midnight, 1)
				append1(t, s, all)
				if before {
					_, err := s.Seal(t.Context(), midnight.Add(24*time.Hour))
					require.NoError(t, err)
					late := storetest.Readings("room", midnight.Add(24*time.Hour-time.Second), 1)
					append1(t, s, late)
					all = append(all, late...)
				}
				if name == "pruned" {
					all = nil
				}
				other, err := open(t, s.Path(), sqlite.Options{})
				require.NoError(t, err)
				err = s.SealWhile(t.Context(), midnight, func() { require.NoError(t, meanwhile(other)) })
				require.ErrorIs(t, err, sqlite.ErrChanged)
				requireOnce(t, s, all)
				_, err = s.Seal(t.Context(), midnight.Add(24*time.Hour))
				require.NoError(t, err)
				require.Zero(t, superseded(t, s))
				requireOnce(t, s, all)
				require.NoError(t, other.Close())
			}
		})
	}
}

// TestSealBeforeCleared seals a day anew, for a late reading, while rows of its
// first sealing are still there.
func TestSealBeforeCleared(t *testing.T) {
	for _, cleared := range []bool{false, true} { // by another program meanwhile
		s := tempStore(t)
		all := week(midnight, 1)
		append1(t, s, all)
		require.NoError(t, s.SealAndStop(t.Context(), midnight, 2, 400))
		late := storetest.Readings("room", midnight.Add(12*time.Hour+time.Millisecond), 4)
		append1(t, s, late)
		all = append(all, late...)
		sortReadings(all)
		err := s.SealWhile(t.Context(), midnight, func() {
			if cleared {
				_, err := s.Seal(t.Context(), midnight)
				require.NoError(t, err)
			}
		})
		if cleared {
			require.ErrorIs(t, err, sqlite.ErrChanged)
			require.Zero(t, superseded(t, s))
		} else {
			require.NoError(t, err)
			require.Equal(t, 2*24*60-800+4, superseded(t, s))
		}
		requireOnce(t, s, all)
		_, err = s.Seal(t.Context(), midnight.Add(24*time.Hour))
		require.NoError(t, err)
		require.Zero(t, superseded(t, s))
		requireOnce(t, s, all)
	}
}

// TestSealManySensors has more sensors than are read at once, some of which send
// what the first rows of the day do not have.
func TestSealManySensors(t *testing.T) {
	s := tempStore(t)
	var all []dust.Reading
	for i := range 300 {
		for k := range 11 {
			r := dust.Reading{Time: midnight.Add(time.Duration(i)*time.Minute + time.Duration(k)*time.Millisecond), Sensor: string(rune('a' + k))}
			r.Values.Set(dust.PM25, float64(i)/10+float64(k)/1024)
			if k == 7 && i > 200 {
				r.Values.Set(dust.Formaldehyde, 0.015)
			}
			all = append(all, r)
		}
	}
	append1(t, s, all)
	report, err := s.Seal(t.Context(), midnight.Add(24*time.Hour))
	require.NoError(t, err)
	require.Equal(t, 11, report.Days)
	require.Zero(t, superseded(t, s))
	requireOnce(t, s, all)
}
