package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

var sizes = map[string]Options{
	"narrowest": {Width: leastWidth}, "phone": {Width: 9 * vg.Centimeter}, "page": {}, "tall": {Height: 25 * vg.Centimeter},
	"wide": {Width: 40 * vg.Centimeter}, "log": {LogY: true},
}

// In every picture all texts are big enough, stand inside it and touch no
// other, and nothing is drawn at a place that is no number.
func TestPicturesAreReadable(t *testing.T) {
	for _, p := range allPictures() {
		for size, o := range sizes {
			t.Run(p.name+"/"+size, func(t *testing.T) {
				o, err := o.complete()
				require.NoError(t, err)
				f, err := p.draw(o)
				require.NoError(t, err)
				d := record(f)
				checkTexts(t, d)
				checkShapes(t, d)
				require.NotEmpty(t, d.alt)
				require.LessOrEqual(t, len(d.alt), 1500)
			})
		}
	}
}

func checkTexts(t *testing.T, d recorded) {
	t.Helper()
	const hair = 0.05
	for i, a := range d.texts {
		require.GreaterOrEqual(t, a.size, vg.Length(9), a.text) // 9 pt is the least size asked for
		b := a.box
		require.False(t, b.Min.X < -hair || b.Min.Y < -hair || b.Max.X > d.w+hair || b.Max.Y > d.h+hair, "%q stands outside: %v of %g × %g", a.text, b, d.w, d.h)
		for _, other := range d.texts[:i] {
			require.False(t, overlaps(shrink(b), shrink(other.box)), "%q %v touches %q %v", a.text, b, other.text, other.box)
		}
	}
}

// shrink takes off the part of a line's height that accents and tails of usual
// letters do not reach.
func shrink(r vg.Rectangle) vg.Rectangle {
	r.Min.Y, r.Max.Y = r.Min.Y+1, r.Max.Y-1
	return r
}

func checkShapes(t *testing.T, d recorded) {
	t.Helper()
	for _, s := range d.paths {
		for _, p := range s.points {
			sum := float64(p.X + p.Y)
			require.False(t, math.IsNaN(sum) || math.IsInf(sum, 0), "a place that is no number")
			require.False(t, p.X < -1 || p.X > d.w+1 || p.Y < -1 || p.Y > d.h+1, "a line lies outside at %v of %g × %g", p, d.w, d.h)
		}
	}
}

// A shift's SVG must stay below 120 kB, or a report of a month gets heavy.
func TestSVGIsWellFormedLeanAndTheSameTwice(t *testing.T) {
	for _, p := range allPictures() {
		t.Run(p.name, func(t *testing.T) {
			first, second := svgOf(t, p), svgOf(t, p)
			require.Equal(t, first, second)
			limit := 120_000
			if !strings.HasPrefix(p.name, "trace/") {
				limit = 260_000 // a month of days with 20 tasks each
			}
			require.Less(t, len(first), limit)
			require.Contains(t, string(first), ` viewBox="0 0 `)
			require.Contains(t, string(first), "sans-serif")
			require.Regexp(t, `^<svg role="img" aria-label="[^"]+" `, string(first))
			require.NotContains(t, string(first), " id=") // several stand in one page
			dec := xml.NewDecoder(bytes.NewReader(first))
			texts := 0
			for {
				token, err := dec.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				require.NoError(t, err)
				if e, ok := token.(xml.StartElement); ok && e.Name.Local == "text" {
					texts++
				}
			}
			require.Positive(t, texts)
		})
	}
}

func svgOf(t *testing.T, p picture) []byte {
	t.Helper()
	o, err := Options{Zone: zone}.complete()
	require.NoError(t, err)
	f, err := p.draw(o)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, o.write(&b, f))
	return b.Bytes()
}

// PNG and PDF of the usual pictures and of long Unicode names.
func TestOtherFormatsAreTheSameTwice(t *testing.T) {
	long := madeUpShift(1, 4*time.Second)
	long.Title = words.Literal(longName)
	for _, format := range []Format{PNG, PDF} {
		for _, d := range []TraceData{madeUpShift(1, 4*time.Second), long} {
			var first, second bytes.Buffer
			require.NoError(t, ShiftTrace(&first, d, Options{Format: format}))
			require.NoError(t, ShiftTrace(&second, d, Options{Format: format}))
			require.Equal(t, first.Bytes(), second.Bytes(), format)
		}
	}
}

// 17 cm at 192 dots per inch are 17 / 2.54 · 192 = 1285 dots.
func TestPNGHasTheSizeAskedFor(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, TaskDose(&b, madeUpDoses(), Options{Format: PNG}))
	c, err := png.DecodeConfig(&b)
	require.NoError(t, err)
	require.InDelta(t, 1285, c.Width, 1)
}

func TestNothingToDraw(t *testing.T) {
	empty := dust.NewSeries(dust.Sensor{Name: "x"}, dust.PM25)
	later := seriesOf(dust.PM25, time.Second, 1, 2)
	away := exposure.ShiftResult{Start: day.Add(-2 * time.Hour), End: day.Add(-time.Hour)}
	for name, err := range map[string]error{
		"no series":     ShiftTrace(io.Discard, TraceData{}, Options{}),
		"empty series":  ShiftTrace(io.Discard, TraceData{Series: empty}, Options{}),
		"other time":    ShiftTrace(io.Discard, TraceData{Series: later, Shift: away}, Options{}),
		"CSV":           CSVShiftTrace(io.Discard, TraceData{}, Options{}),
		"no sessions":   BeforeAfter(io.Discard, compare.Result{}, Options{}),
		"no sizes":      SizeRatio(io.Discard, compare.Result{}, Options{}),
		"no levels":     SizeDistribution(io.Discard, compare.Result{Bins: []compare.Effect{{Label: words.Literal("PM1")}}}, Options{}),
		"no dose":       TaskDose(io.Discard, exposure.Result{}, Options{}),
		"shift no dose": TaskDose(io.Discard, exposure.Result{Shifts: []exposure.ShiftResult{{}}}, Options{}),
	} {
		require.ErrorIs(t, err, dust.ErrNoReadings, name)
	}
}

func TestOptionsRefused(t *testing.T) {
	for name, o := range map[string]Options{
		"format": {Format: "gif"}, "theme": {Theme: "neon"}, "narrow": {Width: vg.Centimeter}, "below zero": {Height: -1},
		"no number": {Width: vg.Length(math.NaN())}, "huge": {Width: 900 * vg.Centimeter}, "dots": {DPI: 90000},
	} {
		require.Error(t, TaskDose(io.Discard, madeUpDoses(), o), name)
	}
	f, err := ParseFormat(".PNG")
	require.NoError(t, err)
	require.Equal(t, PNG, f)
	_, err = ParseFormat("bmp")
	require.ErrorContains(t, err, "svg, png, pdf")
}

// The web page draws several pictures at once.
func TestDrawingAtOnce(t *testing.T) {
	want := svgOf(t, dosePictures()[0])
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			var b bytes.Buffer
			assert.NoError(t, TaskDose(&b, madeUpDoses(), Options{Zone: zone}))
			assert.Equal(t, want, b.Bytes())
			for _, f := range []Format{PNG, PDF} {
				assert.NoError(t, SizeRatio(io.Discard, madeUpComparison(), Options{Format: f}))
			}
		})
	}
	all.Wait()
}

// failing is a writer whose disk is full.
type failing struct{}

var errFull = errors.New("disk full")

func (failing) Write([]byte) (int, error) { return 0, errFull }

func TestWriteErrorsAreReported(t *testing.T) {
	for _, f := range []Format{SVG, PNG, PDF} {
		require.ErrorIs(t, TaskDose(failing{}, madeUpDoses(), Options{Format: f}), errFull, f)
	}
	require.ErrorIs(t, CSVShiftTrace(failing{}, madeUpShift(1, time.Minute), Options{}), errFull)
	require.ErrorIs(t, CSVTaskDose(failing{}, madeUpDoses()), errFull)
}

func BenchmarkWeek(b *testing.B) {
	d := madeUpWeek(time.Second)
	for _, f := range []Format{SVG, PNG, PDF} {
		b.Run(string(f), func(b *testing.B) {
			for b.Loop() {
				if err := ShiftTrace(io.Discard, d, Options{Format: f}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(d.Series.Len()), "readings")
		})
	}
}
