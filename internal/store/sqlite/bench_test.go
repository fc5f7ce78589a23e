package sqlite_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

// benchReadings are like those of a common sensor: three masses in two scales
// and six counts, in whole numbers, from four sensors.
func benchReadings(from time.Time, n int) []dust.Reading {
	channels := []dust.Channel{
		dust.PM1, dust.PM25, dust.PM10, dust.PM1Atm, dust.PM25Atm, dust.PM10Atm,
		dust.N03, dust.N05, dust.N10, dust.N25, dust.N50, dust.N100,
	}
	names := []string{"bench", "room", "exhaust", "outside"}
	list := make([]dust.Reading, n)
	for i := range list {
		r := &list[i]
		r.Sensor = names[i%len(names)]
		r.Time = from.Add(time.Duration(i/len(names)) * time.Second)
		for k, c := range channels {
			r.Values.Set(c, float64((i*7919+k*104729)%5000)/10)
		}
	}
	return list
}

func BenchmarkAppend1000(b *testing.B) {
	s := tempStore(b)
	at := start
	for b.Loop() {
		b.StopTimer()
		batch := benchReadings(at, 1000)
		at = at.Add(250 * time.Second)
		b.StartTimer()
		_, err := s.Append(b.Context(), batch)
		require.NoError(b, err)
	}
	b.ReportMetric(1000*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkImport(b *testing.B) {
	s := tempStore(b)
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

// BenchmarkSeries reads one sensor of a store that holds only it, and one of
// four that share a store.
func BenchmarkSeries(b *testing.B) {
	for _, bench := range []struct {
		name    string
		sensors int
	}{{"alone", 1}, {"of four", 4}} {
		b.Run(bench.name, func(b *testing.B) {
			const rows = 500_000
			s := tempStore(b)
			list := benchReadings(start, rows*bench.sensors)
			for i := range list {
				if bench.sensors == 1 {
					list[i].Sensor, list[i].Time = "bench", start.Add(time.Duration(i)*time.Second)
				}
			}
			_, err := s.Append(b.Context(), list)
			require.NoError(b, err)
			for b.Loop() {
				got, err := s.Series(b.Context(), dust.Sensor{Name: "bench"}, []dust.Channel{dust.PM25}, time.Time{}, time.Time{})
				require.NoError(b, err)
				require.Equal(b, rows, got[dust.PM25].Len())
			}
			b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

func BenchmarkReadings(b *testing.B) {
	const rows = 100_000
	s := tempStore(b)
	_, err := s.Append(b.Context(), benchReadings(start, rows))
	require.NoError(b, err)
	for b.Loop() {
		n := 0
		for range s.Readings(b.Context(), dust.Query{}) {
			n++
		}
		require.Equal(b, rows, n)
	}
	b.ReportMetric(rows*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkSpan(b *testing.B) {
	s := tempStore(b)
	_, err := s.Append(b.Context(), benchReadings(start, 1_000_000))
	require.NoError(b, err)
	for b.Loop() {
		_, err := s.Span(b.Context())
		require.NoError(b, err)
	}
}
