package influx_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/storetest"
)

func TestCalibrations(t *testing.T) {
	storetest.RunCalibrations(t, func(t *testing.T, held []dust.Calibration) store.Calibrations {
		dsn := newDatabase(t) + "?shop=north"
		require.NoError(t, newMirror(t, dsn).WriteDiary(t.Context(), influx.Diary{Calibrations: held, Generation: 1}))
		return openShop(t, dsn, "")
	})
}

// TestRetiredLater: a copy made before is brought up to date.
func TestRetiredLater(t *testing.T) {
	dsn := newDatabase(t) + "?shop=north"
	m := newMirror(t, dsn)
	held := storetest.Calibrations()
	before := held[2]
	before.Retired, before.RetiredWhy = before.Expires, ""
	require.NoError(t, m.WriteDiary(t.Context(), influx.Diary{Calibrations: []dust.Calibration{before}, Generation: 1}))
	require.NoError(t, m.WriteDiary(t.Context(), influx.Diary{Calibrations: held, Generation: 2}))
	got, err := openShop(t, dsn, "").Calibrations(t.Context())
	require.NoError(t, err)
	require.Equal(t, held, got)
}
