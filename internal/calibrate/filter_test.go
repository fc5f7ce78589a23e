package calibrate

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/exposure"
	"dustlog/internal/validation"
)

func method(t *testing.T, id string) Method {
	t.Helper()
	m, err := FindMethod(id)
	require.NoError(t, err)
	return m
}

// total is a sample by method 0501: 0.846 mg gained, blanks +0.006, 2.0 L/min for
// 410 min.
func total(t *testing.T) FilterInput {
	return FilterInput{
		Method: method(t, "0501"), From: start, To: after(410 * time.Minute), FlowBefore: 2, FlowAfter: 2,
		Filter: Weights{12.345, 13.191}, Blanks: []Weights{{12.1, 12.106}, {12.2, 12.206}},
	}
}

func sample(t *testing.T, in FilterInput) FilterSample {
	t.Helper()
	s, err := WeighFilter(in)
	require.NoError(t, err)
	return s
}

// The formula and the ranges of the methods, by what their first pages say.
func TestPublishedMethods(t *testing.T) {
	m := method(t, "0501")
	validation.CheckAll(t, "method 0501: mass in the least and largest volume at 15 mg/m³, mg", "NIOSH 0501, issue 1, 2015, first page",
		[]float64{m.MassMin, m.MassMax}, []float64{m.VolumeMin * 15 / 1000, m.VolumeMax * 15 / 1000}, 0.006)
	// 0600's text: imprecision of 0.010 mg was used for estimating the LOD.
	validation.Check(t, "method 0600: weighing sd from the detection limit, mg", "NIOSH 0600, issue 3, 1998, evaluation, 2", 0.010,
		method(t, "0600").DetectionLimit/lodPerSD, 1e-12)
	// Precision of weighing 0.031 and 5 % for the pump make the overall precision,
	// and with the bias of 0.058 the accuracy.
	overall := math.Hypot(0.031, pumpError)
	validation.Check(t, "method 0501: overall precision from weighing and pump", "NIOSH 0501, first page", 0.059, overall, 0.0005)
	validation.Check(t, "method 0501: accuracy, |bias| + 1.645·precision, %", "NIOSH 0501, first page", 15.5, 100*(0.058+1.645*overall), 0.05)
}

// The numbers of the sample are arithmetic: 0.840 mg in 820 L.
func TestConcentration(t *testing.T) {
	s := sample(t, total(t))
	require.InDelta(t, 820, s.Volume, 1e-9)
	require.InDelta(t, 0.840, s.Net, 1e-9)
	require.InDelta(t, 1.024, *s.Concentration, 0.0005)
	require.InDelta(t, 0.091, s.Lowest, 0.0005) // 0.075 mg in 820 L
	require.True(t, s.Detected)
	require.Nil(t, s.AtMost)
	require.InDelta(t, 12.1275002122, *s.Uncertainty, 1e-9) // R 4.2.2: 0.025 mg, two blanks, 5 %
	require.Empty(t, s.Warnings)
	require.Equal(t, exposure.TotalFraction, s.Fraction)
}

func TestLawsOfAFilter(t *testing.T) {
	s := sample(t, total(t))
	heavier := total(t)
	heavier.Filter.After += 0.840 // twice the net mass
	require.InEpsilon(t, 2**s.Concentration, *sample(t, heavier).Concentration, 1e-9)
	longer := total(t)
	longer.To, longer.Filter = after(820*time.Minute), Weights{12.345, 12.345 + 0.006 + 1.680}
	require.InEpsilon(t, *s.Concentration, *sample(t, longer).Concentration, 1e-9)
	tare := total(t) // another filter, same gain
	tare.Filter = Weights{tare.Filter.Before + 5, tare.Filter.After + 5}
	require.InEpsilon(t, *s.Concentration, *sample(t, tare).Concentration, 1e-9)
	imperial := total(t)
	var err error
	imperial.FlowBefore, err = ParseFlow("0.070629 cfm") // 2 L/min
	require.NoError(t, err)
	imperial.FlowAfter = imperial.FlowBefore
	require.InEpsilon(t, *s.Concentration, *sample(t, imperial).Concentration, 1e-5)
}

func TestBelowDetectionStaysBelow(t *testing.T) {
	in := total(t)
	in.Filter.After = in.Filter.Before + 0.006 + 0.0749
	s := sample(t, in)
	require.False(t, s.Detected)
	require.Nil(t, s.Concentration)
	require.Nil(t, s.Uncertainty)
	require.InDelta(t, 0.0915, *s.AtMost, 0.0001)
	s.PairWith(SensorBeside{Metric: "pm2_5", SensorMean: SensorMean{Mean: 30, MeasuredShare: 1}})
	require.Nil(t, s.Sensor.Pair)
	require.Contains(t, s.Sensor.Why, "detection limit")

	in.Filter.After = in.Filter.Before + 0.006 + 0.0751
	require.True(t, sample(t, in).Detected)
	in.LOD = 0.1 // the laboratory's own, worse one
	require.False(t, sample(t, in).Detected)
}

// A cyclone's volume is that of its nominal flow (NIOSH 0600, step 6, note 2).
func TestCyclonesUseTheNominalFlow(t *testing.T) {
	in := total(t)
	in.Method, in.FlowBefore, in.FlowAfter = method(t, "0600"), 2.2, 2.15
	s := sample(t, in)
	require.InDelta(t, 2.2*410, s.Volume, 1e-9)
	require.Equal(t, exposure.RespirableFraction, s.Fraction)
	require.Contains(t, s.Warnings[0], "902 L is above the 400 L")
	in.FlowBefore, in.FlowAfter = 1.66, 1.72
	require.InDelta(t, 1.7*410, sample(t, in).Volume, 1e-9)
	in.FlowBefore, in.FlowAfter = 2.5, 2.35 // 6 % less than before, and off
	s = sample(t, in)
	require.Contains(t, s.Warnings[0], "changed by -6.0 %")
	require.Contains(t, s.Warnings[1], "off the cyclone's 2.5 L/min")
	in.FlowBefore, in.FlowAfter = 3, 3
	_, err := WeighFilter(in)
	require.ErrorContains(t, err, "[1.7 2.2 2.5]")
}

func TestRangesAreTold(t *testing.T) {
	for text, change := range map[string]func(*FilterInput){
		"changed by 5.5 %":            func(in *FilterInput) { in.FlowAfter = 2.11 },
		"outside method 0501":         func(in *FilterInput) { in.FlowBefore, in.FlowAfter = 3, 3 },
		"below the 17 L":              func(in *FilterInput) { in.To = after(8 * time.Minute) },
		"below the working range":     func(in *FilterInput) { in.Filter.After = in.Filter.Before + 0.2 },
		"above the working range":     func(in *FilterInput) { in.Filter.After = in.Filter.Before + 6 },
		"wants 2 at least":            func(in *FilterInput) { in.Blanks = in.Blanks[:1] },
		"0 field blanks":              func(in *FilterInput) { in.Blanks = nil },
		"the blanks scatter by 0.141": func(in *FilterInput) { in.Blanks = []Weights{{12, 12.2}, {12, 12}} },
	} {
		in := total(t)
		change(&in)
		require.Contains(t, join(sample(t, in).Warnings), text)
	}
	in := total(t)
	in.Blanks = []Weights{{12, 12.2}, {12, 12}}
	require.InDelta(t, 3*math.Sqrt2/10, sample(t, in).LOD, 1e-9, "blanks that scatter raise the detection limit")
}

func join(texts []string) (all string) {
	for _, s := range texts {
		all += s + "\n"
	}
	return all
}

func TestBadFilters(t *testing.T) {
	for text, change := range map[string]func(*FilterInput){
		"does not end after":       func(in *FilterInput) { in.To = in.From },
		"the pump ran 500 min":     func(in *FilterInput) { in.Minutes = 500 },
		"flows of 0":               func(in *FilterInput) { in.FlowBefore = 0 },
		"flows of 2 and NaN":       func(in *FilterInput) { in.FlowAfter = math.NaN() },
		"filter weights of -1":     func(in *FilterInput) { in.Filter.Before = -1 },
		"blank 2 weighs":           func(in *FilterInput) { in.Blanks[1].After = 0 },
		"belong to one filter":     func(in *FilterInput) { in.Filter.After = in.Filter.Before - 0.1 },
		"detection limit of -1 mg": func(in *FilterInput) { in.LOD = -1 },
	} {
		in := total(t)
		change(&in)
		_, err := WeighFilter(in)
		require.ErrorContains(t, err, text)
	}
	for _, id := range []string{"", "0700", "mdhs"} {
		_, err := FindMethod(id)
		require.ErrorContains(t, err, "0500, 0501, 0600", id)
	}
	for _, id := range []string{"0600", "NIOSH 0600", "niosh0600"} {
		require.Equal(t, "0600", method(t, id).ID)
	}
	_, err := OtherMethod(exposure.NotStatedFraction, 0.05)
	require.ErrorContains(t, err, "fraction")
	_, err = OtherMethod(exposure.InhalableFraction, 0)
	require.ErrorContains(t, err, "detection limit")
	_, err = OtherMethod(exposure.InhalableFraction, 0.05)
	require.NoError(t, err)
}

// 1 cubic foot = 28.316846592 L: NIST SP 811, appendix B.8.
func TestPublishedFlowUnits(t *testing.T) {
	got, err := ParseFlow("1 cfm")
	require.NoError(t, err)
	validation.Check(t, "1 cfm in L/min", "NIST SP 811 (2008), appendix B.8", 28.316846592, got, 1e-9)
}

func TestFlows(t *testing.T) {
	for text, want := range map[string]float64{"2.2": 2.2, "2.2 L/min": 2.2, "2200 mL/min": 2.2, "2.2lpm": 2.2, "0.0777 CFM": 2.2002} {
		got, err := ParseFlow(text)
		require.NoError(t, err, text)
		require.InDelta(t, want, got, 0.0001, text)
	}
	for _, bad := range []string{"", "x", "-1", "0", "NaN", "Inf", "2.2 m3/h"} {
		_, err := ParseFlow(bad)
		require.ErrorContains(t, err, "cfm", bad)
	}
	require.InDelta(t, 1, LitresToCFM(28.316846592), 1e-12)
	require.InDelta(t, 212, Fahrenheit(100), 1e-12)
	require.InDelta(t, -40, Fahrenheit(-40), 1e-12)
}
