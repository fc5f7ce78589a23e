package report

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// cautions are shown once, at the end of the answers.
var cautions = []words.Text{
	words.Of("Wood dust is a known human carcinogen (IARC Group 1). Being below a limit is not the goal; as little as practicable is."),
	words.Of("Cough, wheeze, rash or a blocked nose that eases on days off: see a doctor, whatever these numbers say."),
	words.Of("A respirator protects only if it fits: fit test, no beard under the seal, medical fitness, the right filter class, and none of them helps where oxygen is short."),
	words.Of("Dust in the air and in layers can explode. A health sensor says nothing about that: keep surfaces clean, do not blow dust down, keep unrated sensors out of ducts, filters and bins."),
	words.Of("Local codes, licensed practice and an occupational hygienist's judgement come before this report."),
}

// settle says what would answer what the sensors cannot.
var settle = []words.Text{
	words.Of("Personal inhalable-dust filter samples (gravimetric), taken by an occupational hygienist over full shifts on 3 to 6 days beside the sensor, with field blanks, weighed by an accredited laboratory."),
	words.Of("A respirable cyclone sample on the same days: it gives this shop's factor from the sensor to respirable dust, for this material."),
	words.Of("Cheaper checks: readings in filtered air (zero), all sensors side by side for an hour before and after the study, exchanging two sensors' places."),
}

func cannotSee(in Input) []words.Text {
	out := []words.Text{
		words.Of("Limits for wood dust are set for inhalable or total dust, up to about 100 µm. Low-cost optical sensors see little above 1 µm and nothing above 10 µm; their PM10 is mostly extrapolated from fine dust (Atmos. Meas. Tech. 13, 2413, 2020)."),
		words.Of("Fine dust is commonly 2 to 15 %% of inhalable wood dust, and the share changes with task and species. No single multiplier is defensible."),
		words.Of("In workplace dusts, spruce among them, PM2.5 readings of such a sensor lay 72 %% below respirable filter samples (TNO, “Quantifying and improving performance of a low-cost PM sensor used for occupational hygiene applications”)."),
		words.Of("A sensor at the collar speaks for the person; a sensor elsewhere speaks for its place. Near a source the difference is several-fold."),
	}
	for _, s := range in.Sensors {
		if s.Sees != "" {
			out = append(out, words.Of("%s: %s", s.Title, s.Sees))
		}
	}
	return out
}

func sources(in Input) []words.Text {
	l := in.Exposure.Limit
	out := []words.Text{
		words.Of("8-hour TWA: 29 CFR 1910.1000(d)(1)(i), E = (Ca·Ta + Cb·Tb + …) / 8."),
		words.Of("Highest 15-minute mean: rolling, time-weighted, at least 75 %% of the window measured."),
		words.Of("Size fractions: EN 481 / ISO 7708."),
		limitSource(l),
	}
	if in.Compare != nil {
		out = append(out, words.Of("Comparison: %s", in.Compare.Method))
	}
	return out
}

func limitSource(l exposure.Limit) words.Text {
	document := strings.Join(filled(l.Source.Document, l.Source.Clause), ", ")
	text := words.Of("Limit %s: %s (%s); %s; table of %s.", l.ID, document, l.Source.Year, l.LegalStatus, words.Day(l.AsOf))
	if l.Notes == "" {
		return text
	}
	return words.Join(" ", text, words.Literal(l.Notes))
}

// checks is how another can make sure of the report.
func checks(in Input) []words.Text {
	out := []words.Text{
		words.Of("Ask for the evidence bundle (`dustlog report --bundle FILE`): it holds every reading as it came, the diary, calibrations, settings, the table of limits and the results, with the SHA-256 of each file."),
		words.Of("`dustlog verify FILE` takes the readings in afresh, computes every result again, and says “identical” or lists what differs. `dustlog explain ID` prints how a number was made."),
		words.Of("Hashes show that nothing was changed since the bundle was made. They show neither who made it, nor that the sensors stood where the diary says, nor that the diary is true: that rests on the people who kept it."),
	}
	if in.Fingerprint != "" {
		out = append(out, words.Of("Fingerprint of this report’s results, the SHA-256 of results.json in its bundle: %s.", in.Fingerprint))
	}
	return out
}

// metricLabel is a metric's name for people.
func metricLabel(metric string) words.Text {
	if c, err := dust.ParseMetric(metric); err == nil {
		return exposure.ChannelText(c)
	}
	return words.Literal(metric)
}

func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// placeText names the place of a sensor.
func placeText(position string) words.Text { return exposure.PositionText(dust.Position(position)) }

func spaced(s string) string { return strings.ReplaceAll(s, "_", " ") }

// slug makes a name fit for an anchor.
func slug(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return '-'
	}, s)
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// num prints a number that may be missing.
func num(format string, x *float64) words.Number {
	if x == nil {
		return "–"
	}
	return words.Number(fmt.Sprintf(format, *x))
}

// sig prints a number that may be missing with three digits, without an exponent.
func sig(x *float64) words.Number {
	if x == nil {
		return "–"
	}
	return words.Significant(*x, 3)
}

// pText prints a p value; far below a thousandth its digits mean nothing.
func pText(p *float64) words.Number {
	switch {
	case p == nil:
		return "–"
	case *p < 0.001:
		return "< 0.001"
	}
	return words.Fixed(*p, 3)
}

func percentText(x *float64) words.Number {
	if x == nil {
		return "–"
	}
	return words.Fixed(*x*100, 1) + " %"
}

// shareText is a share of a limit; one that leaves out what the sensor cannot see says
// so.
func shareText(x *float64, atLeast bool) words.Number {
	if x != nil && atLeast {
		return "≥ " + percentText(x)
	}
	return percentText(x)
}

// thousands sets a space between groups of three.
func thousands(n int64) string {
	text := fmt.Sprint(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + " " + text[i:]
	}
	return text
}

// sentences gives each remark a capital and a full stop.
func sentences(remarks []words.Text) []words.Text {
	out := make([]words.Text, len(remarks))
	for i, r := range remarks {
		out[i] = r.Sentence()
	}
	return out
}
