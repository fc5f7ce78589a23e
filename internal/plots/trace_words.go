package plots

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// title is the caller's, or says what, where and when.
func (t *trace) title() string {
	if t.Title != "" {
		return t.Title
	}
	when := t.Shift.Date
	if when == "" {
		when = t.from.In(t.o.Zone).Format(time.DateOnly)
		if last := t.to.In(t.o.Zone).Format(time.DateOnly); t.to.Sub(t.from) > 24*time.Hour {
			when += " to " + last
		}
	}
	return fmt.Sprintf("%s at %s, %s", t.Series.Channel.Label(), t.Series.Sensor.Name, when)
}

func (t *trace) quantity() string {
	q := quantity(t.Series.Channel, t.unit)
	if t.o.LogY && t.usable > 0 {
		q += ", logarithmic axis"
	}
	return q
}

// quantity names a channel for an axis.
func quantity(c dust.Channel, unit string) string {
	switch {
	case c.IsMass():
		return c.Label() + " by optical sensor, " + unit
	case c.Unit() == "1/cm³":
		return "Particles " + c.Label() + " by optical sensor, " + unit
	}
	return upperFirst(c.Label()) + ", " + unit
}

// limitText names the limit with its value and averaging time.
func (t *trace) limitText() string {
	value := number(t.LimitMgM3) + " mg/m³"
	text := clean(t.LimitLabel)
	switch {
	case strings.Contains(text, "mg/m") || strings.Contains(text, "µg/m"):
		return text // says its value, and then all the rest
	case text == "":
		text = "limit"
	}
	text += " " + value
	switch a := clean(t.LimitAveraging); a {
	case "":
		return text
	case "annual":
		return text + " (annual mean)"
	default:
		return text + " (mean over " + a + ")"
	}
}

func (t *trace) caption() string {
	s := t.Series.Sensor
	parts := []string{fmt.Sprintf("Sensor %s%s, %s.", s.Name, inBrackets(s.Model), placeText(s.Position))}
	if f := t.Shift.Fraction; !f.IsZero() {
		parts = append(parts, "Size fraction: "+f.String()+".")
	}
	switch {
	case t.usable == 0:
	case len(t.mean) > 0:
		parts = append(parts, "Thin line: single readings, every peak kept; heavy line: mean over the 15 minutes before.")
	default:
		parts = append(parts, "Thin line: single readings, every peak kept.")
	}
	if x := t.Shift.SaturatedShare; x > 0 {
		parts = append(parts, fmt.Sprintf("For %s %% of the measured time the sensor was at its top: the truth is higher.", number(100*x)))
	}
	if t.clipped {
		parts = append(parts, fmt.Sprintf("Readings below %s %s are drawn at the lower edge.", number(t.floor), t.unit))
	}
	if t.Shift.Minutes > 0 {
		parts = append(parts, fmt.Sprintf("Measured %.0f of %.0f minutes.", t.Shift.MinutesMeasured, t.Shift.Minutes))
	}
	if v := t.Shift.TWA8h; v != nil {
		parts = append(parts, fmt.Sprintf("8-hour mean (TWA) %s mg/m³.", number(*v)))
	}
	if t.Shift.Finding != "" && t.limit > 0 {
		parts = append(parts, fmt.Sprintf("Against the limit: %s.", t.Shift.Finding))
	}
	return strings.Join(parts, " ")
}

func inBrackets(s string) string {
	if s == "" {
		return ""
	}
	return " (" + s + ")"
}

func placeText(p dust.Position) string {
	if p == "" {
		return "position not given"
	}
	return "position: " + p.Label()
}

// leftOut says why readings were left out, the longest first.
func (t *trace) leftOut() string {
	minutes := t.Shift.MinutesExcluded
	if len(minutes) == 0 {
		return ""
	}
	flags := slices.SortedFunc(maps.Keys(minutes), func(a, b string) int {
		return cmp.Or(cmp.Compare(minutes[b], minutes[a]), strings.Compare(a, b))
	})
	var parts []string
	for _, flag := range flags {
		parts = append(parts, fmt.Sprintf("%s %s min", strings.ReplaceAll(flag, "_", " "), number(minutes[flag])))
	}
	return ": " + strings.Join(parts, ", ")
}

// fullCaption adds what the picture had no room to say.
func (t *trace) fullCaption(l taskLayout, note string) string {
	c := t.caption()
	if full := t.limitText(); note != "" && note != full {
		c += " " + upperFirst(full) + "."
	}
	if l.dropped > 0 {
		c += fmt.Sprintf(" %d very short tasks carry no number.", l.dropped)
	}
	return c
}

// altText describes the picture in two sentences.
func (t *trace) altText() string {
	first := fmt.Sprintf("%s at %s from %s to %s (%s)", t.Series.Channel.Label(), t.Series.Sensor.Name,
		t.from.In(t.o.Zone).Format("2006-01-02 15:04"), t.to.In(t.o.Zone).Format("15:04"), zoneLabel(t.from, t.to, t.o.Zone))
	if t.usable == 0 {
		return brief(first + ": no usable readings.")
	}
	first += fmt.Sprintf(": readings from %s to %s %s.", number(t.low), number(t.high), t.unit)
	var more []string
	if v := t.Shift.Max15min; v != nil {
		more = append(more, "the highest 15-minute mean is "+dust.Concentration(*v*1000).String())
	}
	if t.limit > 0 {
		where := "above every reading"
		if t.limit <= t.high {
			where = "below the highest reading"
		}
		text := t.limitText() + " lies " + where
		if f := t.Shift.Finding; f != "" { // which the place of a line does not decide
			text += ", finding: " + string(f)
		}
		more = append(more, text)
	}
	if n := len(t.Tasks); n > 0 {
		more = append(more, fmt.Sprintf("%d stretches of work are marked", n))
	}
	if len(more) == 0 {
		return brief(first)
	}
	text := strings.Join(more, "; ")
	return brief(first + " " + upperFirst(text) + ".")
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
