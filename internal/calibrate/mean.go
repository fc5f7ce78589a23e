package calibrate

import (
	"time"

	"dustlog/internal/dust"
)

// SensorMean is what a sensor read over a stretch of time.
type SensorMean struct {
	Mean           float64 `json:"mean_ug_m3"` // over the measured time
	MeasuredShare  float64 `json:"measured_share"`
	SaturatedShare float64 `json:"saturated_share"` // of the measured time
	HumidShare     float64 `json:"humid_share"`     // of the measured time
}

// MeanOf is the time-weighted mean ΣC·Δt/ΣΔt of the usable readings in [from, to).
func MeanOf(s *dust.Series, from, to time.Time) SensorMean {
	var dose, measured, saturated, humid float64
	for p := range s.Spans(from, to) {
		if p.Unusable() != "" {
			continue
		}
		seconds := p.Seconds()
		dose += p.Value * seconds
		measured += seconds
		if p.Flags.Has(dust.Saturated) {
			saturated += seconds
		}
		if p.Flags.Has(dust.Humid) {
			humid += seconds
		}
	}
	if measured == 0 {
		return SensorMean{}
	}
	return SensorMean{
		Mean: dose / measured, MeasuredShare: measured / to.Sub(from).Seconds(),
		SaturatedShare: saturated / measured, HumidShare: humid / measured,
	}
}
