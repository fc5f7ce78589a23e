package plots

import (
	"image/color"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// luminance and contrast are WCAG 2.2's "relative luminance" and "contrast
// ratio"; black on white gives 21 by definition.
func luminance(c color.NRGBA) float64 {
	part := func(v uint8) float64 {
		x := float64(v) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
}

func contrast(a, b color.NRGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

func TestContrasts(t *testing.T) {
	require.InDelta(t, 21, contrast(rgb(0), rgb(0xffffff)), 1e-9)
	for name, th := range themes {
		for _, c := range []color.NRGBA{th.ink, th.muted, th.limit, th.before, th.after} {
			require.GreaterOrEqual(t, contrast(c, th.paper), 4.5, "%s %v", name, c)
		}
		for _, c := range []color.NRGBA{th.ink, th.muted, th.limit} {
			require.GreaterOrEqual(t, contrast(c, th.shade), 4.5, "%s %v", name, c)
		}
		for _, c := range []color.NRGBA{th.reading, th.mean} {
			require.GreaterOrEqual(t, contrast(c, th.paper), 3.0, "%s %v", name, c)
		}
		for _, c := range append(slices.Clone(th.fills), th.bandA, th.bandB, th.rest) {
			require.GreaterOrEqual(t, contrast(th.ink, c), 4.5, "%s %v", name, c)
		}
		require.GreaterOrEqual(t, len(th.fills), len(themes[Light].fills), "as many looks for tasks in each")
	}
}

// Up to 28 tasks differ in colour or hatching, and neighbours in the legend in
// both.
func TestTasksLookDifferent(t *testing.T) {
	type look struct {
		fill color.NRGBA
		kind int
	}
	p := &dosePlot{}
	for i := range 28 {
		p.tasks = append(p.tasks, string(rune('A'+i)))
	}
	seen := map[look]bool{}
	var last look
	for i, task := range p.tasks {
		fill, kind := p.look(themes[Light], i)
		now := look{fill, kind}
		require.False(t, seen[now], task)
		if i > 0 {
			require.NotEqual(t, last.fill, now.fill)
			require.NotEqual(t, last.kind, now.kind)
		}
		seen[now], last = true, now
	}
}
