package sqlite_test

import (
	"context"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

// BenchmarkSeal seals a day of four sensors, 345,600 readings: reading the rows,
// writing and proving the files, deleting the rows. It also says how much was
// written to the disk and, in its second form, how long the longest of the
// appends took that went on beside it without a pause, and without it.
func BenchmarkSeal(b *testing.B) {
	for _, beside := range []bool{false, true} {
		b.Run(map[bool]string{false: "alone", true: "beside appends"}[beside], func(b *testing.B) {
			var bytes int64
			var longest, without time.Duration
			for b.Loop() {
				b.StopTimer()
				s := tempStore(b)
				_, err := s.Append(b.Context(), benchReadings(midnight, 4*86_400))
				require.NoError(b, err)
				stop, waited := make(chan struct{}), make(chan time.Duration, 1)
				if beside {
					enough := make(chan struct{})
					time.AfterFunc(2*time.Second, func() { close(enough) })
					without = max(without, appendBeside(s, midnight.AddDate(1, 0, 0), enough))
					go func() { waited <- appendBeside(s, midnight.AddDate(2, 0, 0), stop) }()
				}
				before := written(b)
				b.StartTimer()
				report, err := s.Seal(b.Context(), midnight.AddDate(0, 0, 1))
				require.NoError(b, err)
				b.StopTimer()
				require.Equal(b, 4, report.Days)
				bytes += written(b) - before
				close(stop)
				if beside {
					longest = max(longest, <-waited)
				}
				b.StartTimer()
			}
			b.ReportMetric(4*86_400*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
			if beside {
				b.ReportMetric(float64(longest.Milliseconds()), "ms/longest-append")
				b.ReportMetric(float64(without.Milliseconds()), "ms/longest-without")
			} else {
				b.ReportMetric(float64(bytes)/1e6/float64(b.N), "MB-written")
			}
		})
	}
}

// appendBeside appends to days that are not sealed until stop is closed.
func appendBeside(s *sqlite.Store, from time.Time, stop chan struct{}) (longest time.Duration) {
	for i := 0; ; i++ {
		select {
		case <-stop:
			return longest
		default:
		}
		began := time.Now()
		if _, err := s.Append(context.Background(), benchReadings(from.Add(time.Duration(i)*10*time.Second), 40)); err != nil {
			return -1
		}
		longest = max(longest, time.Since(began))
	}
}

// written is how many bytes this process has sent to disks.
func written(tb testing.TB) int64 {
	tb.Helper()
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "\nwrite_bytes: ")
	number, _, _ := strings.Cut(rest, "\n")
	n, err := strconv.ParseInt(number, 10, 64)
	require.NoError(tb, err)
	return n
}

// BenchmarkSeriesSealed reads one channel of one of four sensors over three
// sealed days.
func BenchmarkSeriesSealed(b *testing.B) {
	const days = 3
	s := tempStore(b)
	for i := range days {
		_, err := s.Append(b.Context(), benchReadings(midnight.AddDate(0, 0, i), 4*86_400))
		require.NoError(b, err)
		_, err = s.Seal(b.Context(), time.Now())
		require.NoError(b, err)
	}
	b.Run("Series", func(b *testing.B) {
		for b.Loop() {
			got, err := s.Series(b.Context(), dust.Sensor{Name: "bench"}, []dust.Channel{dust.PM25}, time.Time{}, time.Time{})
			require.NoError(b, err)
			require.Equal(b, days*86_400, got[dust.PM25].Len())
		}
		b.ReportMetric(days*86_400*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	})
	b.Run("Days", func(b *testing.B) {
		for b.Loop() {
			n := 0
			for table, err := range s.Days(b.Context(), "bench", []dust.Channel{dust.PM25}, time.Time{}, time.Time{}) {
				require.NoError(b, err)
				n += table.Len()
			}
			require.Equal(b, days*86_400, n)
		}
		b.ReportMetric(days*86_400*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	})
	b.Run("Readings", func(b *testing.B) {
		for b.Loop() {
			n := 0
			for range s.Readings(b.Context(), dust.Query{To: midnight.AddDate(0, 0, 1)}) {
				n++
			}
			require.Equal(b, 4*86_400, n)
		}
		b.ReportMetric(4*86_400*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
	})
}
