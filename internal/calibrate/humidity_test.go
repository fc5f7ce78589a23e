package calibrate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func TestDry(t *testing.T) {
	mass := seriesOf(t, "bench", dust.PM25, constant(6, 100), dust.Humid)
	humidity := dust.NewSeries(dust.Sensor{Name: "bench"}, dust.Humidity)
	for i, rh := range []float64{80, 96, 50} { // with readings 1, 2 and 4
		require.NoError(t, humidity.Append(at([]float64{1, 2, 4}[i]), rh, 0))
	}
	d, err := Dry(mass, humidity, 0.4)
	require.NoError(t, err)
	var got []float64
	for i := range d.Series.Len() {
		_, value, flags := d.Series.At(i)
		require.Equal(t, dust.Humid, flags, "flags stay")
		got = append(got, value)
	}
	// 0: before any humidity. 2 and 3: 96 % is too humid. 5: that of reading 4 holds.
	for i, want := range []float64{100, 100 / 1.9696969697, 100, 100, 100 / 1.24242424242, 100 / 1.24242424242} {
		require.InDelta(t, want, got[i], 1e-6, "reading %d", i)
	}
	require.Equal(t, []int{3, 1, 2}, []int{d.Corrected, d.Unknown, d.TooHumid})
	for i := range mass.Len() {
		_, value, _ := mass.At(i)
		require.InDelta(t, 100, value, 0, "the reading itself is never changed")
	}

	none, err := Dry(mass, dust.NewSeries(dust.Sensor{}, dust.Humidity), 0.4)
	require.NoError(t, err)
	require.Equal(t, 6, none.Unknown)
	_, err = Dry(mass, humidity, -1)
	require.ErrorContains(t, err, "κ")
}

func TestOldHumidityIsNotUsed(t *testing.T) {
	mass := seriesOf(t, "bench", dust.PM25, constant(60, 100), 0)
	humidity := dust.NewSeries(dust.Sensor{Name: "bench"}, dust.Humidity)
	require.NoError(t, humidity.Append(start, 80, 0))
	d, err := Dry(mass, humidity, 0.4)
	require.NoError(t, err)
	require.Equal(t, 6, d.Corrected, "a reading speaks for 5 s, then nothing is known")
	require.Equal(t, 54, d.Unknown)
}
