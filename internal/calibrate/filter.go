package calibrate

import (
	"fmt"
	"math"
	"time"
)

// Uncertainties of a filter sample.
const (
	// pumpError is the relative standard uncertainty of a personal pump's flow:
	// the part that NIOSH puts into a method's budget for it (NMAM, 4th ed.,
	// chapter P, 2003).
	pumpError = 0.05
	// flowTolerance is how far the flow may be off: cyclones are run within ±5 %
	// (NIOSH 7500; NMAM, 4th ed., chapter D).
	flowTolerance = 0.05
	// wrongFlow is where a cyclone's cut is anybody's guess (judgement, no source).
	wrongFlow = 0.10
	// LOD = 3 s of a weighing, as NIOSH 0600 has it: 0.03 mg from 0.010 mg.
	lodPerSD = 3
)

// Weights are a filter's weight before and after, mg.
type Weights struct {
	Before float64 `json:"before_mg"`
	After  float64 `json:"after_mg"`
}

// Change is what the filter gained, mg.
func (w Weights) Change() float64 { return w.After - w.Before }

// FilterInput is what is written down about one filter sample.
type FilterInput struct {
	Method   Method
	From, To time.Time
	// Minutes the pump ran; 0: from From to To.
	Minutes               float64
	FlowBefore, FlowAfter float64 // L/min, measured with the sampler in line
	Filter                Weights
	Blanks                []Weights // field blanks
	LOD                   float64   // mg on the filter, the laboratory's own; 0: the method's
}

// FilterSample is one filter sample worked out, and what the sensor beside it
// read.
type FilterSample struct {
	Method
	From       time.Time `json:"from"`
	To         time.Time `json:"to"`
	Minutes    float64   `json:"minutes"`
	FlowBefore float64   `json:"flow_before_l_min"`
	FlowAfter  float64   `json:"flow_after_l_min"`
	Flow       float64   `json:"flow_used_l_min"`
	FlowChange float64   `json:"flow_change_percent"` // of the flow before
	Volume     float64   `json:"volume_l"`
	Filter     Weights   `json:"filter"`
	Blanks     []Weights `json:"blanks"`
	Blank      float64   `json:"blank_mean_change_mg"`
	Net        float64   `json:"net_mg"`

	LOD      float64 `json:"lod_mg"`
	Detected bool    `json:"detected"`
	// Concentration is null below the detection limit; then AtMost is what the air
	// held at most. Lowest is what this volume could have shown.
	Concentration *float64 `json:"concentration_mg_m3"`
	AtMost        *float64 `json:"at_most_mg_m3"`
	Lowest        float64  `json:"lowest_detectable_mg_m3"`
	WeighingSD    float64  `json:"weighing_sd_mg"` // of Net
	// Uncertainty is that of Concentration: 95 %, weighing, blank and flow.
	Uncertainty *float64 `json:"uncertainty_percent"`

	Sensor   *SensorBeside `json:"sensor"`
	Warnings []string      `json:"warnings"`
}

// SensorBeside is what the sensor read over a filter's time.
type SensorBeside struct {
	Metric string `json:"metric"`
	SensorMean
	ZeroID int64   `json:"zero_id"` // 0: there is no zero check
	Zero   float64 `json:"zero_offset_ug_m3"`
	Floor  float64 `json:"zero_floor_ug_m3"`
	// Pair is filter over sensor less its zero; null where the sample makes no
	// pair, and Why says why.
	Pair *float64 `json:"pair_factor"`
	Why  string   `json:"why,omitempty"`
}

// Net is the sensor's mean less its zero, mg/m³.
func (s *SensorBeside) Net() float64 { return (s.Mean - s.Zero) / 1000 }

// WeighFilter works out a concentration from a filter sample:
//
//	C = [(W2 − W1) − mean(B2 − B1)]·10³/V   mg/m³, weights in mg, V in L
//
// as in NIOSH 0500, 0501 and 0600. V is the mean of the flows before and after
// times the minutes; for a cyclone it is the nominal flow times the minutes,
// because a cyclone that draws too much also cuts finer (NIOSH 0600, step 6).
// Below the detection limit there is no concentration, only an "at most".
//
//	u(net)² = u_w²·(1 + 1/n_blanks),  u_w = LOD/3, or the sd of the blanks if that is more
//	u(C)/C  = √[(u(net)/net)² + 0.05²],  U = 1.96·u
//
// Sources: LOD/3 as NIOSH 0600 has it; 0.05 for the pump, NMAM chapter P.
func WeighFilter(in FilterInput) (FilterSample, error) {
	s := FilterSample{
		Method: in.Method, From: in.From.UTC(), To: in.To.UTC(), Minutes: in.Minutes, FlowBefore: in.FlowBefore, FlowAfter: in.FlowAfter,
		Filter: in.Filter, Blanks: append([]Weights{}, in.Blanks...), Warnings: []string{},
	}
	if s.Minutes == 0 {
		s.Minutes = in.To.Sub(in.From).Minutes()
	}
	if err := in.check(s.Minutes); err != nil {
		return s, fmt.Errorf("filter sample: %w", err)
	}
	if err := s.setFlow(); err != nil {
		return s, fmt.Errorf("filter sample: %w", err)
	}
	s.weigh(in.LOD)
	if s.Net < -s.LOD {
		return s, fmt.Errorf("filter sample: the filter lost %.3f mg beside its blanks, more than the detection limit: check that weights before and after belong to one filter", -s.Net)
	}
	s.checkRanges()
	return s, nil
}

func (in FilterInput) check(minutes float64) error {
	span := in.To.Sub(in.From).Minutes()
	switch {
	case span <= 0:
		return fmt.Errorf("it does not end after it starts")
	case !(minutes > 0) || !finite(minutes) || minutes > span+1:
		return fmt.Errorf("the pump ran %g min in a sample of %g min: give the pump's own minutes, at most those from start to stop", minutes, span)
	case !positive(in.FlowBefore) || !positive(in.FlowAfter):
		return fmt.Errorf("flows of %g and %g L/min: give both, as measured before and after with the sampler in line", in.FlowBefore, in.FlowAfter)
	case !positive(in.Filter.Before) || !positive(in.Filter.After):
		return fmt.Errorf("filter weights of %g and %g mg: give both in mg, above zero", in.Filter.Before, in.Filter.After)
	case in.LOD < 0 || !finite(in.LOD):
		return fmt.Errorf("a detection limit of %g mg: give the laboratory's, above zero", in.LOD)
	}
	for i, b := range in.Blanks {
		if !positive(b.Before) || !positive(b.After) {
			return fmt.Errorf("blank %d weighs %g and %g mg: give both in mg, above zero", i+1, b.Before, b.After)
		}
	}
	return nil
}

func positive(x float64) bool { return x > 0 && finite(x) }

// setFlow decides which flow the volume is worked out with.
func (s *FilterSample) setFlow() error {
	mean := (s.FlowBefore + s.FlowAfter) / 2
	s.Flow = mean
	s.FlowChange = 100 * (s.FlowAfter - s.FlowBefore) / s.FlowBefore
	if math.Abs(s.FlowChange) > 100*flowTolerance {
		s.warn("the flow changed by %.1f %% from before to after, more than %g %% (NIOSH 7500): the volume is doubtful", s.FlowChange, 100*flowTolerance)
	}
	if s.Cyclones != nil {
		nominal := s.cyclone(mean)
		off := max(math.Abs(s.FlowBefore-nominal), math.Abs(s.FlowAfter-nominal)) / nominal
		switch {
		case math.Abs(mean-nominal) > wrongFlow*nominal:
			return fmt.Errorf("method %s runs its cyclones at %v L/min, and %.2f L/min is more than %g %% from each: at another flow they cut another fraction", s.ID, s.Cyclones, mean, 100*wrongFlow)
		case off > flowTolerance:
			s.warn("the flow was off the cyclone's %g L/min by up to %.1f %%, more than %g %%: its cut moves with the flow", nominal, 100*off, 100*flowTolerance)
		}
		s.Flow = nominal
	}
	if s.FlowMin > 0 && (mean < s.FlowMin || mean > s.FlowMax) {
		s.warn("%.2f L/min is outside method %s: %g to %g L/min", mean, s.ID, s.FlowMin, s.FlowMax)
	}
	s.Volume = s.Flow * s.Minutes
	return nil
}

// weigh takes the blanks off and compares with the detection limit.
func (s *FilterSample) weigh(lod float64) {
	var changes []float64
	for _, b := range s.Blanks {
		changes = append(changes, b.Change())
	}
	mean, sd := meanSD(changes)
	s.Blank, s.Net = mean, s.Filter.Change()-mean
	s.LOD = s.DetectionLimit
	if lod > 0 {
		s.LOD = lod
	}
	if len(changes) < s.LeastBlanks {
		s.warn("%d field blanks, method %s wants %d at least: what handling does to a filter is hardly known", len(changes), s.ID, s.LeastBlanks)
	}
	weighing := s.LOD / lodPerSD
	if sd > weighing {
		s.warn("the blanks scatter by %.4f mg, more than the %.4f mg behind the detection limit of %.3f mg: %.3f mg is used instead", sd, weighing, s.LOD, lodPerSD*sd)
		weighing, s.LOD = sd, lodPerSD*sd
	}
	s.WeighingSD = weighing
	if n := len(changes); n > 0 {
		s.WeighingSD = weighing * math.Sqrt(1+1/float64(n))
	}
	s.Lowest = s.LOD * 1000 / s.Volume
	s.Detected = s.Net >= s.LOD
	if !s.Detected {
		atMost := s.Lowest
		s.AtMost = &atMost
		s.warn("%.3f mg is below the detection limit of %.3f mg: at most %.3f mg/m³, and no pair for a factor; sample longer", s.Net, s.LOD, atMost)
		return
	}
	c := s.Net * 1000 / s.Volume
	u := 100 * studentT(math.Inf(1)) * math.Hypot(s.WeighingSD/s.Net, pumpError)
	s.Concentration, s.Uncertainty = &c, &u
}

// checkRanges compares with what the method says of itself.
func (s *FilterSample) checkRanges() {
	if s.VolumeMin > 0 && s.Volume < s.VolumeMin {
		s.warn("%.0f L is below the %g L of method %s", s.Volume, s.VolumeMin, s.ID)
	}
	// A largest volume that holds for one concentration is the largest mass in
	// other words; that is looked at below.
	if s.VolumeMax > 0 && s.Volume > s.VolumeMax && s.VolumeMaxAt == 0 {
		s.warn("%.0f L is above the %g L of method %s: look at the filter for loose dust", s.Volume, s.VolumeMax, s.ID)
	}
	if s.Detected && s.MassMin > 0 && s.Net < s.MassMin {
		s.warn("%.3f mg is below the working range of method %s, %g to %g mg: detected, but not well known", s.Net, s.ID, s.MassMin, s.MassMax)
	}
	if s.MassMax > 0 && s.Net > s.MassMax {
		s.warn("%.3f mg is above the working range of method %s, %g to %g mg: dust may have come loose, so the air held this much or more", s.Net, s.ID, s.MassMin, s.MassMax)
	}
}

func (s *FilterSample) warn(format string, args ...any) {
	s.Warnings = append(s.Warnings, fmt.Sprintf(format, args...))
}

// Rules for the sensor's side of a pair, as for shifts (no published source).
const (
	enoughMeasured = 0.75
	mostSaturated  = 0.01
)

// PairWith sets what the sensor read over the filter's time, and whether the
// two make a pair.
func (s *FilterSample) PairWith(b SensorBeside) {
	b.Pair, b.Why = nil, ""
	switch {
	case b.MeasuredShare < enoughMeasured:
		b.Why = fmt.Sprintf("the sensor measured only %.0f %% of the filter's time, %g %% is the least", 100*b.MeasuredShare, 100*enoughMeasured)
	case b.SaturatedShare > mostSaturated:
		b.Why = fmt.Sprintf("the sensor was at the top of its range for %.0f %% of the time, so its mean is too low", 100*b.SaturatedShare)
	case b.Mean <= b.Floor:
		b.Why = fmt.Sprintf("the sensor's mean of %.2f µg/m³ is not above its floor of %.2f µg/m³", b.Mean, b.Floor)
	case !(b.Net() > 0):
		b.Why = "the sensor read no dust"
	case !s.Detected:
		b.Why = "the filter is below its detection limit"
	default:
		pair := *s.Concentration / b.Net()
		b.Pair = &pair
	}
	if b.ZeroID == 0 {
		s.warn("there is no zero check of this sensor, so its offset is not taken off: make one with filtered air")
	}
	if b.HumidShare > 0 {
		s.warn("relative humidity above %.0f %% for %.0f %% of the time: the sensor may have over-read", humidAbove, 100*b.HumidShare)
	}
	s.Sensor = &b
}
