package compare

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Input is what Compare works on: readings of one sensor and the diary.
type Input struct {
	Before, After string // setup names
	Metric        dust.Channel
	// Series of the chosen sensor, one per channel: the metric, and for the
	// answers by size whatever else the sensor sends.
	Series []*dust.Series
	// Background is the metric at the background position; nil: nothing is subtracted.
	Background *dust.Series
	// BackgroundByChannel is the same for the other channels; may be nil.
	BackgroundByChannel map[dust.Channel]*dust.Series
	Tasks               []dust.Task
	Setups              []dust.SetupPeriod
	Zone                *time.Location // days are local; nil: UTC
	Confidence          float64        // 0: 0.95
	// SmallestChangePercent is the smallest reduction that matters; 0: 30.
	SmallestChangePercent float64
	// DriftU is the standard uncertainty, in ln units, that the sensor's drift adds
	// to the ratio, and DriftDF its degrees of freedom; 0: DefaultDriftDF.
	DriftU, DriftDF float64
	DriftSource     words.Text // where it is known from, in words
	// Notes are the diary's remarks.
	Notes []Note
	// Collector is what was read off the dust collector, by setup; nil: not asked for.
	Collector map[string]CollectorState
	// Exhaust is the metric at the outlet of the dust collection; nil: no sensor there.
	Exhaust *dust.Series
	// Level, in the metric's unit, is one that should not be passed for long; 0: none.
	Level float64
	// ClearanceWindow, if High is set, has clearance rates read off the straight line
	// of ln c between two fixed levels (see ClearanceRate) and not above a background.
	ClearanceWindow ClearanceWindow
	// PlanSeed is the seed that the order of sessions was drawn with before the
	// study (see DrawOrder); 0: it was not drawn. PlanSetups are the setups of that
	// plan in its order; nil: Before, After.
	PlanSeed   uint64
	PlanSetups []string
}

// ClearanceWindow are two levels in the metric's unit.
type ClearanceWindow struct{ High, Low float64 }

// DefaultDriftDF goes with a drift that is known to within half: ν = ½·(Δu/u)⁻².
// Source: JCGM 100:2008, G.4.2.
const DefaultDriftDF = 2

const defaultSmallestPercent = 30

// withDefaults fills in what was left zero.
func (in Input) withDefaults() Input {
	if in.Confidence == 0 {
		in.Confidence = defaultConfidence
	}
	if in.SmallestChangePercent == 0 {
		in.SmallestChangePercent = defaultSmallestPercent
	}
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	if in.DriftDF == 0 {
		in.DriftDF = DefaultDriftDF
	}
	return in
}

// check reports what makes the question itself unanswerable.
func (in Input) check() error {
	if !isAmount(in.Metric) {
		return fmt.Errorf("compare %s: only dust mass, particle numbers and formaldehyde can be compared", in.Metric)
	}
	if !(in.Confidence > 0 && in.Confidence < 1) {
		return fmt.Errorf("compare: confidence %g must lie between 0 and 1, as in 0.95", in.Confidence)
	}
	if !(in.SmallestChangePercent > 0 && in.SmallestChangePercent < 100) {
		return fmt.Errorf("compare: smallest change %g %% must lie between 0 and 100", in.SmallestChangePercent)
	}
	if !(in.DriftU >= 0 && in.DriftDF > 0) || math.IsInf(in.DriftU, 1) {
		return fmt.Errorf("compare: drift of %g ln units with %g degrees of freedom: both must be above zero", in.DriftU, in.DriftDF)
	}
	if in.Level < 0 || math.IsNaN(in.Level) || math.IsInf(in.Level, 1) {
		return fmt.Errorf("compare: level %g must be above zero", in.Level)
	}
	if w := in.ClearanceWindow; w != (ClearanceWindow{}) && !(w.High > w.Low && w.Low > 0) {
		return fmt.Errorf("compare: clearance from %g down to %g: give the higher level first, both above zero", w.High, w.Low)
	}
	if err := in.checkSetups(); err != nil {
		return err
	}
	return in.checkSeries()
}

func (in Input) checkSetups() error {
	for _, name := range []string{in.Before, in.After} {
		if err := in.checkSetup(name); err != nil {
			return err
		}
	}
	if in.Before == in.After {
		return fmt.Errorf("compare: before and after are both %q: name two setups of %s", in.Before, strings.Join(setupNames(in.Setups), ", "))
	}
	return nil
}

// checkSetup reports that the diary does not hold the setup.
func (in Input) checkSetup(name string) error {
	names := setupNames(in.Setups)
	switch {
	case slices.Contains(names, strconv.Quote(name)):
		return nil
	case len(names) == 0:
		return fmt.Errorf("compare: %w %q: the diary holds no setup yet", dust.ErrUnknownSetup, name)
	}
	return fmt.Errorf("compare: %w %q: the diary holds %s", dust.ErrUnknownSetup, name, strings.Join(names, ", "))
}

func (in Input) checkSeries() error {
	for _, s := range in.Series {
		if s != nil && in.Series[0] != nil && s.Sensor.Name != in.Series[0].Sensor.Name {
			return fmt.Errorf("compare: readings of %q and of %q: choose one sensor", in.Series[0].Sensor.Name, s.Sensor.Name)
		}
	}
	if s := in.series(in.Metric); s == nil || s.Len() == 0 {
		return fmt.Errorf("compare: %w of %s: choose a sensor that measured it, or another metric", dust.ErrNoReadings, in.Metric.Metric())
	}
	return nil
}

// series finds the sensor's series of channel c, or nil.
func (in Input) series(c dust.Channel) *dust.Series {
	for _, s := range in.Series {
		if s != nil && s.Channel == c {
			return s
		}
	}
	return nil
}

// background finds the background series of channel c, or nil.
func (in Input) background(c dust.Channel) *dust.Series {
	if c == in.Metric && in.Background != nil {
		return in.Background
	}
	return in.BackgroundByChannel[c]
}

// setupNames lists the setups of the diary, each quoted, in order of first use.
func setupNames(periods []dust.SetupPeriod) []string {
	var names []string
	for _, p := range sortedPeriods(periods) {
		if q := strconv.Quote(p.Setup); !slices.Contains(names, q) {
			names = append(names, q)
		}
	}
	return names
}

// isAmount reports whether a background may be subtracted from c and a ratio of
// it means something.
func isAmount(c dust.Channel) bool {
	return c.IsMass() || isNumber(c) || c == dust.Formaldehyde
}

func isNumber(c dust.Channel) bool { return c >= dust.N03 && c <= dust.NPM10 }

// ptr returns nil for what is not a number, so that JSON says null.
func ptr(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}
