package report_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/report"
	"dustlog/internal/words"
)

var t0 = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

func f(x float64) *float64 { return &x }

// input is a small report with a result of every kind, made up.
func input(t *testing.T) report.Input {
	t.Helper()
	limit, err := exposure.ChooseLimit("us-acgih-other")
	require.NoError(t, err)
	shift := exposure.ShiftResult{
		Date: "2026-03-02", Start: t0, End: t0.Add(8 * time.Hour), Sensor: "bench", Position: dust.BreathingZone, Setup: "old",
		Minutes: 480, MinutesMeasured: 471.5, MinutesExcluded: map[string]float64{"warm_up": 0.5},
		TWA8h: f(0.123), TWA8hFilled: f(0.125), Max15min: f(0.456), Max15minStart: &t0, LimitID: limit.ID, LimitMgM3: 1,
		ShareOfLimit: f(0.123), Finding: exposure.CannotTell, Why: words.Literal("the reason <b>in words</b>"),
	}
	return report.Input{
		Shop: "A <script>shop</script> & more", Zone: time.UTC, Generated: t0, Version: "test", MassScale: "industrial",
		Exposure: exposure.Result{Schema: 1, Limit: limit, Shifts: []exposure.ShiftResult{shift}, Method: words.Literal("the method"),
			Masks: []exposure.MaskResult{{Task: "ripping", Runs: 3, HighestMeanMgM3: f(0.2), HazardRatioAtLeast: f(0.2), State: exposure.MaskCannotTell, Why: words.Literal("because")}}},
		NoCompare: words.Literal("The diary holds 1 setup."),
		Sensors:   []report.Sensor{{Sensor: dust.Sensor{Name: "bench", Model: "sps30", Position: dust.BreathingZone}, Title: "SPS30", Sees: "fine dust"}},
		Quality:   []dust.LineQuality{{Sensor: "bench", Frames: 28123, ChecksumErrors: 17, OtherErrors: 4, BytesSkipped: 911}},
		Events:    []dust.Event{{Time: t0, Sensor: "bench", Kind: "lost", Text: "no valid frame"}},
	}
}

func html(t *testing.T, in report.Input) string {
	t.Helper()
	var page bytes.Buffer
	require.NoError(t, report.WriteHTML(&page, in))
	return page.String()
}

func TestEveryNumberComesFromTheResults(t *testing.T) {
	page := html(t, input(t))
	for _, want := range []string{
		"0.123", "0.125", "0.456 at 08:00", "12.3 %", "472 of 480", "warm up 0.5 min", // the shift
		"28 123", "17", "911", "no valid frame", // the line
		"cannot tell", "ripping", "us-acgih-other", "the method",
	} {
		require.Contains(t, page, want)
	}
}

func TestTextOfUsersIsEscaped(t *testing.T) {
	page := html(t, input(t))
	require.Contains(t, page, "A &lt;script&gt;shop&lt;/script&gt; &amp; more")
	require.Contains(t, page, "&lt;b&gt;in words")
	require.NotContains(t, page, "<script")
}

func TestThePageNeedsNothingElse(t *testing.T) {
	page := html(t, input(t))
	require.Contains(t, page, "default-src 'none'")
	for _, outside := range []string{"http://", "https://", "src=", "@import", "url("} {
		require.NotContains(t, strings.ReplaceAll(page, `xmlns="http://www.w3.org/2000/svg"`, ""), outside)
	}
}

func TestCautionsAreAlwaysThere(t *testing.T) {
	page := html(t, input(t))
	for _, want := range []string{"IARC Group 1", "fit test", "can explode", "gravimetric", "cannot clear an inhalable-dust limit", "see a doctor"} {
		require.Contains(t, page, want)
	}
}

func TestOnlyInventedDataAreCalledInvented(t *testing.T) {
	in := input(t)
	require.NotContains(t, html(t, in), "Invented data")
	in.Invented = true
	require.Contains(t, html(t, in), "Invented data")
}

func TestMissingNumbersAreDashesNotZeros(t *testing.T) {
	in := input(t)
	in.Exposure.Shifts[0].TWA8h, in.Exposure.Shifts[0].Max15min, in.Exposure.Shifts[0].ShareOfLimit = nil, nil, nil
	page := html(t, in)
	require.NotContains(t, page, "0.123")
	require.Contains(t, page, `<td class="n">–</td>`)
}

func TestAnswersFollowTheResults(t *testing.T) {
	in := input(t)
	answers := report.Answers(in)
	require.Len(t, answers, 3)
	require.Equal(t, "Cannot tell", answers[0].Short.String(), "no comparison, no answer")
	require.Equal(t, "Cannot tell, so keep it on", answers[1].Short.String())
	require.Contains(t, answers[2].Why.String(), "1 setup")

	in.Compare = &compare.Result{
		Before: "old", After: "new", UnitOfReplication: "session", NBefore: 5, NAfter: 6, Confidence: 0.95,
		Ratio: f(0.6), CILow: f(0.5), CIHigh: f(0.72), Verdict: compare.ReducedUncertain, Why: words.Literal("why"),
		Fine: &compare.FineChips{Answer: words.Literal("fine dust fell too"), Why: words.Literal("w"),
			Fine:   compare.Effect{Ratio: f(0.6), CILow: f(0.5), CIHigh: f(0.72)},
			Coarse: compare.Effect{Ratio: f(1.1)}},
	}
	answers = report.Answers(in)
	require.Equal(t, "Fine dust fell too", answers[0].Short.String())
	require.Equal(t, "yes", answers[0].Tone)
	require.Contains(t, answers[0].Figure.String(), "−40 % (−50 % to −28 %)")
	require.Contains(t, answers[0].Figure.String(), "+10 %")
	require.Equal(t, "Reduced, size uncertain", answers[2].Short.String())
	require.Equal(t, "−40 % · 95 % interval −50 % to −28 % · 5 and 6 sessions", answers[2].Figure.String())

	in.Compare.Fine.Fine = compare.Effect{Ratio: f(1.5), CILow: f(1.2), CIHigh: f(1.9)}
	in.Compare.Verdict = compare.NoReductionShown
	answers = report.Answers(in)
	require.Equal(t, "no", answers[0].Tone)
	require.Equal(t, "open", answers[2].Tone, "not shown is not the same as no")

	in.Exposure.Masks[0].State = exposure.KeepOn
	require.Equal(t, "Yes, keep it on", report.Answers(in)[1].Short.String())
	in.Exposure.Masks[0].State = exposure.NotShownNeeded
	require.Equal(t, "Not shown to be needed, for the work below", report.Answers(in)[1].Short.String())
}

func TestAPictureThatCannotBeDrawnIsAnError(t *testing.T) {
	in := input(t)
	in.Traces = []plots.TraceData{{Title: words.Literal("nothing"), Series: dust.NewSeries(dust.Sensor{Name: "bench"}, dust.PM25)}}
	require.ErrorIs(t, report.WriteHTML(&bytes.Buffer{}, in), dust.ErrNoReadings)
}

// The German headings, answers and numbers, as they stand on the page. The decimal
// comma is DIN 1333's, the date that of DIN 5008 (both from memory).
func TestTheReportInGerman(t *testing.T) {
	in := input(t)
	var err error
	in.Words, err = words.In("de")
	require.NoError(t, err)
	page := html(t, in)
	for _, want := range []string{
		`<html lang="de">`, "Feinstaubbericht", "Wird Feinstaub erfasst und nicht nur Späne?", "Ist noch Atemschutz nötig?", "Nicht zu beurteilen, also Atemschutz aufbehalten",
		"Was als Nächstes zu tun ist", "Was eingeatmet wurde, Schicht für Schicht", "02.03.2026", "0,123", "0,456 um 08:00", "12,3 %", "472 von 480", "Anlauf 0,5 min",
		"nicht zu beurteilen", "Holzstaub ist beim Menschen krebserzeugend (IARC Gruppe 1)", "Dichtsitzprüfung", "kann explodieren", "Was die Sensoren nicht zeigen können", "gravimetrische",
	} {
		require.Contains(t, page, want)
	}
	for _, english := range []string{">date<", ">finding<", "cannot tell", "0.123", "Wood dust is", "What to do next", "at 08:00"} {
		require.NotContains(t, page, english)
	}
	pages := text(t, pdf(t, in))
	all := strings.Join(strings.Fields(strings.Join(pages, " ")), " ")
	for _, want := range []string{"Feinstaubbericht", "Inhalt", "0,123", "0,456 um", "472 von", "nicht zu", "Seite 1 von", "Was ein Bericht enthalten soll"} {
		require.Contains(t, all, want)
	}
	require.NotContains(t, all, "page 1 of")
}
