package group

import "dustlog/internal/words"

// Value is one shift.
type Value struct {
	Label string  // its date, or how else the reader knows it
	MgM3  float64 // time-weighted average, mg/m³
	Below bool    // not detected: the average lies somewhere below MgM3
}

// Finding says how the shifts stand against a limit.
type Finding string

// The findings. There is none for "harmless".
const (
	Over          Finding = "over"
	ShownBelow    Finding = "shown below" // in 95 % of shifts, with the confidence that the text names
	NotShown      Finding = "not shown"
	CannotTell    Finding = "cannot tell"
	NotEnoughDays Finding = "not enough days"
)

// Text says the finding.
func (f Finding) Text() words.Text {
	switch f {
	case Over:
		return words.Of("over")
	case ShownBelow:
		return words.Of("shown below")
	case NotShown:
		return words.Of("not shown")
	case CannotTell:
		return words.Of("cannot tell")
	case NotEnoughDays:
		return words.Of("not enough days")
	}
	return words.Literal(string(f))
}

// Summary is what several shifts say together. Keys are only ever added. A number
// that could not be computed is null; NotComputed says why.
type Summary struct {
	Days      int        `json:"days"`                 // shifts that count
	DaysBelow int        `json:"days_below_detection"` // of them
	Excluded  []Excluded `json:"excluded"`
	LimitMgM3 *float64   `json:"limit_mg_m3"`
	// Finding is the strictest answer there is: a shift over the limit, or more
	// than 5 % of shifts shown to be over it, or EN 689:2018's.
	Finding    Finding     `json:"finding"`
	Why        words.Text  `json:"why"`
	MoreDays   int         `json:"more_days_needed"` // until the method can answer at all
	Statements []Statement `json:"statements"`

	Highest  *float64 `json:"highest_mg_m3"` // a shift, or what one below detection lies below
	Mean     *float64 `json:"mean_mg_m3"`    // arithmetic
	GM       *float64 `json:"gm_mg_m3"`
	GSD      *float64 `json:"gsd"`
	P95      *float64 `json:"p95_mg_m3"`      // 95th percentile, estimated
	UTL95_95 *float64 `json:"utl95_95_mg_m3"` // above 95 % of shifts, with 95 % confidence
	UTL95_70 *float64 `json:"utl95_70_mg_m3"` // the same with 70 %

	Exceedance     *float64 `json:"exceedance_share"` // share of shifts above the limit, estimated
	ExceedanceLow  *float64 `json:"exceedance_share_low95"`
	ExceedanceHigh *float64 `json:"exceedance_share_high95"` // each one-sided 95 %

	MeanUnbiased *float64 `json:"mean_mvue_mg_m3"`
	MeanLow      *float64 `json:"mean_land_low95_mg_m3"`
	MeanHigh     *float64 `json:"mean_land_high95_mg_m3"` // each one-sided 95 %

	DaysOver            int      `json:"days_over_limit"`
	ActionLevel         *float64 `json:"action_level_mg_m3"` // half the limit
	DaysOverActionLevel int      `json:"days_over_action_level"`
	Category            *int     `json:"aiha_category"` // 0 to 4, by 95th percentile over limit

	EN689        *EN689       `json:"en_689"`
	Bayes        *Bayes       `json:"bayes"`
	NonDetects   *NonDetects  `json:"non_detects"`
	ShapiroWilkW *float64     `json:"shapiro_wilk_w"` // of the logarithms
	ShapiroWilkP *float64     `json:"shapiro_wilk_p"`
	Lag1         *float64     `json:"autocorrelation_lag1"` // of the logarithms, in the order given
	Plot         []PlotPoint  `json:"probability_plot"`
	Method       words.Text   `json:"method"`
	NotComputed  []Absent     `json:"not_computed"`
	Warnings     []words.Text `json:"warnings"`
}

// Statement is one method's answer in words.
type Statement struct {
	Method  words.Text `json:"method"`
	Finding Finding    `json:"finding"`
	Text    words.Text `json:"text"`
}

// Excluded is a shift that does not count.
type Excluded struct {
	Label string     `json:"label"`
	Why   words.Text `json:"why"`
}

// Absent is a number that could not be computed.
type Absent struct {
	Key      string     `json:"key"`
	Why      words.Text `json:"why"`
	MoreDays int        `json:"more_days_needed"` // 0 if days are not what is lacking
}

// Bayes is the answer of a normal-inverse-gamma prior and the shifts.
type Bayes struct {
	Prior      Prior    `json:"prior"`
	P95Upper95 *float64 `json:"p95_upper95_mg_m3"` // the 95th percentile lies below it with 95 % probability
	// ChanceBelow is the probability that the 95th percentile is below the limit.
	ChanceBelow *float64 `json:"chance_p95_below_limit"`
	// CategoryChances are the probabilities of the AIHA categories 0 to 4.
	CategoryChances []float64 `json:"chance_aiha_category"`
}

// NonDetects says how shifts below detection were counted, and what the other ways
// give.
type NonDetects struct {
	Share    float64    `json:"share"`
	Method   words.Text `json:"method"`
	AtMost   float64    `json:"at_most_mg_m3"` // all shifts lie at or below it
	KMMedian *float64   `json:"kaplan_meier_median_mg_m3"`
	KMP95    *float64   `json:"kaplan_meier_p95_mg_m3"`
	KMMean   *float64   `json:"kaplan_meier_mean_mg_m3"`
	ROSMean  *float64   `json:"ros_mean_mg_m3"`
	MLEMean  *float64   `json:"mle_mean_mg_m3"`
}

// PlotPoint is one shift in the probability plot.
type PlotPoint struct {
	Label    string   `json:"label"`
	MgM3     float64  `json:"mg_m3"`
	Below    bool     `json:"below_detection"`
	Position float64  `json:"share_below"`     // plotting position
	Z        float64  `json:"normal_quantile"` // of it
	Fitted   *float64 `json:"fitted_mg_m3"`    // the fitted line there: GM·GSD^Z
}
