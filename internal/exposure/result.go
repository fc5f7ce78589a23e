package exposure

import (
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Finding says how a shift stands against a limit, as far as the sensor can tell.
type Finding string

// The findings. There is no finding for "harmless": below a limit is not a goal
// for a carcinogen, and an optical sensor cannot clear an inhalable limit.
const (
	Over       Finding = "over"
	Under      Finding = "under"
	CannotTell Finding = "cannot tell"
)

// Result is what every output renders: terminal, JSON, plots, report. Keys are
// only ever added. A nil number is one that could not be computed; Why says why.
type Result struct {
	Schema   int           `json:"schema"`
	Metric   string        `json:"metric"`
	Limit    Limit         `json:"limit"`
	Also     []Limit       `json:"other_limits"` // judged beside it
	Shifts   []ShiftResult `json:"shifts"`
	Tasks    []TaskResult  `json:"tasks"`
	Masks    []MaskResult  `json:"masks"`
	Method   words.Text    `json:"method"`
	Warnings []words.Text  `json:"warnings"`
}

// ShiftResult is one sensor over one shift.
type ShiftResult struct {
	Date     string        `json:"date"`
	Start    time.Time     `json:"start"`
	End      time.Time     `json:"end"`
	Sensor   string        `json:"sensor"`
	Position dust.Position `json:"position"`
	Setup    string        `json:"setup"` // several are joined by ", "; "" if none was declared
	Fraction words.Text    `json:"fraction"`

	Minutes         float64            `json:"minutes"`
	MinutesMeasured float64            `json:"minutes_measured"`
	MinutesExcluded map[string]float64 `json:"minutes_excluded"` // unusable readings by flag
	SaturatedShare  float64            `json:"saturated_share"`  // share of the measured time at the sensor's top

	// What the time without a usable reading was like is not known. The three
	// TWAs take it as without dust, like the measured time, and like the task with
	// the highest mean in the shift: the truth may lie anywhere between, or above.
	TWA8h        *float64 `json:"twa_8h_mg_m3"`                             // ΣC·Δt / 8 h, unmeasured time counts as zero
	TWA8hFilled  *float64 `json:"twa_8h_if_unmeasured_like_measured_mg_m3"` // unmeasured shift time at the measured mean
	TWA8hWorst   *float64 `json:"twa_8h_if_unmeasured_like_worst_task_mg_m3"`
	WorstTask    string   `json:"worst_task"`          // the task taken; "" is time outside tasks
	TWAShift     *float64 `json:"twa_shift_mg_m3"`     // ΣC·Δt / shift length, unmeasured time counts as zero
	MeasuredMean *float64 `json:"mean_measured_mg_m3"` // ΣC·Δt / ΣΔt
	// What the rules on bad readings do to TWA8hFilled: the same with the readings
	// that were left out for a flag, and without those that count but are doubtful
	// (humid, saturated). nil where there are none.
	TWA8hWithLeftOut     *float64 `json:"twa_8h_filled_with_left_out_mg_m3"`
	TWA8hWithoutDoubtful *float64 `json:"twa_8h_filled_without_doubtful_mg_m3"`

	Max15min      *float64   `json:"max_15min_mg_m3"`
	Max15minStart *time.Time `json:"max_15min_start"`
	// P50, P95 and P99 are the lowest readings such that the air was at or below
	// them for 50, 95 and 99 % of the measured time (definition 1 of Hyndman and
	// Fan 1996, weighted by time): always a value that was read.
	P50 *float64 `json:"p50_mg_m3"`
	P95 *float64 `json:"p95_mg_m3"`
	P99 *float64 `json:"p99_mg_m3"`
	// MinutesAboveLimit is the time for which the reading itself, without factor,
	// was above the limit's number. It is no comparison with the limit, which
	// holds for an average.
	MinutesAboveLimit *float64 `json:"minutes_above_limit"`

	LimitID   string  `json:"limit_id"`
	LimitMgM3 float64 `json:"limit_mg_m3"`
	// ComparedOverMinutes is the averaging time used for the limit: 480, 15, or
	// for an up-to-10-hour limit 480…600.
	ComparedOverMinutes float64 `json:"compared_over_minutes"`
	// Factor and WithFactor are set if a factor for the limit's fraction was used:
	// the compared mean, less the sensor's zero, times the factor, and the 95 %
	// limits that the factor leaves for this shift. All other numbers are the
	// sensor's own.
	Factor         *Factor  `json:"factor"`
	WithFactor     *float64 `json:"compared_with_factor_mg_m3"`
	WithFactorLow  *float64 `json:"compared_with_factor_low_mg_m3"`
	WithFactorHigh *float64 `json:"compared_with_factor_high_mg_m3"`
	ShareOfLimit   *float64 `json:"share_of_limit"` // TWA8h or, for a 15-min limit, Max15min over the limit, with the factor if one was used
	// ShareIsAtLeast: no factor for the limit's fraction was used, so what the sensor
	// cannot see comes on top.
	ShareIsAtLeast bool       `json:"share_of_limit_is_at_least"`
	Finding        Finding    `json:"finding"`
	Why            words.Text `json:"why"`
	Humidity       *Humidity  `json:"humidity"` // nil if no correction was asked for
	// Limits are all limits asked about, the first that of Finding.
	Limits         []LimitFinding `json:"limits"`
	TaskDoseShares []TaskDose     `json:"task_dose_shares"` // adds up to 1; the rest of the shift is task ""
}

// TaskDose is a task's share of a shift's measured dose.
type TaskDose struct {
	Task    string  `json:"task"`
	Minutes float64 `json:"minutes_measured"`
	Share   float64 `json:"share_of_dose"`
	// TWA8hPart is what the task adds to the 8-h TWA; the parts add up to it.
	TWA8hPart *float64 `json:"twa_8h_part_mg_m3"`
	MeanMgM3  *float64 `json:"mean_measured_mg_m3"`
}

// TaskResult is one sensor over one run of one task.
type TaskResult struct {
	Task            string        `json:"task"`
	Material        string        `json:"material"`
	Start           time.Time     `json:"start"`
	Stop            time.Time     `json:"stop"`
	Sensor          string        `json:"sensor"`
	Position        dust.Position `json:"position"`
	Setup           string        `json:"setup"`
	Minutes         float64       `json:"minutes"`
	MinutesMeasured float64       `json:"minutes_measured"`
	MeanMgM3        *float64      `json:"mean_mg_m3"`
	DoseMgMinM3     *float64      `json:"dose_mg_min_m3"` // ∫C dt over the measured time
	Why             words.Text    `json:"why,omitzero"`   // set if a number is missing
}

// MaskState says whether the respirator is still needed for a task.
type MaskState string

// The mask states. CannotTell counts as KeepOn wherever a decision is taken.
const (
	KeepOn         MaskState = "keep it on"
	NotShownNeeded MaskState = "not shown to be needed"
	MaskCannotTell MaskState = "cannot tell"
)

// MaskResult is the respirator question for one task and material, from the runs
// so far. Limit and ratios are those of the limit that decides.
type MaskResult struct {
	Task               string   `json:"task"`
	Material           string   `json:"material"` // in lower case; "" if the diary names none
	Setup              string   `json:"setup"`    // the newest setup the task was seen under
	Runs               int      `json:"runs"`
	Days               int      `json:"days"` // with a run at least 75 % measured
	HighestMeanMgM3    *float64 `json:"highest_run_mean_mg_m3"`
	LimitID            string   `json:"limit_id"`
	LimitMgM3          float64  `json:"limit_mg_m3"`
	HazardRatioAtLeast *float64 `json:"hazard_ratio_at_least"`
	// HazardRatio and HazardRatioAtMost are set where a factor was used on every
	// run: with the factor, and with the most that it leaves.
	HazardRatio       *float64    `json:"hazard_ratio"`
	HazardRatioAtMost *float64    `json:"hazard_ratio_at_most"`
	State             MaskState   `json:"state"`
	Why               words.Text  `json:"why"`
	Limits            []MaskLimit `json:"limits"` // all that were asked about
}
