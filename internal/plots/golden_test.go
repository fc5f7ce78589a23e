package plots

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

var update = flag.Bool("update", false, "write the golden pictures anew; look at them before committing")

// shortShift is half an hour with a warm-up, a gap, a limit in reach and a
// reading that stands alone.
func shortShift() TraceData {
	s := dust.NewSeries(dust.Sensor{Name: "bench-1", Model: "PMS5003", Position: dust.BreathingZone}, dust.PM25)
	for i := range 360 {
		at := day.Add(time.Duration(i) * 5 * time.Second)
		var f dust.Flags
		switch {
		case i < 24:
			f = dust.WarmUp
		case i >= 150 && i < 200 && i != 175:
			continue
		}
		v := 60 + 50*math.Sin(float64(i)/30)
		if i == 260 {
			v = 410
		}
		_ = s.Append(at, math.Round(v), f)
	}
	minute := func(m int) time.Time { return day.Add(time.Duration(m) * time.Minute) }
	return TraceData{
		Shift: exposure.ShiftResult{Date: "2026-03-02", Start: day, End: minute(30), Position: dust.BreathingZone, Minutes: 30, MinutesMeasured: 24,
			MinutesExcluded: map[string]float64{"warm_up": 2}, TWA8h: ptr(0.0031), Finding: exposure.CannotTell},
		Series: s, Mean15: []MeanPoint{{At: minute(27), MgM3: 0.06}, {At: minute(28), MgM3: 0.064}, {At: minute(29), MgM3: 0.07}},
		Tasks:     []dust.Task{{Name: "sawing", Material: "oak", Start: minute(3), Stop: minute(11)}, {Name: "sweeping", Start: minute(20), Stop: minute(21)}},
		LimitMgM3: 0.3, LimitLabel: words.Literal("limit for <quartz> & co"), LimitAveraging: "8 h",
	}
}

// The pictures as they were looked at. After a wanted change run
//
//	go test ./internal/plots -run Golden -update
func TestGolden(t *testing.T) {
	o := Options{Zone: zone, Width: 12 * vg.Centimeter}
	for name, draw := range map[string]func(b *bytes.Buffer) error{
		"trace":    func(b *bytes.Buffer) error { return ShiftTrace(b, shortShift(), o) },
		"sessions": func(b *bytes.Buffer) error { return BeforeAfter(b, madeUpComparison(), o) },
		"ratio":    func(b *bytes.Buffer) error { return SizeRatio(b, madeUpComparison(), o) },
		"levels":   func(b *bytes.Buffer) error { return SizeDistribution(b, madeUpComparison(), o) },
		"dose":     func(b *bytes.Buffer) error { return TaskDose(b, madeUpDoses(), o) },

		"clearance":    func(b *bytes.Buffer) error { return Clearance(b, madeUpFalls(50), o) },
		"probability":  func(b *bytes.Buffer) error { return Probability(b, madeUpGroups(), o) },
		"side-by-side": func(b *bytes.Buffer) error { return SideBySide(b, madeUpSideBySide(), o) },
		"factor":       func(b *bytes.Buffer) error { return FactorScatter(b, usualFactor(), o) },
		"blower":       func(b *bytes.Buffer) error { return FanAndSystem(b, madeUpCollector(), o) },
		"filter-drop":  func(b *bytes.Buffer) error { return FilterDrop(b, madeUpCollector(), o) },
		"dust-on-flow": func(b *bytes.Buffer) error { return DustOnFlow(b, madeUpCollector(), o) },
		"loading":      func(b *bytes.Buffer) error { return Loading(b, madeUpLoading(), o) },
		"week":         func(b *bytes.Buffer) error { return Week(b, madeUpQuarters(7, 0.6), o) },
		"months":       func(b *bytes.Buffer) error { return Months(b, madeUpMonths(12, time.Minute), o) },
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			require.NoError(t, draw(&b))
			path := filepath.Join("testdata", "golden", name+".svg")
			if *update {
				require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
				require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
			}
			want, err := os.ReadFile(path)
			require.NoError(t, err, "run with -update")
			require.Equal(t, string(want), b.String())
		})
	}
}
