package demo_test

import (
	"bytes"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/demo"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

func raw(t *testing.T, seed uint64, day int, s dust.Sensor) []byte {
	t.Helper()
	shop := demo.New(seed, demo.FirstMonday)
	stream, err := shop.Days[day].Stream(s)
	require.NoError(t, err)
	var all []byte
	last := shop.Days[day].Start.Add(-1)
	for chunk, err := range stream {
		require.NoError(t, err)
		require.False(t, chunk.Wall.Before(last), "bytes arrive in order")
		last = chunk.Wall
		all = append(all, chunk.Bytes...)
	}
	require.True(t, last.Before(shop.Days[day].End()))
	return all
}

func TestTheSameSeedGivesTheSameBytes(t *testing.T) {
	shop := demo.New(1, demo.FirstMonday)
	for _, s := range shop.Sensors {
		first := raw(t, 1, 2, s)
		require.True(t, bytes.Equal(first, raw(t, 1, 2, s)), s.Name)
		require.False(t, bytes.Equal(first, raw(t, 2, 2, s)), s.Name)
	}
}

func TestTheBytesAreRealFramesWithSpoiledOnesAmongThem(t *testing.T) {
	shop := demo.New(1, demo.FirstMonday)
	for _, s := range shop.Sensors {
		decoder, err := sensor.NewDecoder(sensor.Model(s.Model))
		require.NoError(t, err)
		decoder.Feed(raw(t, 1, 0, s), func(*sensor.Frame) {})
		counts := decoder.Counts()
		require.Greater(t, counts.DataFrames, int64(28000), s.Name)
		require.Positive(t, counts.ChecksumErrors, s.Name)
		require.Positive(t, counts.BytesSkipped, s.Name)
		require.Less(t, counts.ChecksumErrors+counts.OtherErrors, counts.DataFrames/100, s.Name)
	}
}

func TestTwoWeeksOfFiveDaysAndOneChange(t *testing.T) {
	shop := demo.New(1, demo.FirstMonday)
	require.Len(t, shop.Days, 10)
	positions := map[dust.Position]bool{}
	models := map[string]bool{}
	for _, s := range shop.Sensors {
		positions[s.Position], models[s.Model] = true, true
	}
	require.Len(t, models, 3, "three models")
	require.True(t, positions[dust.BreathingZone] && positions[dust.Exhaust] && positions[dust.Background])
	for i, day := range shop.Days {
		require.Equal(t, i < 5, day.Setup == demo.OldSetup)
		require.NotContains(t, []string{"Saturday", "Sunday"}, day.Start.Weekday().String())
		for j, task := range day.Tasks {
			require.NoError(t, task.Check())
			require.False(t, task.Start.Before(day.Start) || task.Stop.After(day.End()))
			if j > 0 {
				require.False(t, task.Overlaps(day.Tasks[j-1]))
			}
		}
	}
}

// TestTheChangeThatWasMadeIsInTheAir checks the simulation against the factors
// it is built from, over many days, by the means of its own levels.
func TestTheChangeThatWasMadeIsInTheAir(t *testing.T) {
	bench := demo.New(1, demo.FirstMonday).Sensors[0]
	var fine [2][]float64
	for seed := range uint64(6) {
		shop := demo.New(seed, demo.FirstMonday)
		for i, day := range shop.Days {
			task := day.Tasks[2] // the same sanding every day
			sum, n := 0.0, 0.0
			for m := range day.Levels(bench) {
				if m.At.After(task.Start) && m.At.Before(task.Stop) {
					x, _ := m.Values.Get(dust.PM25)
					sum, n = sum+x, n+1
				}
			}
			fine[i/5] = append(fine[i/5], math.Log(sum/n-10)) // about 10 µg/m³ come from outside
		}
	}
	ratio := math.Exp(mean(fine[1]) - mean(fine[0]))
	// 30 sandings a side with a spread of 0.28 in ln: standard error 0.07.
	require.InEpsilon(t, demo.FineLeft, ratio, 0.22)
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
