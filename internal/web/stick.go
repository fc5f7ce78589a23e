package web

import (
	"fmt"
	"math"
	"slices"

	"dustlog/internal/exposure"
)

// The stick is the one picture of what all sensors say now: a rule from 1 to
// 10 000 µg/m³, each decade as long as the next, with a mark at each level. Levels
// now are on its right, the means of the first sensor on its left, where the limit
// is a mean too.
const (
	stickTop    = 18.0
	stickBottom = 328.0
	stickFrom   = 1.0 // µg/m³
	decades     = 4.0
	labelGap    = 32.0 // between two labels on the right
	meanGap     = 30.0 // and on the left
	leadLong    = 24.0 // of the line from a mark to its label
	leadShort   = 12.0
)

// stick is what the template draws.
type stick struct {
	Ticks  []stickTick
	Limit  float64 // y of the limit
	Over   string  // what it is a mean over
	Levels []stickMark
	Means  []stickMark
	Whose  string // sensor of the means
}

type stickTick struct {
	Y     float64
	Long  int // 1 for 2 … 9, 2 for 5, 3 for a decade
	Label string
}

// stickMark is a mark and its label, which stands beside it unless another is there.
type stickMark struct {
	Key, Text, Name string
	Shown           string // the SVG attribute visibility
	Mark, Label     string // transform
	Lead            string // path from the mark to the label
	y, labelY       float64
}

// height is where a level is on the stick; beyond its ends, at the end.
func height(ugM3 float64) float64 {
	share := math.Log10(math.Max(ugM3, stickFrom)/stickFrom) / decades
	return stickBottom - (stickBottom-stickTop)*math.Min(share, 1)
}

func newStick(sensors []sensorView, limit exposure.Limit) stick {
	s := stick{Ticks: ticks(), Limit: round1(height(limit.MgM3 * 1000)), Over: string(limit.Averaging)}
	for _, v := range sensors {
		s.Levels = append(s.Levels, newStickMark(v.Key, v.Level, shortened(v.Name), v.level))
	}
	place(s.Levels, labelGap, leadLong)
	if len(sensors) > 0 {
		first := sensors[0]
		s.Whose = first.Name
		s.Means = []stickMark{
			newStickMark("m15", first.Mean15, "15 min", first.mean15),
			newStickMark("m8h", first.Today, "8 h so far", first.today),
		}
		place(s.Means, meanGap, -leadShort)
	}
	return s
}

func newStickMark(key, text, name string, ugM3 *float64) stickMark {
	m := stickMark{Key: key, Text: text, Name: name, Shown: "hidden", y: stickBottom}
	if ugM3 != nil {
		m.Shown, m.y = "visible", height(*ugM3)
	}
	return m
}

// place puts the labels of shown marks at least gap apart, near their marks.
func place(marks []stickMark, gap, lead float64) {
	var shown []*stickMark
	for i := range marks {
		marks[i].labelY = marks[i].y
		if marks[i].Shown == "visible" {
			shown = append(shown, &marks[i])
		}
	}
	slices.SortStableFunc(shown, func(a, b *stickMark) int { return int(math.Copysign(1, a.y-b.y)) })
	if n := len(shown); n > 1 {
		gap = math.Min(gap, (stickBottom-stickTop)/float64(n-1))
		for i := 1; i < n; i++ {
			shown[i].labelY = math.Max(shown[i].labelY, shown[i-1].labelY+gap)
		}
		shown[n-1].labelY = math.Min(shown[n-1].labelY, stickBottom)
		for i := n - 2; i >= 0; i-- {
			shown[i].labelY = math.Min(shown[i].labelY, shown[i+1].labelY-gap)
		}
	}
	for i := range marks {
		m := &marks[i]
		m.Mark = fmt.Sprintf("translate(0 %.1f)", m.y)
		m.Label = fmt.Sprintf("translate(0 %.1f)", m.labelY)
		m.Lead = fmt.Sprintf("M0 %.1fL%.0f %.1f", m.y, lead, m.labelY)
	}
}

func ticks() (out []stickTick) {
	for d := 1.0; d < math.Pow(10, decades); d *= 10 {
		for k := 1.0; k < 10; k++ {
			t := stickTick{Y: round1(height(k * d)), Long: 1}
			switch k {
			case 1:
				t.Long, t.Label = 3, thousands(int64(d))
			case 5:
				t.Long = 2
			}
			out = append(out, t)
		}
	}
	return append(out, stickTick{Y: stickTop, Long: 3, Label: thousands(int64(math.Pow(10, decades)))})
}

// shortened fits a name beside the stick; the table has it whole.
func shortened(name string) string {
	const most = 11
	if r := []rune(name); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return name
}

func round1(x float64) float64 { return math.Round(x*10) / 10 }
