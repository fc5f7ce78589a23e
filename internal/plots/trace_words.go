package plots

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// title is the caller's, or says what, where and when.
func (t *trace) title() words.Text {
	if !t.Title.IsZero() {
		return t.Title
	}
	when := words.Of("%s", words.Day(t.Shift.Date))
	if t.Shift.Date == "" {
		when = words.Date(t.from.In(t.o.Zone)).Text()
		if t.to.Sub(t.from) > 24*time.Hour {
			when = words.Of("%s to %s", when, words.Date(t.to.In(t.o.Zone)))
		}
	}
	return words.Of("%s at %s, %s", exposure.ChannelText(t.Series.Channel), t.Series.Sensor.Name, when)
}

func (t *trace) quantity() words.Text {
	q := quantity(t.Series.Channel, t.unit)
	if t.o.LogY && t.usable > 0 {
		q = words.Of("%s, logarithmic axis", q)
	}
	return q
}

// quantity names a channel for an axis.
func quantity(c dust.Channel, unit string) words.Text {
	switch {
	case c.IsMass():
		return words.Of("%s by optical sensor, %s", exposure.ChannelText(c), unit)
	case c.Unit() == "1/cm³":
		return words.Of("Particles %s by optical sensor, %s", exposure.ChannelText(c), unit)
	}
	return words.Of("%s, %s", exposure.ChannelText(c).Capital(), unit)
}

// limitText names the limit with its value and averaging time.
func (t *trace) limitText() words.Text {
	said := t.LimitLabel.String()
	named := words.Of("%s %s mg/m³", t.LimitLabel, number(t.LimitMgM3))
	switch {
	case strings.Contains(said, "mg/m") || strings.Contains(said, "µg/m"):
		return t.LimitLabel // says its value, and then all the rest
	case said == "":
		named = words.Of("limit %s mg/m³", number(t.LimitMgM3))
	}
	switch a := clean(t.LimitAveraging); a {
	case "":
		return named
	case "annual":
		return words.Of("%s (annual mean)", named)
	default:
		return words.Of("%s (mean over %s)", named, a)
	}
}

func (t *trace) caption() words.Text {
	s := t.Series.Sensor
	parts := []words.Text{words.Of("Sensor %s%s, %s.", s.Name, inBrackets(s.Model), placeText(s.Position))}
	if f := t.Shift.Fraction; !f.IsZero() {
		parts = append(parts, words.Of("Size fraction: %s.", f))
	}
	switch {
	case t.usable == 0:
	case len(t.mean) > 0:
		parts = append(parts, words.Of("Thin line: single readings, every peak kept; heavy line: mean over the 15 minutes before."))
	default:
		parts = append(parts, words.Of("Thin line: single readings, every peak kept."))
	}
	if x := t.Shift.SaturatedShare; x > 0 {
		parts = append(parts, words.Of("For %s %% of the measured time the sensor was at its top: the truth is higher.", number(100*x)))
	}
	if t.clipped {
		parts = append(parts, words.Of("Readings below %s %s are drawn at the lower edge.", number(t.floor), t.unit))
	}
	if t.Shift.Minutes > 0 {
		parts = append(parts, words.Of("Measured %.0f of %.0f minutes.", t.Shift.MinutesMeasured, t.Shift.Minutes))
	}
	if v := t.Shift.TWA8h; v != nil {
		parts = append(parts, words.Of("8-hour mean (TWA) %s mg/m³.", number(*v)))
	}
	if t.Shift.Finding != "" && t.limit > 0 {
		parts = append(parts, words.Of("Against the limit: %s.", t.Shift.Finding.Text()))
	}
	return sentences(parts...)
}

func inBrackets(s string) string {
	if s == "" {
		return ""
	}
	return " (" + s + ")"
}

func placeText(p dust.Position) words.Text {
	if p == "" {
		return words.Of("position not given")
	}
	return words.Of("position: %s", exposure.PositionText(p))
}

// leftOut says why readings were left out, the longest first.
func (t *trace) leftOut() words.Text {
	minutes := t.Shift.MinutesExcluded
	if len(minutes) == 0 {
		return words.Of("readings left out")
	}
	flags := slices.SortedFunc(maps.Keys(minutes), func(a, b string) int {
		return cmp.Or(cmp.Compare(minutes[b], minutes[a]), strings.Compare(a, b))
	})
	var parts []words.Text
	for _, flag := range flags {
		parts = append(parts, words.Of("%s %s min", exposure.FlagWords(flag), number(minutes[flag])))
	}
	return words.Of("readings left out: %s", words.Join(", ", parts...))
}

// fullCaption adds what the picture had no room to say.
func (t *trace) fullCaption(l taskLayout, note words.Text) words.Text {
	c := t.caption()
	if full := t.limitText(); !note.IsZero() && note.String() != full.String() {
		c = sentences(c, full.Sentence())
	}
	if l.dropped > 0 {
		c = sentences(c, words.Of("%d very short tasks carry no number.", l.dropped))
	}
	return c
}

// altText describes the picture in two sentences.
func (t *trace) altText() string {
	first := words.Of("%s at %s from %s to %s (%s)", exposure.ChannelText(t.Series.Channel), t.Series.Sensor.Name,
		words.Time(t.from.In(t.o.Zone), "2006-01-02 15:04"), words.Clock(t.to.In(t.o.Zone)), zoneLabel(t.from, t.to, t.o.Zone))
	if t.usable == 0 {
		return t.o.brief(words.Of("%s: no usable readings.", first))
	}
	first = words.Of("%s: readings from %s to %s %s.", first, number(t.low), number(t.high), t.unit)
	var more []words.Text
	if v := t.Shift.Max15min; v != nil {
		more = append(more, words.Of("the highest 15-minute mean is %s", words.Number(dust.Concentration(*v*1000).String())))
	}
	if t.limit > 0 {
		lies := words.Of("%s lies above every reading", t.limitText())
		if t.limit <= t.high {
			lies = words.Of("%s lies below the highest reading", t.limitText())
		}
		if f := t.Shift.Finding; f != "" { // which the place of a line does not decide
			lies = words.Of("%s, finding: %s", lies, f.Text())
		}
		more = append(more, lies)
	}
	if n := len(t.Tasks); n > 0 {
		more = append(more, words.Of("%d stretches of work are marked", n))
	}
	if len(more) == 0 {
		return t.o.brief(first)
	}
	return t.o.brief(sentences(first, words.Join("; ", more...).Sentence()))
}

// AltTextShiftTrace describes the picture that ShiftTrace draws in one or two
// sentences; "" if there is nothing to draw.
func AltTextShiftTrace(d TraceData, o Options) string {
	o, err := o.complete()
	if err != nil {
		return ""
	}
	t, err := newTrace(d, o)
	if err != nil {
		return ""
	}
	return t.altText()
}
