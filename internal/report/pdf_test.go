package report_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/report"
	"dustlog/internal/words"
)

func pdf(t *testing.T, in report.Input) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.WritePDF(&out, in))
	return out.Bytes()
}

// text reads a PDF with poppler's pdftotext, a reader that is not ours.
func text(t *testing.T, content []byte) (pages []string) {
	t.Helper()
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		if os.Getenv("CI") == "true" {
			require.NoError(t, err, "install poppler-utils")
		}
		t.Skip("pdftotext is not installed: apt-get install poppler-utils")
	}
	path := filepath.Join(t.TempDir(), "r.pdf")
	require.NoError(t, os.WriteFile(path, content, 0o600))
	out, err := exec.CommandContext(t.Context(), tool, "-layout", path, "-").Output()
	require.NoError(t, err)
	return strings.Split(strings.TrimSuffix(string(out), "\f"), "\f")
}

// withTrace gives the input a picture and a table that runs over several pages.
func withTrace(t *testing.T) report.Input {
	in := input(t)
	s := dust.NewSeries(dust.Sensor{Name: "bench", Model: "sps30", Position: dust.BreathingZone}, dust.PM25)
	for i := range 600 {
		require.NoError(t, s.Append(t0.Add(time.Duration(i)*time.Second), 100+float64(i%50), 0))
	}
	in.Traces = []plots.TraceData{{Title: words.Literal("Shift of 2026-03-02"), Shift: in.Exposure.Shifts[0], Series: s, LimitMgM3: 1, LimitLabel: words.Literal("limit")}}
	first := in.Exposure.Shifts[0]
	for range 120 {
		first.Position, first.Sensor = dust.Exhaust, "outlet"
		in.Exposure.Shifts = append(in.Exposure.Shifts, first)
	}
	return in
}

func TestThePDFSaysWhatTheHTMLSays(t *testing.T) {
	in := withTrace(t)
	pages := text(t, pdf(t, in))
	require.Greater(t, len(pages), 4)
	for _, a := range report.Answers(in) {
		require.True(t, strings.Contains(pages[0], a.Short.String()), "the answers are on the first page: %s", a.Short)
	}
	all := strings.Join(pages, "\n")
	for _, want := range []string{"0.123", "0.456 at", "472 of 480", "warm up", "28 123", "no valid frame", "cannot tell", "ripping", "us-acgih-other", "the method"} {
		require.True(t, strings.Contains(all, want), want)
	}
	require.Contains(t, pages[len(pages)-1], "page "+strconv.Itoa(len(pages))+" of "+strconv.Itoa(len(pages)))
	// What the contents promise is true.
	for _, title := range []string{"What was breathed, shift by shift", "Cautions", "Appendix"} {
		for line := range strings.SplitSeq(pages[1], "\n") {
			if name, page, ok := strings.Cut(strings.TrimSpace(line), "   "); ok && name == title {
				n := 0
				for _, digit := range strings.TrimSpace(page) {
					n = 10*n + int(digit-'0')
				}
				require.Contains(t, pages[n-1], title)
			}
		}
		require.Contains(t, pages[1], title)
	}
}

func TestThePDFIsTheSameTwice(t *testing.T) {
	in := withTrace(t)
	require.True(t, bytes.Equal(pdf(t, in), pdf(t, in)))
	require.Less(t, len(pdf(t, in)), 1_500_000)
}

// Nothing of a user's text may break the page, however long or odd.
func TestOddTextInThePDF(t *testing.T) {
	in := input(t)
	in.Shop = strings.Repeat("Werkstatt-ohne-Trennung", 20) + " \x00\x07 \u202e 🪚 ☃ Ж"
	in.Exposure.Shifts[0].Why = words.Literal(strings.Repeat("a long reason, ", 400))
	in.Exposure.Masks = []exposure.MaskResult{{Task: strings.Repeat("x", 300), Why: words.Literal(strings.Repeat("why ", 600))}}
	require.NotEmpty(t, text(t, pdf(t, in)))
}

func TestTheChecklistSaysWhatIsMissing(t *testing.T) {
	missing := map[string]bool{}
	for _, c := range report.Checklist(input(t)) {
		missing[c.Item.String()] = !c.Has
		require.NotEmpty(t, c.Note)
	}
	require.True(t, missing["Who measured, and in whose name"])
	require.True(t, missing["Materials worked"])
	require.True(t, missing["Three days or more; six for statistics"])
	require.False(t, missing["Personal samples in the breathing zone"])
	require.False(t, missing["Limit, its status and source"])
}
