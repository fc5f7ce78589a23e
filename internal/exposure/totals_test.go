package exposure

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// By hand: sanding 1 h at 0.9 and 2 h at 0.3 mg/m³ is a mean of 0.5 mg/m³ and a
// dose of 90 mg·min/m³.
func TestTotals(t *testing.T) {
	r := mustAssess(t, Input{
		Shifts: []dust.Shift{shiftOf(hours(8))}, Limit: mustLimit(t, "uk-hard"), DeclaredShift: true,
		Tasks: []dust.Task{
			{Name: "sanding", Material: "Oak", Start: at(0), Stop: at(hours(1))},
			{Name: "sawing", Material: "pine", Start: at(hours(1)), Stop: at(hours(2))},
			{Name: "sanding", Material: "oak", Start: at(hours(2)), Stop: at(hours(4))},
			{Name: "sanding", Start: at(hours(5)), Stop: at(hours(6))},
		},
		Series: []*dust.Series{seriesOf(t, dust.BreathingZone, dust.PM25,
			steady{0, hours(1), 900, 0}, steady{hours(1), hours(2), 600, 0}, steady{hours(2), hours(4), 300, 0}, steady{hours(7), hours(8), 10, 0})},
	})
	byTask := r.Totals(ByTask)
	require.Len(t, byTask, 2)
	require.Equal(t, "sanding", byTask[0].Key)
	require.Equal(t, 2, byTask[0].Count)
	require.Equal(t, 1, byTask[0].Empty)
	require.InDelta(t, 180, byTask[0].MinutesMeasured, 1e-9)
	require.InDelta(t, 90, *byTask[0].DoseMgMinM3, 1e-9)
	require.InDelta(t, 0.5, *byTask[0].MeanMgM3, 1e-9)
	require.InDelta(t, 0.3, *byTask[0].LowestMgM3, 1e-9)
	require.InDelta(t, 0.9, *byTask[0].HighestMgM3, 1e-9)

	byMaterial := r.Totals(ByMaterial)
	require.Equal(t, []string{"oak", "pine", ""}, []string{byMaterial[0].Key, byMaterial[1].Key, byMaterial[2].Key})
	require.Equal(t, 2, byMaterial[0].Count)
	require.Nil(t, byMaterial[2].MeanMgM3)

	byPosition := r.Totals(ByPosition)
	require.Len(t, byPosition, 1)
	require.InDelta(t, *r.Shifts[0].MeasuredMean, *byPosition[0].MeanMgM3, 1e-12)

	_, err := ParseGrouping("weekday")
	require.ErrorContains(t, err, "shift, task, material, position or group")
}
