package exposure

import (
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// The names of what package dust knows, and of this package's findings, as they
// are said to people.

// ChannelText names a channel, as in "PM2.5".
func ChannelText(c dust.Channel) words.Text {
	switch name, remark, _ := strings.Cut(c.Label(), " ("); {
	case remark == "atmospheric)":
		return words.Of("%s (atmospheric)", words.Number(name))
	case c == dust.TypicalSize:
		return words.Of("typical size")
	case c == dust.Humidity:
		return words.Of("relative humidity")
	case c == dust.Temperature:
		return words.Of("temperature")
	case c == dust.Formaldehyde:
		return words.Of("formaldehyde")
	}
	return words.Of("%s", words.Number(c.Label())) // sizes
}

// plainText is the channel's name without a remark in brackets.
func plainText(c dust.Channel) words.Text { return words.Of("%s", words.Number(plain(c))) }

// PositionText names a place.
func PositionText(p dust.Position) words.Text {
	switch p {
	case dust.BreathingZone:
		return words.Of("breathing zone")
	case dust.Room:
		return words.Of("room")
	case dust.Exhaust:
		return words.Of("exhaust")
	case dust.Background:
		return words.Of("background")
	case dust.Upstream:
		return words.Of("upstream")
	case dust.Downstream:
		return words.Of("downstream")
	}
	return words.Literal(p.Label())
}

// Text names the fraction.
func (f Fraction) Text() words.Text {
	switch f {
	case InhalableFraction:
		return words.Of("inhalable")
	case ThoracicFraction:
		return words.Of("thoracic")
	case RespirableFraction:
		return words.Of("respirable")
	case TotalFraction:
		return words.Of("total")
	case NotStatedFraction:
		return words.Of("not_stated")
	}
	return words.Of("%s", words.Number(f))
}

// FractionText names a fraction as a limit's source printed it.
func FractionText(printed string) words.Text {
	if f := Fraction(printed); f == InhalableFraction || f == ThoracicFraction || f == RespirableFraction || f == TotalFraction {
		return f.Text()
	}
	return words.Literal(printed)
}

// Text says the finding.
func (f Finding) Text() words.Text {
	switch f {
	case Over:
		return words.Of("over")
	case Under:
		return words.Of("under")
	}
	return words.Of("cannot tell")
}

// Text says the state.
func (s MaskState) Text() words.Text {
	switch s {
	case NotShownNeeded:
		return words.Of("not shown to be needed")
	case MaskCannotTell:
		return words.Of("cannot tell")
	}
	return words.Of("keep it on")
}

// FlagText names a flag as it stands in tables and JSON.
func FlagText(flag string) words.Text {
	if t, ok := flagNames[flag]; ok {
		return t[0]
	}
	return words.Literal(flag)
}

// FlagWords names a flag in a sentence.
func FlagWords(flag string) words.Text {
	if t, ok := flagNames[flag]; ok {
		return t[1]
	}
	return words.Literal(flag)
}

// FlagsText names flags in a sentence.
func FlagsText(flags dust.Flags) words.Text {
	var all []words.Text
	for _, name := range flags.Names() {
		all = append(all, flagNames[name][1])
	}
	return words.Join(",", all...)
}

// flagNames are the names of flags, in tables and in sentences.
var flagNames = map[string][2]words.Text{
	"warm_up":          {words.Of("warm_up"), words.Of("warm up")},
	"saturated":        {words.Of("saturated"), words.Of("saturated")},
	"all_zero":         {words.Of("all_zero"), words.Of("all zero")},
	"stuck":            {words.Of("stuck"), words.Of("stuck")},
	"count_order":      {words.Of("count_order"), words.Of("count order")},
	"humid":            {words.Of("humid"), words.Of("humid")},
	"clock_step":       {words.Of("clock_step"), words.Of("clock step")},
	"fan_fault":        {words.Of("fan_fault"), words.Of("fan fault")},
	"laser_fault":      {words.Of("laser_fault"), words.Of("laser fault")},
	"missing_value":    {words.Of("missing_value"), words.Of("missing value")},
	"negative_mass":    {words.Of("negative_mass"), words.Of("negative mass")},
	"saturated_coarse": {words.Of("saturated_coarse"), words.Of("saturated coarse")},
	"saturated_count":  {words.Of("saturated_count"), words.Of("saturated count")},
}
