package plots

import (
	"testing"
	"time"
	_ "time/tzdata" // CET with its clock changes, wherever the tests run

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
)

func TestLinearAxisCoversItsRange(t *testing.T) {
	for _, c := range [][2]float64{{0, 1}, {0, 1e-3}, {0, 1e6}, {-12, 3}, {0, 0}, {5, 5}, {0, 1485}, {0, 0.34}, {-1e-9, 1e-9}} {
		var a plot.Axis
		Options{}.setLinear(&a, c[0], c[1], 6)
		ticks := a.Tick.Marker.Ticks(a.Min, a.Max)
		require.LessOrEqual(t, a.Min, c[0])
		require.GreaterOrEqual(t, a.Max, c[1])
		require.Greater(t, a.Max, a.Min)
		require.GreaterOrEqual(t, len(ticks), 2)
		require.LessOrEqual(t, len(ticks), 9)
		for i := 1; i < len(ticks); i++ {
			require.NotEqual(t, ticks[i-1].Label, ticks[i].Label, c)
		}
	}
}

func TestLogAxisCoversItsRange(t *testing.T) {
	for _, c := range [][2]float64{{1e-3, 1e6}, {1, 1}, {40, 320}, {0.01, 100}, {1e-12, 1e15}, {7, 8}} {
		var a plot.Axis
		setLog(&a, c[0], c[1], logTicks{most: 7})
		ticks := a.Tick.Marker.Ticks(a.Min, a.Max)
		require.LessOrEqual(t, a.Min, c[0])
		require.GreaterOrEqual(t, a.Max, c[1])
		require.NotEmpty(t, ticks, c)
		require.LessOrEqual(t, len(ticks), 7)
		for _, width := range []vg.Length{60, 150, 400} {
			ticks := logTicks{width: width, sty: taskStyle}.Ticks(a.Min, a.Max)
			require.NotEmpty(t, ticks, "%v on %g points", c, width)
			require.Equal(t, ticks, apart(ticks, a.Norm, width, 11, taskStyle))
		}
	}
}

func TestNumbers(t *testing.T) {
	for v, want := range map[float64]string{
		0: "0", 0.001: "0.001", 0.1342: "0.134", 5: "5", 1485.4: "1490", 12345: "12\u202f300", 1e6: "1\u202f000\u202f000", -4.5: "−4.5", 999.9: "1000",
	} {
		require.Equal(t, want, string(number(v)))
	}
	for v, want := range map[float64]string{0.3: "0.30", 1.06: "1.06", 0.0931: "0.093", 0.0100: "0.010", 12.34: "12.3", 100: "100"} {
		require.Equal(t, want, string(ratioNumber(v)))
	}
}

func TestTimeTicks(t *testing.T) {
	at := func(s string) time.Time {
		x, err := time.Parse(time.RFC3339, s)
		require.NoError(t, err)
		return x
	}
	half := time.FixedZone("", 5*3600+30*60)
	require.Equal(t, []string{"08:00", "10:00", "12:00", "14:00", "16:00"},
		labelsOf(clockTicks{zone: zone}.times(at("2026-03-02T07:00:00Z"), at("2026-03-02T15:30:00Z"), 6)))
	require.Equal(t, []string{"12:30", "12:45", "13:00", "13:15"},
		labelsOf(clockTicks{zone: half}.times(at("2026-03-02T06:50:00Z"), at("2026-03-02T07:50:00Z"), 5)))
	require.Equal(t, []string{"07:00:00", "07:00:02", "07:00:04"},
		labelsOf(clockTicks{zone: time.UTC}.times(at("2026-03-02T07:00:00Z"), at("2026-03-02T07:00:05Z"), 3)))
	require.Equal(t, []string{"3 Mar", "4 Mar", "5 Mar"},
		labelsOf(clockTicks{zone: time.UTC}.times(at("2026-03-02T07:00:00Z"), at("2026-03-05T07:00:00Z"), 4)))
	for _, span := range []time.Duration{time.Second, time.Minute, time.Hour, 24 * time.Hour, 7 * 24 * time.Hour, 400 * 24 * time.Hour, 9e4 * time.Hour} {
		require.LessOrEqual(t, len(clockTicks{zone: time.UTC}.times(day, day.Add(span), 5)), 5, span)
	}
}

// On the last Sunday of March the clocks of CET skip 02:00–03:00, on the last of
// October they run through it twice (EU directive 2000/84/EC, from memory). The
// marks stay on round wall times.
func TestTimeTicksAcrossClockChanges(t *testing.T) {
	cet, err := time.LoadLocation("CET")
	require.NoError(t, err)
	spring := time.Date(2026, 3, 29, 0, 0, 0, 0, cet)
	require.Equal(t, []string{"00:00", "04:00", "06:00", "08:00"}, labelsOf(clockTicks{zone: cet}.times(spring, spring.Add(7*time.Hour), 5)))
	require.Equal(t, "CET, UTC+1, later CEST, UTC+2", zoneLabel(spring, spring.Add(7*time.Hour), cet).String())
	autumn := time.Date(2026, 10, 25, 0, 0, 0, 0, cet)
	for _, k := range (clockTicks{zone: cet}).times(autumn, autumn.Add(9*time.Hour), 6) {
		at := time.UnixMilli(int64(k.Value)).In(cet)
		require.Zero(t, at.Minute())
		require.Zero(t, at.Hour()%2, k.Label)
	}
	require.Equal(t, "UTC", zoneLabel(day, day, time.UTC).String())
	require.Equal(t, "UTC+5:30", zoneLabel(day, day, time.FixedZone("", 5*3600+1800)).String())
	require.Equal(t, "UTC−3", zoneLabel(day, day, time.FixedZone("-03", -3*3600)).String())
}

func TestWrapAndElide(t *testing.T) {
	bold := themes[Light].bold()
	for _, width := range []vg.Length{30, 60, 200} {
		joined := 0
		for _, line := range wrap(longName, width, taskStyle) {
			require.LessOrEqual(t, taskStyle.Width(line), width)
			joined += len([]rune(line))
		}
		require.GreaterOrEqual(t, joined, len([]rune(longName))-20) // but for the spaces at line ends
		require.LessOrEqual(t, bold.Width(elide(longName, width, bold)), width)
	}
	require.Empty(t, wrap("", 100, taskStyle))
	require.Equal(t, "a b \ufffd", clean("a\x00\tb\n \xff"))
}
