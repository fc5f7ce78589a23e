package sqlite_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// everSealing seals everything after one of every so many appends.
type everSealing struct {
	*sqlite.Store
	t             testing.TB
	every, number int
}

func (s *everSealing) Append(ctx context.Context, batch []dust.Reading) (int, error) {
	added, err := s.Store.Append(ctx, batch)
	if s.number++; s.number%s.every == 0 {
		_, sealErr := s.Seal(s.t.Context(), time.Now())
		require.NoError(s.t, sealErr)
	}
	return added, err
}

func TestStoreSealed(t *testing.T) {
	alone(t)
	storetest.Run(t, func(t *testing.T) store.Store { return &everSealing{Store: tempStore(t), t: t, every: 1} })
}

func TestStoreMixed(t *testing.T) {
	storetest.Run(t, func(t *testing.T) store.Store { return &everSealing{Store: tempStore(t), t: t, every: 2, number: 1} })
}

// week makes readings of two sensors, six a minute, over days days from a
// midnight on.
func week(from time.Time, days int) []dust.Reading {
	var list []dust.Reading
	for i := range days * 24 * 60 {
		for _, name := range []string{"Bench saw", "room"} {
			r := dust.Reading{Time: from.Add(time.Duration(i) * time.Minute), Sensor: name}
			r.Values.Set(dust.PM25, float64(i%700)/10)
			r.Values.Set(dust.N03, float64(i))
			list = append(list, r)
		}
	}
	return list
}

var midnight = time.Date(2025, 3, 10, 0, 0, 0, 0, time.UTC)

func TestSealReport(t *testing.T) {
	s := tempStore(t)
	all := week(midnight, 3)
	_, err := s.Append(t.Context(), all)
	require.NoError(t, err)
	report, err := s.Seal(t.Context(), midnight.Add(47*time.Hour))
	require.NoError(t, err)
	require.Equal(t, 2, report.Days, "one finished day of two sensors")
	require.EqualValues(t, 2*24*60, report.Readings)
	require.Zero(t, report.Late)
	require.NotZero(t, report.Bytes)
	require.FileExists(t, s.Path()+".days/sensor=room/2025-03-10.parquet")
	require.FileExists(t, s.Path()+".days/sensor=1/2025-03-10.parquet", "a name that is no plain one is replaced by the sensor's number")
	storetest.Same(t, all, storetest.All(t, s, dust.Query{}))

	report, err = s.Seal(t.Context(), midnight.Add(47*time.Hour))
	require.NoError(t, err)
	require.Zero(t, report, "nothing is left to be done")

	late := dust.Reading{Time: midnight.Add(time.Second), Sensor: "room"}
	added, err := s.Append(t.Context(), []dust.Reading{all[1], late})
	require.NoError(t, err)
	require.Equal(t, 1, added)
	report, err = s.Seal(t.Context(), midnight.Add(24*time.Hour))
	require.NoError(t, err)
	require.Equal(t, 1, report.Days)
	require.Equal(t, 1, report.Late)
	require.EqualValues(t, 1, report.Readings)
	require.Len(t, storetest.All(t, s, dust.Query{}), len(all)+1)
}

// TestSealNotToday: a day may only be sealed when it is over.
func TestSealNotToday(t *testing.T) {
	s := tempStore(t)
	_, err := s.Append(t.Context(), storetest.Readings("bench", time.Now().Add(-time.Second), 5))
	require.NoError(t, err)
	report, err := s.Seal(t.Context(), time.Now().Add(1000*time.Hour))
	require.NoError(t, err)
	require.Zero(t, report.Days)
}

func TestSeriesSealed(t *testing.T) {
	hot, cold := tempStore(t), tempStore(t)
	all := week(midnight, 4)
	for i := range all {
		if i%11 == 0 {
			all[i].Values.Unset(dust.N03)
		}
		all[i].Flags = dust.Flags(i % 5)
	}
	for _, s := range []*sqlite.Store{hot, cold} {
		_, err := s.Append(t.Context(), all)
		require.NoError(t, err)
	}
	_, err := cold.Seal(t.Context(), midnight.Add(72*time.Hour))
	require.NoError(t, err)
	late := storetest.Readings("room", midnight.Add(20*time.Hour), 100)
	for _, s := range []*sqlite.Store{hot, cold} {
		_, err := s.Append(t.Context(), late)
		require.NoError(t, err)
	}
	for _, window := range [][2]time.Duration{{0, 96 * time.Hour}, {20 * time.Hour, 21 * time.Hour}, {71 * time.Hour, 73 * time.Hour}} {
		for _, name := range []string{"room", "Bench saw", "nobody"} {
			channels := []dust.Channel{dust.N03, dust.PM25, dust.Humidity}
			want, err := hot.Series(t.Context(), dust.Sensor{Name: name}, channels, midnight.Add(window[0]), midnight.Add(window[1]))
			require.NoError(t, err)
			got, err := cold.Series(t.Context(), dust.Sensor{Name: name}, channels, midnight.Add(window[0]), midnight.Add(window[1]))
			require.NoError(t, err)
			for _, c := range channels {
				wantMS, wantX, wantF := want[c].Columns()
				gotMS, gotX, gotF := got[c].Columns()
				require.Equal(t, wantMS, gotMS)
				require.Equal(t, wantX, gotX)
				require.Equal(t, wantF, gotF)
			}
			require.Equal(t, name != "nobody", got[dust.PM25].Len() > 0)
		}
	}
}

// TestSealBesideWork seals while another goroutine appends late readings to the
// very days being sealed and a third one reads.
func TestSealBesideWork(t *testing.T) {
	s := tempStore(t)
	all := week(midnight, 3)
	_, err := s.Append(t.Context(), all[:len(all)-1])
	require.NoError(t, err)
	done := make(chan error, 2)
	late := storetest.Readings("room", midnight.Add(30*time.Second+time.Millisecond), 300)
	go func() {
		for i := range late {
			if _, err := s.Append(context.WithoutCancel(t.Context()), late[i:i+1]); err != nil {
				done <- err
				return
			}
		}
		done <- nil
	}()
	go func() {
		for range 10 {
			n, last := 0, int64(0)
			for r, err := range s.Readings(context.WithoutCancel(t.Context()), dust.Query{Sensors: []string{"Bench saw"}}) {
				if err != nil {
					done <- err
					return
				}
				if r.Time.UnixMilli() <= last {
					done <- context.DeadlineExceeded
					return
				}
				n, last = n+1, r.Time.UnixMilli()
			}
			if n != 3*24*60 {
				done <- context.Canceled
				return
			}
		}
		done <- nil
	}()
	for range 5 {
		_, err := s.Seal(t.Context(), time.Now())
		require.NoError(t, err)
	}
	require.NoError(t, <-done)
	require.NoError(t, <-done)
	_, err = s.Seal(t.Context(), time.Now())
	require.NoError(t, err)
	require.Len(t, storetest.All(t, s, dust.Query{}), len(all)-1+len(late))
}

// TestLateBetweenSensors: a late row lies between the first readings of two
// sensors of a sealed day, the first by name being the later.
func TestLateBetweenSensors(t *testing.T) {
	s := tempStore(t)
	a, b := storetest.Readings("a", midnight.Add(time.Hour), 2), storetest.Readings("b", midnight, 2)
	_, err := s.Append(t.Context(), append(slices.Clone(a), b...))
	require.NoError(t, err)
	_, err = s.Seal(t.Context(), time.Now())
	require.NoError(t, err)
	late := storetest.Readings("b", midnight.Add(time.Minute), 2)
	_, err = s.Append(t.Context(), late)
	require.NoError(t, err)
	storetest.Same(t, slices.Concat(b, late, a), storetest.All(t, s, dust.Query{}))
}
