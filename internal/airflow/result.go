package airflow

import (
	"time"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

const schemaVersion = 1

// Unsourced marks what the trade says and no source was found for.
const Unsourced = "common practice, no source"

// Result is what every output renders. Keys are only ever added; quantities carry
// their unit in the key, in both systems. null could not be told; the text beside it
// says why.
type Result struct {
	Schema   int            `json:"schema"`
	Setups   []SetupAirflow `json:"setups"`
	Dust     DustOnFlow     `json:"dust_on_flow"`
	Ranked   []Suggestion   `json:"what_would_help"` // for the setup in use last, the most first
	RankedIn string         `json:"what_would_help_under"`
	LeftOut  []LeftOut      `json:"left_out"`
	Stops    []words.Text   `json:"stop_lines"` // beyond them this program says nothing
	Cautions []words.Text   `json:"cautions"`
	Warnings []words.Text   `json:"warnings"`
	Method   words.Text     `json:"method"`
}

// LeftOut is a reading that was not used, and why.
type LeftOut struct {
	At   time.Time  `json:"at"`
	What string     `json:"what"`
	Why  words.Text `json:"why"`
}

// SetupAirflow is what is known of the collector under one setup.
type SetupAirflow struct {
	Setup       string            `json:"setup"`
	Record      *Collector        `json:"record"`  // nil: the configuration has none
	Missing     []words.Text      `json:"missing"` // from the record
	Readings    int               `json:"readings"`
	Density     units.Density     `json:"air_density"`
	DensityFrom words.Text        `json:"air_density_from"`
	Flows       []FlowMeasurement `json:"flows"` // by time
	Flow        *FlowMeasurement  `json:"flow"`  // the latest through the first duct
	Static      *PressureReading  `json:"static_pressure"`
	Filter      Loading           `json:"filter"`
	FilterFlow  *float64          `json:"filter_flow_m3_per_m2_h"` // latest flow over the filter's area
	Motors      []MotorCheck      `json:"motors"`
	Transport   []TransportCheck  `json:"transport"`
	Capture     *Capture          `json:"capture"`
	Changes     *AirChanges       `json:"air_changes"`
	System      *System           `json:"system"`
	SystemWhy   words.Text        `json:"system_why_not"` // "" if there is one
	Fan         *FanCheck         `json:"fan"`
	Hints       []Hint            `json:"hints"`
}

// FlowMeasurement is one flow through a duct.
type FlowMeasurement struct {
	At       time.Time       `json:"at"`
	From     GaugeKind       `json:"from"`
	Duct     string          `json:"duct"`
	Main     bool            `json:"main"` // through the first duct of the record
	Flow     units.Flow      `json:"flow"`
	Low      *units.Flow     `json:"flow_low"` // from the spread of the points
	High     *units.Flow     `json:"flow_high"`
	Velocity *units.Velocity `json:"velocity"`
	Traverse *Traverse       `json:"traverse"` // nil: not by points
}

// PressureReading is a pressure and when it was read.
type PressureReading struct {
	At       time.Time      `json:"at"`
	Pressure units.Pressure `json:"pressure"`
}

// Capture is what the hood does where the dust is made.
type Capture struct {
	Flow     units.Flow      `json:"flow"` // that it was worked out with
	Duct     string          `json:"duct"`
	Distance units.Length    `json:"distance"`
	Flanged  bool            `json:"flanged"`
	Velocity *units.Velocity `json:"velocity"`
	Range    string          `json:"enough_for"` // the dust it would catch by the table; "" for none
	Far      bool            `json:"beyond_formula"`
	Answer   words.Text      `json:"answer"`
	Ranges   []CaptureRange  `json:"ranges"`
}

// FanCheck holds the blower's curve against what was measured.
type FanCheck struct {
	KNow      float64         `json:"k_now_pa_s2_m6"`  // of the last point measured; 0: none
	Operating *Operating      `json:"operating_point"` // curve and the system as it stands
	AtFlow    *units.Pressure `json:"curve_at_measured_flow"`
	Measured  *units.Pressure `json:"measured_there"`
	Percent   *float64        `json:"measured_percent_of_curve"`
	Rated     *units.Flow     `json:"rated_flow"`
	OfRated   *float64        `json:"flow_percent_of_rated"`
	Answer    words.Text      `json:"answer"`
	Curve     []FanPoint      `json:"curve"` // the blowers' curve in this air, as it is drawn
}

// Hint is a rule of thumb, marked with where it is from.
type Hint struct {
	Text   words.Text `json:"text"`
	Source string     `json:"source"`
}

// Suggestion is one change that may help.
type Suggestion struct {
	What    words.Text `json:"what"`
	Why     words.Text `json:"why"`
	HowSure string     `json:"how_sure"`
	Gain    *float64   `json:"gain_percent"` // nil: cannot be told
	GainOf  words.Text `json:"gain_of"`

	class int
}

// GainText is the gain in words, "" where it cannot be told.
func (s Suggestion) GainText() words.Text {
	switch {
	case s.Gain == nil:
		return words.Text{}
	case *s.Gain < 1:
		return words.Of("less than 1 %% %s", s.GainOf)
	}
	return words.Of("%.0f %% %s", *s.Gain, s.GainOf)
}

// How sure a suggestion is.
const (
	Measured     = "measured"
	MeasuredOnly = "measured, but no experiment"
	ByFormula    = "by formula"
	ByCurve      = "from the fan curve, a computation"
	NotKnown     = "how much cannot be told"
)

// HowSureText says how sure a suggestion is.
func (s Suggestion) HowSureText() words.Text {
	switch s.HowSure {
	case Measured:
		return words.Of("measured")
	case MeasuredOnly:
		return words.Of("measured, but no experiment")
	case ByFormula:
		return words.Of("by formula")
	case ByCurve:
		return words.Of("from the fan curve, a computation")
	case NotKnown:
		return words.Of("how much cannot be told")
	}
	return SourceText(s.HowSure)
}

// SourceText says where a figure is from.
func SourceText(source string) words.Text {
	if source == Unsourced {
		return words.Of("common practice, no source")
	}
	return words.Literal(source)
}

// AnswerText says an answer that a program may look for.
func AnswerText(answer string) words.Text {
	switch answer {
	case Rising:
		return words.Of("rising")
	case NotRising:
		return words.Of("no rise shown")
	case Falling:
		return words.Of("falling")
	case OverLimit:
		return words.Of("at the limit")
	case CannotTell:
		return words.Of("cannot tell")
	case TooSlow:
		return words.Of("too slow")
	case Slow:
		return words.Of("slow")
	case Carries:
		return words.Of("carries")
	case LessDust:
		return words.Of("less dust with more flow")
	case MoreDust:
		return words.Of("more dust with more flow")
	case NoRelation:
		return words.Of("no relation shown")
	case TooLittleData:
		return words.Of("too little data")
	}
	return words.Literal(answer)
}
