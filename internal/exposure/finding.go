package exposure

import (
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// judgement is what a finding on one shift rests on.
type judgement struct {
	limit    Limit
	channel  dust.Channel
	position dust.Position
	declared bool
	m        measured
	factor   calibration
	adjusted *Adjusted // lowered for a long shift; nil if the limit stands

	bearing    Bearing
	bearingWhy words.Text
	excursions *Excursions

	hours    time.Duration // what the dose was divided by; 15 min for such a limit
	value    *float64      // reading over the limit's averaging time, mg/m³, unmeasured time as zero
	upper    *float64      // the same with unmeasured time like the measured
	missing  words.Text    // why value is nil
	complete bool          // no 15-minute window was left out
}

func (j *judgement) compare(peak Peak, peakErr error) {
	if j.limit.Averaging == FifteenMinutes {
		j.hours, j.complete = 15*time.Minute, peak.Complete
		if peakErr != nil {
			j.missing = words.OfError(peakErr)
			return
		}
		j.value = milligrams(peak.Mean)
		j.upper = j.value
	} else if j.adjusted != nil {
		// The lowered limit is meant for the average over the whole shift.
		j.hours, j.complete = j.m.length(), true
		j.value, j.upper = j.m.twa(j.hours), j.m.filled(j.hours)
	} else {
		j.hours, j.complete = TWAHours(j.limit.Averaging, j.m.length()), true
		j.value, j.upper = j.m.twa(j.hours), j.m.filled(j.hours)
	}
	if j.m.ms > 0 && (j.value == nil || j.upper == nil) {
		j.missing = words.Of("the readings are too large to add up")
	}
}

// mgM3 is the limit's number for this shift.
func (j judgement) mgM3() float64 {
	if j.adjusted != nil {
		return j.adjusted.LimitMgM3
	}
	return j.limit.MgM3
}

func (j judgement) decide() (Finding, words.Text) {
	switch {
	case j.m.ms == 0:
		return CannotTell, words.Of("no usable reading in this shift%s", excludedText(&j.m.sums))
	case j.value == nil || j.upper == nil:
		return CannotTell, j.missing
	case j.position == "":
		return CannotTell, words.Of("the sensor's position is not stated, so its readings speak for no one")
	case !breathes(j.position):
		return CannotTell, words.Of("a sensor at %q is not at a place where someone breathes: its numbers describe the place, not an exposure", PositionText(j.position))
	}
	if why := j.over(); !why.IsZero() {
		return Over, sentence(append([]words.Text{why}, j.caveats()...))
	}
	against := j.againstUnder()
	if len(against) == 0 {
		return Under, sentence([]words.Text{
			words.Of("with the %s and unmeasured time like the measured, at most %s mg/m³ against the limit of %s mg/m³ in this shift",
				j.factor.note, number(j.atMost()), number(j.mgM3())),
			words.Of("one shift says nothing about other days, and below a limit is not the goal for a carcinogen"),
		})
	}
	if j.factor.use {
		x, low, high := j.withFactor()
		against = append([]words.Text{words.Of("%s mg/m³ (%s to %s) with the %s", number(x), number(low), number(high), j.factor.note)}, against...)
	}
	return CannotTell, sentence(append(against, j.caveats()...))
}

// over says why the limit is exceeded; nothing if that is not shown.
func (j judgement) over() words.Text {
	limit := j.mgM3()
	if j.factor.use {
		if _, low, _ := j.withFactor(); low > limit {
			return words.Of("at least %s mg/m³, above the limit of %s mg/m³: reading %s mg/m³ with the %s, less its %s",
				apart(low, limit), number(limit), number(*j.value), j.factor.note, j.factor.doubt())
		}
		return words.Text{}
	}
	if *j.value <= limit || Extrapolated(j.channel) || j.factor.overreads {
		return words.Text{}
	}
	return words.Of("the fine part alone (%s, %s mg/m³) is above the limit of %s mg/m³ for %s; uncalibrated sensor: a lower bound only if it does not over-read, so confirm with a gravimetric sample",
		ChannelText(j.channel), apart(*j.value, limit), number(limit), j.limit.dust())
}

// againstUnder lists every reason why the shift cannot be called under the limit.
func (j judgement) againstUnder() []words.Text {
	var why []words.Text
	add := func(yes bool, text words.Text) {
		if yes {
			why = append(why, text)
		}
	}
	if !j.factor.use {
		return append(why, j.uncalibrated()...)
	}
	add(j.limit.Fraction.coarse(), words.Of("no optical sensor can show that a limit for %s dust is met, even with a factor: factors drift when the sizes of the dust change", FractionText(j.limit.FractionPrinted)))
	add(Extrapolated(j.channel), words.Of("%s of an optical sensor is extrapolated from finer particles", ChannelText(j.channel)))
	add(!j.factor.stated(), words.Of("the factor has no stated spread, so nothing is known of its error"))
	add(j.atMost() > j.mgM3(), words.Of("with the factor's %s the value may be as high as %s mg/m³, the limit is %s mg/m³", j.factor.doubt(), apart(j.atMost(), j.mgM3()), number(j.mgM3())))
	add(j.position != dust.BreathingZone, areaReading)
	add(j.m.coverage() < enoughCoverage, j.fewMeasured())
	add(!j.complete, words.Of("some 15-minute windows were less than 75 %% measured"))
	add(j.m.saturatedShare() > mostSaturated, j.atTop())
	add(!j.declared, hoursFromReadings)
	add(j.excursions != nil && len(j.excursions.Broken) > 0, words.Of("the peak rule that goes with the limit is broken"))
	return why
}

// uncalibrated says what a plain reading cannot show.
func (j judgement) uncalibrated() []words.Text {
	reading := words.Of("reading %s mg/m³, limit %s mg/m³", apart(*j.value, j.mgM3()), number(j.mgM3()))
	why := []words.Text{}
	switch {
	case *j.value > j.mgM3() && Extrapolated(j.channel):
		why = append(why, words.Of("%s: %s of an optical sensor is extrapolated from finer particles and shows nothing above a limit by itself", reading, ChannelText(j.channel)))
	case *j.value > j.mgM3():
		why = append(why, words.Of("%s: the sensor's own factor is below 1, so it over-reads and its reading is no lower bound", reading))
	default:
		why = append(why, words.Of("%s: an uncalibrated %s reading is at best a lower bound", reading, ChannelText(j.channel)))
	}
	switch j.limit.Fraction {
	case RespirableFraction:
		why = append(why, words.Of("it misses much of the respirable part above %s µm", words.Number(strings.TrimPrefix(plain(j.channel), "PM"))))
	case NotStatedFraction:
		why = append(why, words.Of("the limit does not state its fraction, and the sensor cannot see the coarse dust it may include"))
	default:
		why = append(why, words.Of("the sensor cannot see the coarse part of %s dust, and most wood dust mass lies at 10–70 µm", FractionText(j.limit.FractionPrinted)))
	}
	return append(why, words.Of("published work found PM2.5 readings 72 %% below respirable filter samples over six workplace dusts, spruce among them"))
}

// caveats are what a reader must know beside any finding.
func (j judgement) caveats() []words.Text {
	var why []words.Text
	add := func(yes bool, text words.Text) {
		if yes {
			why = append(why, text)
		}
	}
	add(j.position != dust.BreathingZone, areaReading)
	add(!j.factor.use && !j.factor.note.IsZero(), j.factor.note)
	add(j.m.coverage() < enoughCoverage, j.fewMeasured())
	add(j.m.saturatedMs > 0, j.atTop())
	add(j.m.humidMs > 0, words.Of("relative humidity above 75 %% for %s %% of the measured time: optical sensors may over-read there", number(100*j.m.humidShare())))
	add(!j.declared, hoursFromReadings)
	return append(why, j.besides()...)
}

// besides is what holds for the limit, whatever the finding.
func (j judgement) besides() (why []words.Text) {
	if j.bearing == DoesNotApply {
		why = append(why, words.Of("not the limit for this wood: %s", j.bearingWhy))
	}
	if a := j.adjusted; a != nil {
		why = append(why, words.Of("limit lowered from %s to %s mg/m³ for %s h a day and %s h a week (Brief and Scala), compared with the average over the whole shift",
			number(j.limit.MgM3), number(a.LimitMgM3), number(a.ShiftHours), number(a.WeekHours)))
	}
	if e := j.excursions; e != nil && len(e.Broken) > 0 {
		shown := words.Of("at least so in the fine part")
		if j.factor.use {
			shown = words.Of("with the factor")
		} else if Extrapolated(j.channel) || j.factor.overreads {
			shown = words.Of("by a reading that is no lower bound")
		}
		why = append(why, words.Of("%s broken, %s: %s", e.Rule.Name, shown, words.Join(", ", e.Broken...)))
	}
	return why
}

var (
	areaReading       = words.Of("an area reading, not personal exposure")
	hoursFromReadings = words.Of("shift hours taken from the first and last reading, so work without readings may be missing")
)

func (j judgement) fewMeasured() words.Text {
	return words.Of("only %s %% of the shift was measured, less than 75 %%", number(100*j.m.coverage()))
}

func (j judgement) atTop() words.Text {
	return words.Of("at the top of the sensor's range for %s %% of the measured time: the truth is this much or more", number(100*j.m.saturatedShare()))
}

// breathes reports whether someone may breathe the air at p.
func breathes(p dust.Position) bool { return p == dust.BreathingZone || p == dust.Room }

// Extrapolated reports whether small optical sensors work the channel out from
// finer particles instead of seeing it: PM10 of all of them (Kuula et al. 2020,
// AMT 13, 2413), PM4 by the one maker's data sheet that says how it is made.
func Extrapolated(c dust.Channel) bool {
	return c == dust.PM4 || c == dust.PM10 || c == dust.PM10Atm
}

// plain is the channel's label without a remark in brackets.
func plain(c dust.Channel) string {
	name, _, _ := strings.Cut(c.Label(), " (")
	return name
}

// excludedText says what was taken out, after a colon; nothing if nothing was.
func excludedText(s *sums) words.Text {
	excluded := s.excluded()
	if len(excluded) == 0 {
		return words.Text{}
	}
	var parts []words.Text
	for _, flag := range dust.Flags(^uint32(0)).Names() {
		if minutes, ok := excluded[flag]; ok {
			parts = append(parts, words.Of("%s %s min", FlagText(flag), number(minutes)))
		}
	}
	return words.Of(": %s taken out", words.Join(", ", parts...))
}

// sentence joins reasons; one that was given twice is said once.
func sentence(parts []words.Text) words.Text { return words.Join("; ", words.Once(parts)...) }

// apart prints x with as many digits as tell it from the limit.
func apart(x, limit float64) words.Number {
	for digits := 3; digits < 15; digits++ {
		if s := words.Significant(x, digits); x == limit || s != words.Significant(limit, digits) {
			return s
		}
	}
	return number(x)
}

// number prints three significant digits.
func number(x float64) words.Number { return words.Significant(x, 3) }
