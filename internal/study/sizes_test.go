package study_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

// The sphere's mass, π/6·ρ·N·⟨d³⟩ with ⟨d³⟩ over ln d, by hand for a bin from 1 to
// 2.5 µm: (2.5³ − 1)/(3 ln 2.5). The counts alternate by 0, 1, 2 around the level.
func TestSizesFromBothKindsOfCounts(t *testing.T) {
	var r records
	above := dust.Sensor{Name: "above", Model: "pms5003", Position: dust.Room}
	r.add(t, above, dust.N03, 900, 0)
	r.add(t, above, dust.N10, 300, 0)
	r.add(t, above, dust.N25, 100, 0)
	r.add(t, above, dust.PM25, 50, 0)
	upTo := dust.Sensor{Name: "up to", Model: "sps30", Position: dust.BreathingZone}
	r.add(t, upTo, dust.NPM1, 600, 0)
	r.add(t, upTo, dust.NPM25, 800, 0)
	plain := dust.Sensor{Name: "plain", Model: "sds011", Position: dust.Room}
	r.add(t, plain, dust.PM25, 50, 0)
	s, err := study.Open(t.Context(), &r, settings(t))
	require.NoError(t, err)
	got, err := s.Sizes(t.Context(), exposure.Particles{DensityGCm3: 1.5, ShapeFactor: 1}, study.Window{})
	require.NoError(t, err)
	require.Len(t, got.Sensors, 2)
	want := math.Pi / 6 * 1.5 * 200 * (2.5*2.5*2.5 - 1) / (3 * math.Log(2.5))
	for i, one := range got.Sensors {
		require.Len(t, one.Bins, 2)
		require.Equal(t, 2.5, one.Bins[1].ToUm)
		require.InEpsilon(t, want, one.Bins[1].All, 1e-3, i)
		require.InDelta(t, one.Sum.Respirable, one.Bins[0].Respirable+one.Bins[1].Respirable, 1e-9)
	}
	require.Equal(t, "low", got.Sensors[0].Channels[0].Respirable.Errs)

	onlyPlain := records{}
	onlyPlain.add(t, plain, dust.PM25, 50, 0)
	s, err = study.Open(t.Context(), &onlyPlain, settings(t))
	require.NoError(t, err)
	_, err = s.Sizes(t.Context(), exposure.Particles{DensityGCm3: 1, ShapeFactor: 1}, study.Window{})
	require.ErrorIs(t, err, dust.ErrNoReadings)
}
