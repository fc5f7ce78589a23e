package plots

import (
	"bytes"
	"compress/zlib"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/words"
)

// pageOf unpacks the drawing commands of a PDF's only page.
func pageOf(t *testing.T, pdf []byte) string {
	t.Helper()
	_, rest, found := bytes.Cut(pdf, []byte("stream\n"))
	require.True(t, found)
	z, err := zlib.NewReader(bytes.NewReader(rest))
	require.NoError(t, err)
	page, err := io.ReadAll(z)
	require.NoError(t, err)
	return string(page)
}

// In Windows-1252, the encoding of the PDF's fonts, µ is byte B5 and ³ is B3
// (Unicode consortium, CP1252.TXT). Letters it lacks are drawn, not lost.
func TestPDFTexts(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, ShiftTrace(&b, shortShift(), Options{Format: PDF}))
	page := pageOf(t, b.Bytes())
	require.Contains(t, page, "PM2.5 by optical sensor, \xb5g/m\xb3")
	require.NotContains(t, page, "µ")

	d := shortShift()
	d.Title = words.Literal("Łódź ≥ 5") // Ł and ≥ are not in Windows-1252
	b.Reset()
	require.NoError(t, ShiftTrace(&b, d, Options{Format: PDF}))
	other := pageOf(t, b.Bytes())
	require.NotContains(t, other, "?")
	require.Greater(t, strings.Count(other, " c\n"), strings.Count(page, " c\n")+20, "no curves of letters")
}

func TestOutlineIsAsWideAsTheText(t *testing.T) {
	sty := themes[Light].title()
	face := font.DefaultCache.Lookup(sty.Font, sty.Font.Size)
	low, high := vg.Length(1e9), vg.Length(0)
	for _, step := range outline(face, vg.Point{X: 20, Y: 50}, "HШ漢H") {
		low, high = min(low, step.Pos.X), max(high, step.Pos.X)
		require.InDelta(t, 50, float64(step.Pos.Y), float64(sty.Font.Size))
	}
	require.InDelta(t, float64(face.Width("HШ漢H")), float64(high-low), 0.2*float64(sty.Font.Size)) // but for the bearings
}
