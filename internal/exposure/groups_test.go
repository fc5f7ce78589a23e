package exposure_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/exposure/group"
)

// The six shifts of the EN 689 example worked from the standard's formulas (GM
// 0.5776, GSD 1.3670 mg/m³), half of each shift measured twice as well.
var sixShifts = []float64{0.45, 0.62, 0.38, 0.91, 0.55, 0.70}

// shiftsOf makes a result in which every shift has one of the values, as read or
// with a factor.
func shiftsOf(limit exposure.Limit, values []float64, change func(i int, s *exposure.ShiftResult)) exposure.Result {
	r := exposure.Result{Metric: "pm2_5", Limit: limit}
	for i, x := range values {
		s := exposure.ShiftResult{Date: fmt.Sprintf("2026-03-%02d", i+2), Sensor: "collar", Position: dust.BreathingZone, Setup: "hood", Minutes: 480, MinutesMeasured: 480}
		value := x
		s.Limits = []exposure.LimitFinding{{LimitID: limit.ID, ComparedMgM3: &value}}
		if change != nil {
			change(i, &s)
		}
		r.Shifts = append(r.Shifts, s)
	}
	return r
}

// scaledBy scales by a factor with an uncertainty either way.
func scaledBy(factor, uncertainty float64) func(int, *exposure.ShiftResult) {
	return func(_ int, s *exposure.ShiftResult) {
		mid := *s.Limits[0].ComparedMgM3
		reading, low, high := mid/factor, mid*(1-uncertainty), mid*(1+uncertainty)
		s.Limits[0].ComparedMgM3, s.Limits[0].WithFactor, s.Limits[0].WithFactorLow, s.Limits[0].WithFactorHigh = &reading, &mid, &low, &high
		s.WithFactor = &mid
	}
}

func TestGroupOfDays(t *testing.T) {
	limit := exposure.Limit{ID: "x", MgM3: 2, Fraction: exposure.RespirableFraction, Averaging: exposure.EightHours}
	g := shiftsOf(limit, sixShifts, scaledBy(2, 0.1)).Groups()
	require.Len(t, g, 1)
	require.InDelta(t, 0.5776, *g[0].GM, 5e-5)
	require.InDelta(t, 1.3670, *g[0].GSD, 5e-5)
	require.Equal(t, group.ShownBelow, g[0].Finding)
	require.Equal(t, 6, g[0].Days)

	// The factor may be so far off that it does not hold: all days share it.
	g = shiftsOf(limit, sixShifts, scaledBy(2, 0.9)).Groups()
	require.Equal(t, group.NotShown, g[0].Finding)
	require.Contains(t, g[0].Why.String(), "The factor may be so far too low")

	// Plain readings show nothing below a limit, but may show it exceeded.
	g = shiftsOf(limit, sixShifts, nil).Groups()
	require.Equal(t, group.CannotTell, g[0].Finding)
	require.Contains(t, g[0].Why.String(), "lower bound")
	limit.MgM3 = 0.5
	g = shiftsOf(limit, sixShifts, nil).Groups()
	require.Equal(t, group.Over, g[0].Finding)
	pm10 := shiftsOf(limit, sixShifts, nil)
	pm10.Metric = "pm10"
	require.Equal(t, group.CannotTell, pm10.Groups()[0].Finding)

	// Even with a factor nothing clears an inhalable limit.
	limit.MgM3, limit.Fraction, limit.FractionPrinted = 2, exposure.InhalableFraction, "inhalable"
	require.Equal(t, group.CannotTell, shiftsOf(limit, sixShifts, scaledBy(2, 0.1)).Groups()[0].Finding)
}

func TestDaysThatDoNotCount(t *testing.T) {
	limit := exposure.Limit{ID: "x", MgM3: 2, Fraction: exposure.RespirableFraction, Averaging: exposure.EightHours}
	g := shiftsOf(limit, sixShifts, func(i int, s *exposure.ShiftResult) {
		switch i {
		case 0:
			s.MinutesMeasured = 300 // below 75 %
		case 1:
			s.Limits[0].ComparedMgM3 = nil
		case 2:
			s.MinutesMeasured = 400 // counted up
		case 3:
			s.Position = dust.Exhaust // nobody breathes there
		case 4:
			s.Setup = "another"
		}
	}).Groups()
	require.Len(t, g, 2)
	require.Len(t, g[0].Excluded, 2)
	require.Equal(t, 2, g[0].Days)
	require.InDelta(t, 0.70, *g[0].Highest, 1e-12)
	require.Equal(t, 1, g[1].Days)
	require.Equal(t, group.NotEnoughDays, shiftsOf(limit, sixShifts[:2], scaledBy(1, 0.1)).Groups()[0].Finding)
}
