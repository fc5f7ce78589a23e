package clearance

import (
	"time"

	"dustlog/internal/words"
)

// Result is what every output renders. Keys are only ever added. A nil number is
// one that could not be told; Why says why.
type Result struct {
	Schema           int               `json:"schema"`
	Metric           string            `json:"metric"`
	Unit             string            `json:"unit"` // of c0, background and level
	Sensor           string            `json:"sensor"`
	Position         string            `json:"position"`
	BackgroundSensor string            `json:"background_sensor"` // "" if there is none
	VolumeM3         *float64          `json:"volume_m3"`
	Level            *float64          `json:"level"`
	Decays           []Decay           `json:"decays"`
	Setups           []SetupClearance  `json:"setups"`
	Cleaner          *CleanerDelivery  `json:"air_cleaner"` // nil: not asked about
	Emissions        []TaskEmission    `json:"emissions"`   // empty without a volume
	Warnings         []words.Text      `json:"warnings"`
	Method           words.Text        `json:"method"`
	AirChanges       []AirChangeMinute `json:"air_change_table"`
}

// State says what a decay is good for.
type State string

// The states.
const (
	Measured   State = "measured"
	CannotTell State = "cannot tell"
)

// Decay is one fall of the dust, with its rate or why there is none.
type Decay struct {
	Date    string     `json:"date"`
	Setup   string     `json:"setup"`
	After   string     `json:"after_task"` // "": a drop in the trace, the diary does not say that the source was off
	From    time.Time  `json:"from"`       // of the record fitted
	To      time.Time  `json:"to"`
	EndedBy words.Text `json:"ended_by"`
	State   State      `json:"state"`
	Why     words.Text `json:"why"`
	Pooled  bool       `json:"pooled"` // counts for its setup

	PerHour         *float64   `json:"rate_per_h"`
	Low             *float64   `json:"rate_low_per_h"`
	High            *float64   `json:"rate_high_per_h"`
	HalfLifeMinutes *float64   `json:"half_life_min"`
	C0              *float64   `json:"c0"`
	Background      *float64   `json:"background"`
	BackgroundFrom  words.Text `json:"background_from"`

	Means          int      `json:"means_20s"`
	EffectiveMeans *float64 `json:"means_effective"`
	WeighedDown    int      `json:"means_weighed_down"`
	ScatterPercent *float64 `json:"scatter_percent"`

	MinutesToLevel *float64   `json:"minutes_to_level"` // from the start of the record
	MinutesLow     *float64   `json:"minutes_to_level_low"`
	MinutesHigh    *float64   `json:"minutes_to_level_high"`
	BeyondRecord   bool       `json:"level_beyond_record"`
	LevelWhy       words.Text `json:"level_why"`

	fit Fit
}

// SetupClearance is one rate for a setup, the run being the unit.
type SetupClearance struct {
	Setup   string     `json:"setup"`
	Runs    int        `json:"runs"`
	LeftOut int        `json:"runs_left_out"`
	Why     words.Text `json:"why"`

	PerHour         *float64 `json:"rate_per_h"`
	Low             *float64 `json:"rate_low_per_h"`
	High            *float64 `json:"rate_high_per_h"`
	NextLow         *float64 `json:"next_rate_lower_limit_per_h"` // one-sided 95 %
	SpreadPercent   *float64 `json:"spread_between_runs_percent"`
	HalfLifeMinutes *float64 `json:"half_life_min"`
	Minutes99       *float64 `json:"minutes_99_percent"`
	Minutes999      *float64 `json:"minutes_99_9_percent"`
	CleanAirM3H     *float64 `json:"clean_air_m3_h"`
	CleanAirLowM3H  *float64 `json:"clean_air_low_m3_h"`
	CleanAirHighM3H *float64 `json:"clean_air_high_m3_h"`
	CleanAirCFM     *float64 `json:"clean_air_cfm"`
	Background      *float64 `json:"background"`

	// How long until the level asked about after the dustiest task's end seen.
	Dustiest *float64 `json:"dustiest_start"`
	Wait     *Wait    `json:"wait_after_dustiest"`

	pooled Pooled
}

// CleanerDelivery is the clean-air delivery rate of an air cleaner, V·(λ on − λ off).
type CleanerDelivery struct {
	On      string     `json:"setup_on"`
	Off     string     `json:"setup_off"`
	RunsOn  int        `json:"runs_on"`
	RunsOff int        `json:"runs_off"`
	CADRM3H *float64   `json:"cadr_m3_h"`
	LowM3H  *float64   `json:"cadr_low_m3_h"`
	HighM3H *float64   `json:"cadr_high_m3_h"`
	CADRCFM *float64   `json:"cadr_cfm"`
	Why     words.Text `json:"why"`
}

// TaskEmission is what one task gave off, taken for one mixed room.
type TaskEmission struct {
	Date     string     `json:"date"`
	Task     string     `json:"task"`
	Setup    string     `json:"setup"`
	Minutes  float64    `json:"minutes"`
	MassMg   *float64   `json:"mass_mg"`
	LowMg    *float64   `json:"mass_low_mg"`
	HighMg   *float64   `json:"mass_high_mg"`
	MgPerMin *float64   `json:"mg_per_min"`
	Why      words.Text `json:"why"`
}

// AirChangeMinute is one row of the table that rates are held against.
type AirChangeMinute struct {
	PerHour    float64 `json:"air_changes_per_h"`
	Minutes99  float64 `json:"minutes_99_percent"`
	Minutes999 float64 `json:"minutes_99_9_percent"`
}

// ptr returns nil for what is not a number, so that JSON says null.
func ptr(x float64) *float64 {
	if !finite(x) {
		return nil
	}
	return &x
}
