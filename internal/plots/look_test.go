package plots

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"
)

func TestLook(t *testing.T) {
	dir := os.Getenv("PLOTS_LOOK")
	if dir == "" {
		t.Skip("set PLOTS_LOOK to a folder to get pictures to look at")
	}
	for name, width := range map[string]vg.Length{"a4": 17 * vg.Centimeter, "phone": 9 * vg.Centimeter} {
		for _, format := range []Format{PNG, SVG, PDF} {
			o := Options{Format: format, Width: width, Zone: zone}
			save := func(what string, draw func(f *os.File) error) {
				f, err := os.Create(dir + "/" + what + "-" + name + "." + string(format))
				require.NoError(t, err)
				require.NoError(t, draw(f))
				require.NoError(t, f.Close())
			}
			save("trace", func(f *os.File) error { return ShiftTrace(f, madeUpShift(1, time.Second), o) })
			low := madeUpShift(2, time.Second)
			low.LimitMgM3 = 0.5
			save("trace-limit", func(f *os.File) error { return ShiftTrace(f, low, o) })
			logO := o
			logO.LogY = true
			save("trace-log", func(f *os.File) error { return ShiftTrace(f, madeUpShift(1, time.Second), logO) })
			save("sessions", func(f *os.File) error { return BeforeAfter(f, madeUpComparison(), o) })
			save("ratio", func(f *os.File) error { return SizeRatio(f, madeUpComparison(), o) })
			save("levels", func(f *os.File) error { return SizeDistribution(f, madeUpComparison(), o) })
			save("dose", func(f *os.File) error { return TaskDose(f, madeUpDoses(), o) })
			save("clearance", func(f *os.File) error { return Clearance(f, madeUpFalls(50), o) })
			save("probability", func(f *os.File) error { return Probability(f, madeUpGroups(), o) })
			save("side-by-side", func(f *os.File) error { return SideBySide(f, madeUpSideBySide(), o) })
			save("factor", func(f *os.File) error { return FactorScatter(f, usualFactor(), o) })
			save("blower", func(f *os.File) error { return FanAndSystem(f, madeUpCollector(), o) })
			save("filter-drop", func(f *os.File) error { return FilterDrop(f, madeUpCollector(), o) })
			save("dust-on-flow", func(f *os.File) error { return DustOnFlow(f, madeUpCollector(), o) })
			save("loading", func(f *os.File) error { return Loading(f, madeUpLoading(), o) })
			save("week", func(f *os.File) error { return Week(f, madeUpQuarters(7, 0.6), o) })
			save("months", func(f *os.File) error { return Months(f, madeUpMonths(90, 10*time.Second), o) })
			dark := o
			dark.Theme = Dark
			save("week-dark", func(f *os.File) error { return Week(f, madeUpQuarters(7, 0.6), dark) })
			save("clearance-dark", func(f *os.File) error { return Clearance(f, madeUpFalls(50), dark) })
		}
	}
}
