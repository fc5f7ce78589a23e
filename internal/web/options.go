package web

import (
	"context"
	"iter"
	"log/slog"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/report"
	"dustlog/internal/study"
)

// Records is what the page reads.
type Records interface {
	study.Records
	Readings(ctx context.Context, q dust.Query) iter.Seq2[dust.Reading, error]
	LineQuality(ctx context.Context, from, to time.Time) ([]dust.LineQuality, error)
	Events(ctx context.Context, from, to time.Time) ([]dust.Event, error)
	Entries(ctx context.Context, from, to time.Time) ([]dust.Entered, error)
}

// Diary is what the page writes to.
type Diary interface {
	Enter(ctx context.Context, e dust.Entry) (dust.Entered, error)
}

// Mask is the answer to the respirator question for this moment.
type Mask struct {
	State exposure.MaskState
	Why   string
	Until time.Time // an upper bound while the air clears; zero: no end can be told
}

// ReportQuery says what a report is about. Zero times and "" mean what they mean
// for `dustlog report`.
type ReportQuery struct {
	Window        study.Window
	Before, After string
}

// Options are what a page is made of.
type Options struct {
	Shop     string
	Version  string
	Records  Records
	Diary    Diary // nil: nothing can be entered
	Settings study.Settings
	// Remarks are said on every page that shows findings, as that no limit was chosen.
	Remarks []string
	// Limits is the whole table of limits.
	Limits []exposure.Limit
	// Follow reads new readings from Records. Without it they come by Offer.
	Follow bool
	// Late is how old the newest reading may be before its sensor counts as
	// silent; 0: 30 s.
	Late time.Duration
	// Newest is the time of the newest reading of all, zero without one; nil: not offered.
	Newest func(context.Context) (time.Time, error)
	// Mask answers for this moment; nil: from the past runs of the running task.
	Mask func() Mask
	// Calibrations lists what is on record, oldest first; nil: not shown.
	Calibrations func(context.Context) ([]Calibration, error)
	// Report gathers what a report shows; nil: there is none.
	Report func(ctx context.Context, q ReportQuery) (report.Input, error)
	Access Access
	Now    func() time.Time // nil: time.Now
	Log    *slog.Logger     // nil: silent
}

func (o Options) withDefaults() Options {
	if o.Shop == "" {
		o.Shop = "Workshop"
	}
	if o.Settings.Zone == nil {
		o.Settings.Zone = time.UTC
	}
	if o.Late <= 0 {
		o.Late = 30 * time.Second
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return o
}
