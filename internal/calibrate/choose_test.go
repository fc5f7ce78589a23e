package calibrate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func TestChoose(t *testing.T) {
	kept := func(id int64, material, task string) dust.Calibration {
		c := record(t, id, dust.FilterCalibration, 0, pair(id, 0.4, 0.1).FilterSample)
		c.Material, c.Task, c.Fraction = material, task, "respirable"
		return c
	}
	retired := kept(5, "oak", "")
	retired.Retired = start
	records := []dust.Calibration{kept(1, "Oak", ""), kept(2, "oak ", ""), kept(3, "MDF", ""), kept(4, "oak", "sanding"), retired}

	ids := func(list []dust.Calibration) (out []int64) {
		for _, c := range list {
			out = append(out, c.ID)
		}
		return out
	}
	_, err := Choose(records, "bench", Choice{})
	require.ErrorIs(t, err, ErrMixed)
	require.ErrorContains(t, err, "respirable beside pm2_5, oak, any task (1, 2); respirable beside pm2_5, mdf, any task (3); respirable beside pm2_5, oak, sanding (4)")
	got, err := Choose(records, "bench", Choice{Material: "mdf"})
	require.NoError(t, err)
	require.Equal(t, []int64{3}, ids(got))
	got, err = Choose(records, "bench", Choice{Samples: []int64{2, 1}})
	require.NoError(t, err)
	require.Equal(t, []int64{1, 2}, ids(got))
	_, err = Choose(records, "bench", Choice{Samples: []int64{1, 3}})
	require.ErrorIs(t, err, ErrMixed)
	for _, id := range []int64{5, 99} {
		_, err = Choose(records, "bench", Choice{Samples: []int64{id}})
		require.ErrorIs(t, err, dust.ErrUnknownCalibration)
	}
	_, err = Choose(records, "room", Choice{})
	require.ErrorIs(t, err, ErrTooFew)
	_, err = Choose(records, "bench", Choice{Fraction: "total"})
	require.ErrorIs(t, err, ErrTooFew)

	f, err := FromSamples(records[:3])
	require.NoError(t, err)
	require.InDelta(t, 4, f.Factor, 1e-12)
	require.Equal(t, "NIOSH 0600", f.Source)
}
