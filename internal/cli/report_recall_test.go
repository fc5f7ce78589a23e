package cli

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/store/sqlite"
)

// What is recalled is what the store gives: the days, and series of the whole time
// and of parts of it, with readings that lack the channel and flagged ones.
func TestRecalledReadingsAreThoseOfTheStore(t *testing.T) {
	ctx := t.Context()
	store, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "s.db"), sqlite.Options{Create: true})
	require.NoError(t, err)
	defer store.Close()
	sensor := dust.Sensor{Name: "bench", Model: "sps30"}
	require.NoError(t, store.PutSensor(ctx, sensor))
	start := time.Date(2026, time.March, 2, 22, 0, 0, 0, time.UTC)
	var batch []dust.Reading
	for i := range 3000 {
		r := dust.Reading{Time: start.Add(time.Duration(i*7) * time.Second), Sensor: "bench"}
		if i%11 > 0 {
			r.Values.Set(dust.PM25, float64(i%97)/10)
		}
		r.Values.Set(dust.PM10, float64(i%13))
		if i%50 == 0 {
			r.Flags = dust.WarmUp
		}
		batch = append(batch, r)
	}
	_, err = store.Append(ctx, batch)
	require.NoError(t, err)

	plain, wrapped := dailyRecords{store}, newRecalled(dailyRecords{store})
	collect := func(from func(func(exposure.Columns, error) bool)) (out []exposure.Columns) {
		for c, err := range from {
			require.NoError(t, err)
			out = append(out, cloned(c))
		}
		return out
	}
	var none time.Time
	want := collect(plain.DailyColumns(ctx, sensor, dust.PM25, none, none))
	require.Greater(t, len(want), 0)
	for range 2 { // read, then recalled
		require.Equal(t, want, collect(wrapped.DailyColumns(ctx, sensor, dust.PM25, none, none)))
	}
	require.Len(t, wrapped.kept, 1)
	for _, w := range [][2]time.Time{{none, none}, {start.Add(time.Hour), none}, {none, start.Add(2 * time.Hour)}, {start.Add(3 * time.Hour), start.Add(4 * time.Hour)}} {
		for _, channels := range [][]dust.Channel{{dust.PM25}, {dust.PM10}, {dust.PM25, dust.PM10}} {
			want, err := plain.Series(ctx, sensor, channels, w[0], w[1])
			require.NoError(t, err)
			got, err := wrapped.Series(ctx, sensor, channels, w[0], w[1])
			require.NoError(t, err)
			require.Equal(t, want, got)
		}
	}

	full := newRecalled(dailyRecords{store})
	full.room = 10
	for range 2 { // too many to keep: read every time
		require.Equal(t, want, collect(full.DailyColumns(ctx, sensor, dust.PM25, none, none)))
	}
	require.Empty(t, full.kept)
	for range wrapped.DailyColumns(ctx, sensor, dust.PM10, none, none) {
		break
	}
	require.Len(t, wrapped.kept, 1, "days that were not all asked for are not kept")
}
