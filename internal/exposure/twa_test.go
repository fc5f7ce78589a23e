package exposure

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/validation"
)

// span makes a span of whole minutes after start.
func span(fromMin, toMin, value float64) dust.Span {
	ms := func(m float64) int64 { return at(time.Duration(m * float64(time.Minute))).UnixMilli() }
	return dust.Span{From: ms(fromMin), To: ms(toMin), Value: value}
}

// The worked example printed in 29 CFR 1910.1000(d)(1)(ii): two hours at 150, two
// at 75, four at 50 ppm give 81.25 ppm.
func TestPublishedTWA8h(t *testing.T) {
	spans := []dust.Span{span(0, 120, 150), span(120, 240, 75), span(240, 480, 50)}
	validation.Check(t, "8-h TWA of 2 h at 150, 2 h at 75, 4 h at 50 ppm", "29 CFR 1910.1000(d)(1)(ii)", 81.25, TWA8h(slices.Values(spans)), 1e-9)
}

// The worked example printed in 29 CFR 1910.1000(d)(2)(ii): 500/1000, 45/200 and
// 40/200 give 0.925.
func TestPublishedMixtureIndex(t *testing.T) {
	em, err := MixtureIndex([]float64{500, 45, 40}, []float64{1000, 200, 200})
	require.NoError(t, err)
	validation.Check(t, "mixture of 500/1000, 45/200 and 40/200", "29 CFR 1910.1000(d)(2)(ii)", 0.925, em, 1e-12)
}

func TestMixtureIndexRefusesBadParts(t *testing.T) {
	for _, bad := range []struct{ c, l []float64 }{
		{nil, nil}, {[]float64{1}, []float64{1, 2}}, {[]float64{-1}, []float64{1}}, {[]float64{1}, []float64{0}},
		{[]float64{math.NaN()}, []float64{1}}, {[]float64{1}, []float64{math.Inf(1)}},
	} {
		_, err := MixtureIndex(bad.c, bad.l)
		require.Error(t, err)
	}
}

// By hand: 30 min at 4 and 30 min at 2 measured, mean 3; over 8 h 3/8.
func TestMeasuredMeanAndTWADiffer(t *testing.T) {
	spans := []dust.Span{span(0, 30, 4), span(200, 230, 2)}
	mean, measured, ok := MeasuredMean(slices.Values(spans))
	require.True(t, ok)
	require.InDelta(t, 3, mean, 1e-12)
	require.Equal(t, time.Hour, measured)
	require.InDelta(t, 3.0/8, TWA8h(slices.Values(spans)), 1e-12)
	_, _, ok = MeasuredMean(slices.Values([]dust.Span(nil)))
	require.False(t, ok)
}

// Laws: scaling scales, splitting a reading changes nothing, constants stay.
func TestTWALaws(t *testing.T) {
	whole := []dust.Span{span(0, 60, 3), span(60, 90, 11), span(100, 480, 0.25)}
	var scaled, split []dust.Span
	for _, p := range whole {
		scaled = append(scaled, dust.Span{From: p.From, To: p.To, Value: 7 * p.Value})
		cut := p.From + (p.To-p.From)/3
		split = append(split, dust.Span{From: p.From, To: cut, Value: p.Value}, dust.Span{From: cut, To: p.To, Value: p.Value})
	}
	want := TWA8h(slices.Values(whole))
	require.InEpsilon(t, 7*want, TWA8h(slices.Values(scaled)), 1e-12)
	require.InEpsilon(t, want, TWA8h(slices.Values(split)), 1e-12)
	require.InDelta(t, 2.5, TWA8h(slices.Values([]dust.Span{span(0, 480, 2.5)})), 1e-12)
}

// The divisor of an "up to 10-hour workday" limit, as defined in the package comment.
func TestTWAHours(t *testing.T) {
	require.Equal(t, 8*time.Hour, TWAHours(EightHours, 12*time.Hour))
	require.Equal(t, 8*time.Hour, TWAHours(TenHours, 4*time.Hour))
	require.Equal(t, 9*time.Hour, TWAHours(TenHours, 9*time.Hour))
	require.Equal(t, 10*time.Hour, TWAHours(TenHours, 12*time.Hour))
}

func ExampleTWA8h() {
	// 29 CFR 1910.1000(d)(1)(ii): 2 h at 150 ppm, 2 h at 75 ppm, 4 h at 50 ppm.
	hour := int64(time.Hour / time.Millisecond)
	spans := []dust.Span{{From: 0, To: 2 * hour, Value: 150}, {From: 2 * hour, To: 4 * hour, Value: 75}, {From: 4 * hour, To: 8 * hour, Value: 50}}
	fmt.Println(TWA8h(slices.Values(spans)), "ppm")
	// Output: 81.25 ppm
}

func ExampleMeasuredMean() {
	hour := int64(time.Hour / time.Millisecond)
	spans := []dust.Span{{From: 0, To: hour, Value: 4}, {From: 5 * hour, To: 6 * hour, Value: 2}}
	mean, measured, _ := MeasuredMean(slices.Values(spans))
	fmt.Println(mean, "over", measured)
	// Output: 3 over 2h0m0s
}

func ExampleMixtureIndex() {
	// 29 CFR 1910.1000(d)(2)(ii).
	em, _ := MixtureIndex([]float64{500, 45, 40}, []float64{1000, 200, 200})
	fmt.Printf("%.3f\n", em)
	// Output: 0.925
}

func ExampleMax15min() {
	// Minutes at 6, 20 and 4, five of each: 10 over the 15 minutes.
	var spans []dust.Span
	for i := range int64(15) {
		spans = append(spans, dust.Span{From: i * 60_000, To: (i + 1) * 60_000, Value: []float64{6, 20, 4}[i/5]})
	}
	peak, _ := Max15min(spans, time.UnixMilli(0), time.UnixMilli(15*60_000))
	fmt.Println(peak.Mean, "mg/m³")
	// Output: 10 mg/m³
}
