package efficiency

import "dustlog/internal/words"

// Result is what every output renders. Keys are only ever added. A nil number is
// one that could not be told; Why says why.
type Result struct {
	Schema     int               `json:"schema"`
	Upstream   string            `json:"upstream_sensor"`
	Downstream string            `json:"downstream_sensor"`
	Exchanged  bool              `json:"sensors_exchanged"` // for some of the runs
	Setups     []SetupEfficiency `json:"setups"`
	ZeroChecks int               `json:"zero_checks"`
	Excluded   []Exclusion       `json:"excluded"`
	Warnings   []string          `json:"warnings"`
	Method     string            `json:"method"`
}

// Exclusion is a run that was left out.
type Exclusion struct {
	Date string `json:"date"`
	Task string `json:"task"`
	Why  string `json:"why"`
}

// SetupEfficiency is what one setup holds back.
type SetupEfficiency struct {
	Setup     string     `json:"setup"`
	Runs      int        `json:"runs"`
	BySize    []Row      `json:"by_size"`
	Fractions []Fraction `json:"iso_16890_style"`
	Loading   *Loading   `json:"loading"` // nil with too few runs
}

// State says what a row is good for.
type State string

// The states.
const (
	Measured   State = "measured"
	AtLeast    State = "at least" // nothing was counted behind the filter
	CannotTell State = "cannot tell"
)

// Row is the efficiency for one size bin, or for one mass as the sensor weighs it.
type Row struct {
	Label  string   `json:"label"`
	Metric string   `json:"metric"`
	LowUm  *float64 `json:"low_um"`
	HighUm *float64 `json:"high_um"`
	Unit   string   `json:"unit"`
	State  State    `json:"state"`
	Why    string   `json:"why"`
	Note   string   `json:"note"`

	Runs       int      `json:"runs"`
	Upstream   *float64 `json:"upstream_mean"` // of the run means, in Unit
	Downstream *float64 `json:"downstream_mean"`

	Penetration     *float64 `json:"penetration_percent"`
	PenetrationLow  *float64 `json:"penetration_low_percent"`
	PenetrationHigh *float64 `json:"penetration_high_percent"`
	Efficiency      *float64 `json:"efficiency_percent"`
	EfficiencyLow   *float64 `json:"efficiency_low_percent"`
	EfficiencyHigh  *float64 `json:"efficiency_high_percent"` // nil: no upper limit
	AtLeast         *float64 `json:"efficiency_at_least_percent"`
	Interval        string   `json:"interval_from"` // "runs", "counting" or ""

	Q        *float64 `json:"q"` // spread between runs against counting
	QP       *float64 `json:"q_p_value"`
	SpreadLn *float64 `json:"spread_between_runs_ln"` // τ
	Gain     *float64 `json:"sensor_ratio"`           // downstream sensor over upstream, where exchanged

	bin BinEfficiency
	low float64
}

// Fraction is an ePM figure from the rows, with the standard's dust but not its
// test: "ISO 16890 style, not a test to the standard".
type Fraction struct {
	Name       string   `json:"name"`
	Dust       string   `json:"dust"`
	Efficiency *float64 `json:"efficiency_percent"`
	// Lower is the figure from every bin's lower limit.
	Lower       *float64 `json:"efficiency_lower_percent"`
	RoundedDown string   `json:"rounded_down"`
	Why         string   `json:"why"`
}

// Loading is how penetration moved while the filter was in use, for one row.
type Loading struct {
	Label string       `json:"label"`
	Runs  []LoadingRun `json:"runs"`
	// Change of penetration in percent for each 10 h of run time, with 95 % limits.
	ChangePer10h *float64 `json:"penetration_change_percent_per_10_h"`
	ChangeLow    *float64 `json:"penetration_change_low_percent_per_10_h"`
	ChangeHigh   *float64 `json:"penetration_change_high_percent_per_10_h"`
	// AtStart is where the fitted line begins, at no run time.
	AtStart *float64   `json:"penetration_at_start_percent"`
	Why     words.Text `json:"why"`
}

// LoadingRun is one run of it.
type LoadingRun struct {
	Date        string   `json:"date"`
	Task        string   `json:"task"`
	HoursBefore float64  `json:"run_hours_before"`
	Minutes     float64  `json:"minutes"`
	Penetration *float64 `json:"penetration_percent"`
	FedMg       *float64 `json:"fed_mg"` // with the duct's flow only, as the sensor weighs it
	PassedMg    *float64 `json:"passed_mg"`
}
