package exposure

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// Every explained number follows from its own formula and inputs, worked here
// again by hand from what the explanation says and nothing else.
func TestExplanationsCanBeFollowed(t *testing.T) {
	r := mustAssess(t, Input{
		Shifts: []dust.Shift{shiftOf(hours(8))}, Limit: mustLimit(t, "uk-hard"), DeclaredShift: true,
		Tasks:  []dust.Task{{Name: "sanding", Start: at(0), Stop: at(hours(2))}},
		Series: []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25, steady{0, hours(2), 900, 0}, steady{hours(2), hours(4), 100, 0}, steady{hours(4), hours(5), 5000, dust.WarmUp})},
	})
	input := func(id, name string) float64 {
		e, err := r.Explain("2026-03-02/collar/" + id)
		require.NoError(t, err)
		for _, g := range e.Inputs {
			if g.Name == name {
				return *g.Value
			}
		}
		require.Fail(t, "no input "+name)
		return 0
	}
	value := func(id string) float64 {
		e, err := r.Explain("2026-03-02/collar/" + id)
		require.NoError(t, err)
		require.NotEmpty(t, e.Formula)
		require.NotEmpty(t, e.Source)
		require.Contains(t, e.LeftOut, "warm_up 60")
		return *e.Value
	}
	const dose = "ΣC·Δt over the measured time"
	for _, c := range []struct {
		id   string
		want float64
	}{
		{"twa_8h", input("twa_8h", dose) / 480},
		{"twa_8h_like_measured", input("twa_8h", dose) / input("twa_8h", "measured") * input("twa_8h", "shift") / 480},
		{"twa_8h_like_worst_task", (input("twa_8h", dose) + input("twa_8h_like_worst_task", "mean of sanding")*(input("twa_8h", "shift")-input("twa_8h", "measured"))) / 480},
		{"twa_shift", input("twa_shift", dose) / input("twa_shift", "shift")},
		{"mean_measured", input("mean_measured", dose) / input("mean_measured", "measured")},
		{"share_of_limit", input("share_of_limit", "reading compared") / input("share_of_limit", "limit uk-hard")},
	} {
		require.InEpsilon(t, c.want, value(c.id), 1e-12, c.id)
	}
	require.InDelta(t, 0.9, value("max_15min"), 1e-9)
	require.InDelta(t, 0.9, value("p99"), 1e-9)
	require.Len(t, r.Explanations(), len(explainedNumbers))

	_, err := r.Explain("2026-03-02/collar/nothing")
	require.ErrorContains(t, err, "2026-03-02/collar/twa_8h")
	_, err = r.Explain("flarp")
	require.ErrorContains(t, err, "lists all")
}
