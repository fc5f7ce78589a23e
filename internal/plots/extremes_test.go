package plots

import (
	"fmt"
	"math"
	"strings"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// picture is a figure that must come out well, whatever the data.
type picture struct {
	name string
	draw func(o Options) (*figure, error)
}

func tracePicture(name string, d TraceData) picture {
	return picture{"trace/" + name, func(o Options) (*figure, error) {
		t, err := newTrace(d, o)
		if err != nil {
			return nil, err
		}
		return t.draw(), nil
	}}
}

func comparePictures(name string, r compare.Result) []picture {
	list := []picture{
		{"sessions/" + name, func(o Options) (*figure, error) { return newSessionsPlot(r, o).draw(), nil }},
	}
	if len(r.Bins) > 0 {
		list = append(list,
			picture{"ratio/" + name, func(o Options) (*figure, error) { return drawSizeRatio(r, o), nil }},
			picture{"levels/" + name, func(o Options) (*figure, error) { return drawLevels(r, levelPanels(r), o), nil }})
	}
	return list
}

func dosePicture(name string, r exposure.Result) picture {
	return picture{"dose/" + name, func(o Options) (*figure, error) { return newDosePlot(r, o).draw(), nil }}
}

// seriesOf makes a series with one value every step from day on.
func seriesOf(c dust.Channel, step time.Duration, values ...float64) *dust.Series {
	s := dust.NewSeries(dust.Sensor{Name: "bench-1"}, c)
	for i, v := range values {
		if err := s.Append(day.Add(time.Duration(i)*step), v, 0); err != nil {
			panic(err)
		}
	}
	return s
}

const longName = "Schleifen der großen Tischplatte mit dem Exzenterschleifer, обе стороны, 仕上げ研磨 180 🪵 bis alles glatt ist"

// allPictures are realistic pictures and every extreme that data can bring.
func allPictures() []picture {
	var list []picture
	list = append(list, tracePictures()...)
	list = append(list, comparePictures("usual", madeUpComparison())...)
	for name, r := range oddComparisons() {
		list = append(list, comparePictures(name, r)...)
	}
	list = append(list, dosePictures()...)
	list = append(list, collectorPictures()...)
	return append(list, curvePictures()...)
}

func tracePictures() []picture {
	usual := madeUpShift(1, 4*time.Second)
	crossed := usual
	crossed.LimitMgM3 = 0.4
	busy := usual
	busy.Tasks = busyDay(20)
	crowd := usual
	crowd.Tasks = busyDay(150)
	long := usual
	long.Title = words.Literal(longName)
	long.Tasks = []dust.Task{{Name: longName, Material: longName, Start: day, Stop: day.Add(time.Hour)}, {Name: strings.Repeat("W", 300), Start: day.Add(time.Hour)}}
	long.LimitLabel = words.Literal(longName)
	overlap := usual
	overlap.Tasks = []dust.Task{
		{Name: "turning", Person: "a", Start: day, Stop: day.Add(3 * time.Hour)}, {Name: "sanding", Person: "b", Start: day.Add(time.Hour), Stop: day.Add(2 * time.Hour)},
		{Name: "sanding", Person: "c", Start: day.Add(90 * time.Minute)},
	}
	flagged := dust.NewSeries(dust.Sensor{Name: "x"}, dust.PM25)
	for i := range 100 {
		_ = flagged.Append(day.Add(time.Duration(i)*time.Second), 0, dust.AllZero)
	}
	alone := seriesOf(dust.PM25, 10*time.Second, 3, 5, 900, 4, 4, 6, 1) // every reading stands alone
	wide := seriesOf(dust.PM25, time.Second, 1e-3, 1e6, 5, 1e-3, 1e6, 2, 1e3)
	zeros := seriesOf(dust.PM25, time.Second, make([]float64, 50)...)
	notANumber := seriesOf(dust.PM25, time.Second, 1, math.NaN(), math.Inf(1), 3)
	hiccups := dust.NewSeries(dust.Sensor{Name: "x"}, dust.PM25)
	for i := range 8 * 3600 {
		if i%9 > 6 && i%2 == 0 || i%31 > 24 {
			continue
		}
		_ = hiccups.Append(day.Add(time.Duration(i)*time.Second), float64(i*7919%1000), dust.Flags(i%13/12)*dust.Stuck)
	}
	hiccups.Hold = time.Second
	return []picture{
		tracePicture("hiccups", TraceData{Series: hiccups}), tracePicture("usual", usual), tracePicture("crossed limit", crossed), tracePicture("20 tasks", busy),
		tracePicture("150 tasks", crowd), tracePicture("long names", long), tracePicture("overlapping tasks", overlap),
		tracePicture("one reading", TraceData{Series: seriesOf(dust.PM25, time.Second, 42)}),
		tracePicture("all equal", TraceData{Series: seriesOf(dust.PM25, time.Second, 7, 7, 7, 7)}),
		tracePicture("all zero", TraceData{Series: zeros, LimitMgM3: 5}),
		tracePicture("all left out", TraceData{Series: flagged, LimitMgM3: 5}),
		tracePicture("alone", TraceData{Series: alone}),
		tracePicture("1e-3 to 1e6", TraceData{Series: wide, LimitMgM3: 5}),
		tracePicture("tiny", TraceData{Series: seriesOf(dust.PM25, time.Second, 1e-3, 2e-3, 1.5e-3)}),
		tracePicture("not a number", TraceData{Series: notANumber}),
		tracePicture("below zero", TraceData{Series: seriesOf(dust.Temperature, time.Second, -12, 3, -4.5)}),
		tracePicture("counts", TraceData{Series: seriesOf(dust.N03, time.Second, 3000, 4000, 3500), LimitMgM3: 5}),
		tracePicture("a week", madeUpWeek(10*time.Second)),
		tracePicture("year", TraceData{Series: seriesOf(dust.PM25, 24*time.Hour, make([]float64, 366)...)}),
	}
}

// busyDay is n tasks, many of them too short for their names.
func busyDay(n int) []dust.Task {
	names := []string{"sanding", "sawing", "routing", "sweeping", "planing", "drilling", "turning"}
	var out []dust.Task
	t := day.Add(10 * time.Minute)
	for i := range n {
		length := time.Duration(1+(i*7)%23) * 8 * time.Hour / time.Duration(n*24)
		out = append(out, dust.Task{Name: names[i%len(names)], Material: fmt.Sprintf("board %d", i/len(names)), Start: t, Stop: t.Add(length)})
		t = t.Add(length + length/3)
	}
	return out
}

func madeUpWeek(every time.Duration) TraceData {
	s := dust.NewSeries(dust.Sensor{Name: "shelf", Model: "SPS30", Position: dust.Room}, dust.PM25)
	if s.Hold < 2*every {
		s.Hold = 2 * every
	}
	end := day.AddDate(0, 0, 7)
	i := 0
	for t := day; t.Before(end); t = t.Add(every) {
		i++
		hour := t.Hour()
		v := 8 + 3*math.Sin(float64(i)/900)
		if hour >= 8 && hour < 17 {
			v += 60 + 50*math.Sin(float64(i)/50)*math.Sin(float64(i)/1700)
		}
		_ = s.Append(t, math.Round(v*10)/10, 0)
	}
	return TraceData{Series: s, LimitMgM3: 5, LimitLabel: words.Literal("limit"), LimitAveraging: "8 h"}
}

func oddComparisons() map[string]compare.Result {
	single := madeUpComparison()
	single.Sessions = []compare.Session{single.Sessions[0], single.Sessions[12]}
	single.CILow, single.CIHigh = nil, nil
	single.Verdict = compare.TooLittleData
	for i := range single.Bins {
		single.Bins[i].CILow, single.Bins[i].CIHigh = nil, nil
	}
	many := madeUpComparison()
	for i := range 30 {
		s := many.Sessions[i%13]
		s.Date = day.AddDate(0, 1, i).Format(time.DateOnly)
		many.Sessions = append(many.Sessions, s)
	}
	extreme := madeUpComparison()
	extreme.Bins = nil
	for i, ratio := range []float64{0.01, 0.1, 1, 10, 100} {
		extreme.Bins = append(extreme.Bins, compare.Effect{Label: words.Of("bin %d", i), Unit: "1/cm³", Before: ptr(1e-3 * math.Pow(30, float64(i))), After: ptr(1e6), Ratio: ptr(ratio), CILow: ptr(ratio / 1e5), CIHigh: ptr(ratio * 1e5)})
	}
	extreme.Ratio, extreme.CILow, extreme.CIHigh = ptr(100), ptr(1e-4), ptr(1e9)
	none := madeUpComparison()
	none.GMBefore, none.GMAfter, none.Ratio, none.CILow, none.CIHigh = nil, nil, nil, nil, nil
	none.Verdict = compare.TooLittleData
	none.Sessions = none.Sessions[:1]
	none.Bins = []compare.Effect{{Label: words.Literal("PM1"), Unit: "µg/m³", Before: ptr(3)}, {Label: words.Literal("PM4"), Unit: "µg/m³", After: ptr(3), Ratio: ptr(math.NaN()), CILow: ptr(0), CIHigh: ptr(math.Inf(1))}}
	zero := madeUpComparison()
	for i := range zero.Sessions {
		zero.Sessions[i].Adjusted = ptr(float64(i-3) * 2)
	}
	zero.Bins[0].After, zero.Bins[1].Before = ptr(0), ptr(-3)
	equal := madeUpComparison()
	for i := range equal.Sessions {
		equal.Sessions[i].Adjusted = ptr(5)
	}
	equal.GMBefore, equal.GMAfter, equal.Ratio, equal.CILow, equal.CIHigh = ptr(5), ptr(5), ptr(1), ptr(1), ptr(1)
	long := madeUpComparison()
	long.Before, long.After, long.Sensor, long.BackgroundSensor = longName, longName+" 2", longName, longName
	for i := range long.Sessions {
		long.Sessions[i].Setup = long.Before
		if i > 6 {
			long.Sessions[i].Setup = long.After
		}
		long.Sessions[i].Date = longName
	}
	for i := range long.Bins {
		long.Bins[i].Label, long.Bins[i].Note = words.Literal(longName), words.Of("note %d", i)
	}
	half := madeUpComparison()
	half.CILow = nil
	half.Before, half.SmallestChange = "", 0
	return map[string]compare.Result{"single": single, "30 sessions": many, "extreme": extreme, "no numbers": none,
		"zero": zero, "equal": equal, "long names": long, "half an interval": half}
}

func dosePictures() []picture {
	many := exposure.Result{Metric: "pm2_5"}
	for d := range 31 {
		s := exposure.ShiftResult{Date: day.AddDate(0, 0, d).Format(time.DateOnly), Sensor: "bench-1", TWA8h: ptr(1e-3 * math.Pow(1.6, float64(d)))}
		for i := range 20 {
			s.TaskDoseShares = append(s.TaskDoseShares, exposure.TaskDose{Task: fmt.Sprintf("task %d", i), Share: 0.05})
		}
		many.Shifts = append(many.Shifts, s)
	}
	long := madeUpDoses()
	long.Shifts[0].TaskDoseShares[0].Task = longName
	long.Shifts[1].Sensor = longName
	odd := madeUpDoses()
	odd.Shifts[0].TaskDoseShares[0].Share = math.NaN()
	odd.Shifts[1].TaskDoseShares[0].Share = -1
	odd.Shifts[2].TaskDoseShares[0].Share = 5
	odd.Shifts[3].TaskDoseShares, odd.Shifts[3].TWA8h = nil, nil
	one := exposure.Result{Metric: "pm2_5", Shifts: []exposure.ShiftResult{{Date: "2026-03-02", TaskDoseShares: []exposure.TaskDose{{Share: 1}}}}}
	return []picture{dosePicture("usual", madeUpDoses()), dosePicture("31 shifts of 20 tasks", many), dosePicture("long names", long),
		dosePicture("odd shares", odd), dosePicture("no task at all", one)}
}
