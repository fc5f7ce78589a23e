package compare

import (
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Verdict is the answer in words. "No reduction shown" is never "no reduction".
type Verdict string

// The verdicts.
const (
	Increased         Verdict = "increased"
	ReducedEnough     Verdict = "reduced enough"
	ReducedLess       Verdict = "reduced, but less than matters"
	ReducedUncertain  Verdict = "reduced, size uncertain"
	NoneThatMatters   Verdict = "no reduction that matters"
	NoReductionShown  Verdict = "no reduction shown"
	TooLittleData     Verdict = "too little data"
	defaultConfidence         = 0.95
)

// The kinds of mean a level can be: geometric unless too many runs cannot be told
// from the background.
const (
	GeometricMean  = "geometric mean"
	ArithmeticMean = "arithmetic mean"
)

// Result is what every output renders. Keys are only ever added. A nil number
// is one that could not be computed; Why says why.
type Result struct {
	Schema            int        `json:"schema"`
	Metric            string     `json:"metric"`
	Unit              string     `json:"unit"`
	Sensor            string     `json:"sensor"`
	Position          string     `json:"position"`
	BackgroundSensor  string     `json:"background_sensor"` // "" if nothing was subtracted
	Before            string     `json:"before"`
	After             string     `json:"after"`
	UnitOfReplication string     `json:"unit_of_replication"`
	NBefore           int        `json:"n_before"`
	NAfter            int        `json:"n_after"`
	GMBefore          *float64   `json:"gm_before"` // in Unit, task-adjusted, above background
	GMAfter           *float64   `json:"gm_after"`
	Ratio             *float64   `json:"ratio"` // after / before
	CILow             *float64   `json:"ci_low"`
	CIHigh            *float64   `json:"ci_high"`
	Confidence        float64    `json:"confidence"`
	PValue            *float64   `json:"p_value"`
	PermutationP      *float64   `json:"permutation_p_value"`
	ChangePercent     *float64   `json:"change_percent"` // 100·(ratio − 1): a reduction is negative
	SmallestChange    float64    `json:"smallest_change_percent"`
	Verdict           Verdict    `json:"verdict"`
	Why               words.Text `json:"why"`
	Design            string     `json:"design_grade"` // A–D
	DesignWhy         words.Text `json:"design_why"`
	Method            words.Text `json:"method"`

	// Two-sample (false) or one difference per day (true).
	Paired bool `json:"paired_by_day"`
	// The interval leans on log-normal sessions: so few cannot reach p ≤ 1 − confidence by relabelling.
	RestsOnLogNormal bool `json:"rests_on_log_normal_sessions"`
	// Sessions per setup (paired: days) that would show the smallest change with 80 % power, and how many are missing.
	SessionsNeeded *int `json:"sessions_needed_per_setup"`
	MoreSessions   *int `json:"more_sessions_needed_per_setup"`
	// Common slope of the sessions over time within the setups, with its interval; nil if it cannot be told.
	TrendPercentPerDay *float64        `json:"trend_within_setups_percent_per_day"`
	TrendLow           *float64        `json:"trend_ci_low"`
	TrendHigh          *float64        `json:"trend_ci_high"`
	Coverage           []SetupCoverage `json:"coverage"`

	Sessions []Session    `json:"sessions"`
	Excluded []Exclusion  `json:"excluded"`
	Fine     *FineChips   `json:"fine_or_chips"` // nil if the sensor sends no coarser channel
	Bins     []Effect     `json:"by_size"`
	Warnings []words.Text `json:"warnings"`

	// GeometricMean or ArithmeticMean: what gm_before and gm_after are.
	MeanKind string `json:"mean_kind"`
	// One plain sentence for the first screen about what else may account for the
	// difference; "" if the design leaves little.
	Caution words.Text `json:"caution"`

	// The same runs as measured and with background, tail and left-over dust
	// reckoned with: Primary names the one that Ratio is, PrimaryWhy says why.
	Raw        Effect     `json:"raw"`
	Net        *Effect    `json:"net"` // nil if no background is known
	Primary    string     `json:"primary_basis"`
	PrimaryWhy words.Text `json:"primary_basis_why"`
	Background Background `json:"background"`
	// The grade by the order of the sessions alone, before confounders lower it.
	DesignByOrder string       `json:"design_grade_by_order"`
	Conditions    []Conditions `json:"conditions"`
	Confounders   []Confounder `json:"confounders"`
	// Further quantities, all secondary. Their p values and those of by_size are
	// adjusted together.
	Outcomes []Outcome `json:"other_outcomes"`
	// The result with the single readings in that were left out as spikes; nil if there were none.
	WithSpikes *Effect `json:"with_spikes"`
	// Other looks at the same runs, for comparison only.
	Alternatives []Alternative `json:"alternatives"`
	// What the interval of ratio is made of.
	Uncertainty Uncertainty `json:"uncertainty"`
	// Standard deviation of the units within a setup (paired: of daily differences),
	// in ln units, which planning rests on; nil where too few are seen.
	SpreadLn *float64 `json:"session_spread_ln"`
	// Each setup against the reference, where more than two were asked about; the
	// rest of the result is then the first of them.
	Setups []Against `json:"setups,omitempty"`
}

// pairedDay is the other unit of replication beside the session.
const pairedDay = "paired day"

// The bases of a comparison.
const (
	RawBasis = "raw"
	NetBasis = "net"
)

// Background says what was subtracted and how well it is known, for the metric.
type Background struct {
	// "none", "as the background sensor reads", "background sensor + offset",
	// "line on the background sensor" or "constant".
	Kind      words.Text `json:"kind"`
	Intercept *float64   `json:"intercept"` // a of Cbg = a + b·Cout, in the result's unit
	Slope     *float64   `json:"slope"`     // b; nil if there is no background sensor
	// Standard uncertainty of Cbg where the background sensor reads its usual level.
	Uncertainty   *float64 `json:"standard_uncertainty"`
	IdleMinutes   float64  `json:"idle_minutes"`
	Independent   int      `json:"independent_idle_means"`
	LOQ           float64  `json:"net_loq"` // a net mean below it is not told from the background
	ClearanceOld  *float64 `json:"clearance_per_h_before"`
	ClearanceNew  *float64 `json:"clearance_per_h_after"`
	RunsCleared   int      `json:"runs_less_left_over_dust"`
	RunsWithTails int      `json:"runs_with_tail"`
}

// Uncertainty lists the standard uncertainties of ln ratio.
type Uncertainty struct {
	Sessions   *float64 `json:"sessions_ln"`   // as they spread
	Background float64  `json:"background_ln"` // shared by all runs
	Drift      float64  `json:"drift_ln"`      // of the sensor
	// DriftSource says where the drift is known from; "" if it was not given.
	DriftSource words.Text `json:"drift_source"`
	Total       *float64   `json:"total_ln"`
	DF          *float64   `json:"degrees_of_freedom"`
}

// Session is one unbroken spell of work under one setup on one day: the unit
// of replication.
type Session struct {
	Date     string        `json:"date"`
	Setup    string        `json:"setup"`
	Start    time.Time     `json:"start"`
	End      time.Time     `json:"end"`
	Runs     int           `json:"runs"`
	Tasks    []string      `json:"tasks"`
	Minutes  float64       `json:"minutes_measured"`
	Adjusted *float64      `json:"task_adjusted_mean"` // in the result's unit; nil if left out
	Sensor   string        `json:"sensor"`
	Position dust.Position `json:"position"`
}

// Exclusion is something that was left out of the comparison, and why.
type Exclusion struct {
	What string     `json:"what"` // "run", "session" or "task"
	Name words.Text `json:"name"`
	Why  words.Text `json:"why"`
}

// WhatText says what was left out.
func (e Exclusion) WhatText() words.Text {
	switch e.What {
	case "run":
		return words.Of("run")
	case "session":
		return words.Of("session")
	case "task":
		return words.Of("task")
	}
	return words.Literal(e.What)
}

// SetupCoverage says how much of the runs under one setup was measured and used.
type SetupCoverage struct {
	Setup           string             `json:"setup"`
	RunsSeen        int                `json:"runs_seen"`
	RunsKept        int                `json:"runs_kept"`
	MinutesExpected float64            `json:"minutes_expected"`
	MinutesMeasured float64            `json:"minutes_measured"`
	MinutesExcluded map[string]float64 `json:"minutes_excluded"` // unusable readings by flag
	NonDetects      int                `json:"runs_not_above_background"`
}

// Effect is a ratio after/before of one channel with its interval.
type Effect struct {
	Metric  string     `json:"metric"`
	Label   words.Text `json:"label"`
	Unit    string     `json:"unit"`
	NBefore int        `json:"n_before"`
	NAfter  int        `json:"n_after"`
	Before  *float64   `json:"gm_before"`
	After   *float64   `json:"gm_after"`
	Ratio   *float64   `json:"ratio"`
	CILow   *float64   `json:"ci_low"`
	CIHigh  *float64   `json:"ci_high"`
	PValue  *float64   `json:"p_value"`
	// Holm-adjusted over the secondary rows; nil for the primary outcome.
	PAdjusted *float64   `json:"p_value_holm"`
	Secondary bool       `json:"secondary"`
	Note      words.Text `json:"note"` // "" or what limits this row
	// GeometricMean or ArithmeticMean: what Before and After are.
	MeanKind string `json:"mean_kind"`
}

// FineChips answers whether fine dust fell as much as the coarse part.
type FineChips struct {
	Fine     Effect     `json:"fine"`   // PM2.5
	Coarse   Effect     `json:"coarse"` // PM10 − PM2.5
	Contrast *float64   `json:"fine_ratio_over_coarse_ratio"`
	CILow    *float64   `json:"ci_low"`
	CIHigh   *float64   `json:"ci_high"`
	Answer   words.Text `json:"answer"`
	Why      words.Text `json:"why"`
}
