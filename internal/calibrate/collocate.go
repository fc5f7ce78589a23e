package calibrate

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// Rules for sensors side by side.
const (
	// A mean counts where this share of its time was measured by both sensors.
	enoughOfMean = 0.75
	// The shortest time side by side: an hour of real dust (practice, no source).
	leastSideBySide = time.Hour
	// humidAbove is the relative humidity from which optical sensors over-read
	// (Atmos. Meas. Tech. 11, 4883, 2018).
	humidAbove = 75.0
	// The fewest independent means for a line: with fewer, a slow rise passes for
	// many observations (common practice, no source).
	leastMeans = 10
	// Above this ratio a line says how the levels compare, below it little more
	// than where the cloud of points lies (judgement, no source).
	leastRange = 3.0
)

// Beside is one sensor's readings while it stood beside the others. Humidity and
// Temperature are nil for a sensor that does not send them.
type Beside struct {
	Mass, Humidity, Temperature *dust.Series
}

// CollocationOptions say how sensors are compared. The zero options are the
// defaults.
type CollocationOptions struct {
	Mean  time.Duration // length of a mean, 1 to 5 min; 0: 1 min
	Delta float64       // error variance of the other sensor / of the first; 0: 1
}

// Collocation is what sensors read side by side in the same air.
type Collocation struct {
	Metric      string       `json:"metric"`
	From        time.Time    `json:"from"`
	To          time.Time    `json:"to"`
	MeanSeconds float64      `json:"mean_s"` // length of a mean
	Delta       float64      `json:"delta"`
	Reference   string       `json:"reference"` // x of every line
	Others      []SensorPair `json:"others"`

	HumidityLow     *float64 `json:"rh_low_percent"`
	HumidityHigh    *float64 `json:"rh_high_percent"`
	TemperatureLow  *float64 `json:"temperature_low_c"`
	TemperatureHigh *float64 `json:"temperature_high_c"`
	Warnings        []string `json:"warnings"`
}

// SensorPair is one sensor against the reference.
type SensorPair struct {
	Sensor string `json:"sensor"`
	Means  int    `json:"means"` // that both sensors have
	// Every is how many means were passed over for each one used, so that those
	// used are further apart than the correlation time.
	Every              int     `json:"every"`
	CorrelationSeconds float64 `json:"correlation_s"`
	Used               int     `json:"means_used"`
	// ResidualLag1 is the correlation of neighbouring residuals of those used.
	ResidualLag1 *float64 `json:"residual_lag1"`

	Deming           *Line   `json:"deming"`
	ReducedMajorAxis *Line   `json:"reduced_major_axis"`
	RatioOfMeans     float64 `json:"ratio_of_means"` // sensor / reference, all means
	// Low and High are the least and greatest mean of the reference: the line
	// holds between them.
	Low      float64  `json:"reference_low_ug_m3"`
	High     float64  `json:"reference_high_ug_m3"`
	Why      string   `json:"why,omitempty"` // there is no line
	Warnings []string `json:"warnings"`
}

// Collocate compares sensors that stood side by side in [from, to); the first is
// the reference. Their readings become means of o.Mean. Successive means of one
// room are not independent, so only every k-th is used: k is the smallest number
// of means after which the autocorrelation of both sensors' means has fallen to
// 1/e. Without that an interval is fiction.
func Collocate(sensors []Beside, from, to time.Time, o CollocationOptions) (Collocation, error) {
	if o.Mean == 0 {
		o.Mean = time.Minute
	}
	if o.Delta == 0 {
		o.Delta = 1
	}
	switch {
	case len(sensors) < 2:
		return Collocation{}, fmt.Errorf("collocation: two sensors or more are needed, got %d", len(sensors))
	case o.Mean < time.Minute || o.Mean > 5*time.Minute:
		return Collocation{}, fmt.Errorf("collocation: means of %s: give 1 to 5 min", o.Mean)
	case !to.After(from):
		return Collocation{}, fmt.Errorf("collocation: it does not end after it starts")
	}
	reference := sensors[0].Mass
	c := Collocation{
		Metric: reference.Channel.Metric(), From: from.UTC(), To: to.UTC(), MeanSeconds: o.Mean.Seconds(),
		Delta: o.Delta, Reference: reference.Sensor.Name, Others: []SensorPair{}, Warnings: []string{},
	}
	x := means(reference, from, to, o.Mean)
	for _, s := range sensors[1:] {
		if s.Mass.Channel.Metric() != c.Metric {
			return c, fmt.Errorf("collocation: %s of %q cannot be compared with %s of %q", s.Mass.Channel.Metric(), s.Mass.Sensor.Name, c.Metric, c.Reference)
		}
		c.Others = append(c.Others, comparePair(s.Mass.Sensor.Name, x, means(s.Mass, from, to, o.Mean), o))
	}
	c.weather(sensors)
	if to.Sub(from) < leastSideBySide {
		c.warn("%.0f min side by side: an hour in real dust is the least (common practice)", to.Sub(from).Minutes())
	}
	return c, nil
}

func (c *Collocation) warn(format string, args ...any) {
	c.Warnings = append(c.Warnings, fmt.Sprintf(format, args...))
}

// MeansOf are a sensor's means over the time side by side, as the lines were fitted
// to them; NaN where there is none.
func (c Collocation) MeansOf(s *dust.Series) []float64 {
	return means(s, c.From, c.To, time.Duration(c.MeanSeconds*float64(time.Second)))
}

// means are time-weighted means of [from, to) in pieces; NaN where less than
// three quarters was measured or the sensor was at its top.
func means(s *dust.Series, from, to time.Time, length time.Duration) []float64 {
	n := int(to.Sub(from) / length)
	list := make([]float64, n)
	for i := range list {
		start := from.Add(time.Duration(i) * length)
		m := MeanOf(s, start, start.Add(length))
		list[i] = math.NaN()
		if m.MeasuredShare >= enoughOfMean && m.SaturatedShare == 0 {
			list[i] = m.Mean
		}
	}
	return list
}

func comparePair(name string, x, y []float64, o CollocationOptions) SensorPair {
	p := SensorPair{Sensor: name, Warnings: []string{}}
	var sumX, sumY float64
	p.Low, p.High = math.Inf(1), math.Inf(-1)
	for i := range x {
		if both(x, y, i) {
			p.Means++
			sumX, sumY = sumX+x[i], sumY+y[i]
			p.Low, p.High = math.Min(p.Low, x[i]), math.Max(p.High, x[i])
		}
	}
	if p.Means == 0 || sumX == 0 {
		p.Low, p.High = 0, 0
		p.Why = "there is no time in which both sensors read dust"
		return p
	}
	p.RatioOfMeans = sumY / sumX
	k, ok := correlationStep(x, y)
	if !ok {
		p.Why = fmt.Sprintf("the dust changed so slowly that its %d means hold fewer than %d independent ones: stay longer, with work and pauses", p.Means, leastMeans)
		return p
	}
	p.Every, p.CorrelationSeconds = k, float64(k)*o.Mean.Seconds()
	var usedX, usedY []float64
	for i := 0; i < len(x); i += k {
		if both(x, y, i) {
			usedX, usedY = append(usedX, x[i]), append(usedY, y[i])
		}
	}
	p.Used = len(usedX)
	p.fit(usedX, usedY, o.Delta)
	return p
}

func both(x, y []float64, i int) bool { return finite(x[i]) && finite(y[i]) }

func (p *SensorPair) fit(x, y []float64, delta float64) {
	line, err := Deming(x, y, delta)
	if err != nil {
		p.Why = fmt.Sprintf("%d means are further apart than the correlation time: %v", p.Used, err)
		return
	}
	p.Deming = &line
	if rma, err := ReducedMajorAxis(x, y); err == nil {
		p.ReducedMajorAxis = &rma
	}
	if line.Slope <= 0 {
		p.warn("the slope is not above zero: these sensors do not see the same dust")
	}
	if p.High < leastRange*p.Low {
		p.warn("the reference only read %.0f to %.0f µg/m³: the line holds there, and offset and gain are hard to tell apart", p.Low, p.High)
	}
	residuals := make([]float64, len(x))
	for i := range x {
		residuals[i] = y[i] - line.Intercept - line.Slope*x[i]
	}
	if r, ok := autocorrelation(residuals, 1); ok {
		p.ResidualLag1 = &r
		_, left := meanSD(residuals)
		if r > 2/math.Sqrt(float64(len(x))) && left > 1e-9*p.High { // not of rounding errors
			p.warn("neighbouring residuals still correlate (%.2f): the interval is too narrow", r)
		}
	}
}

func (p *SensorPair) warn(format string, args ...any) {
	p.Warnings = append(p.Warnings, fmt.Sprintf(format, args...))
}

// correlationStep is the smallest lag, in means, at which both sensors' means
// have lost their correlation down to 1/e. ok is false if that leaves too few.
func correlationStep(x, y []float64) (lag int, ok bool) {
	for lag := 1; lag*leastMeans <= len(x); lag++ {
		rx, okX := autocorrelation(x, lag)
		ry, okY := autocorrelation(y, lag)
		if okX && okY && rx <= 1/math.E && ry <= 1/math.E {
			return lag, true
		}
	}
	return 0, false
}

// autocorrelation of a series at a lag, with missing values left out: the mean
// product of deviations over the variance. ok is false without variation.
func autocorrelation(x []float64, lag int) (r float64, ok bool) {
	var present []float64
	for _, v := range x {
		if finite(v) {
			present = append(present, v)
		}
	}
	mean, sd := meanSD(present)
	if len(present) < 3 || sd == 0 {
		return 0, false
	}
	variance := sd * sd * float64(len(present)-1) / float64(len(present))
	sum, n := 0.0, 0
	for i := lag; i < len(x); i++ {
		if finite(x[i]) && finite(x[i-lag]) {
			sum += (x[i] - mean) * (x[i-lag] - mean)
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return sum / float64(n) / variance, true
}

// weather notes in which humidity and temperature the sensors stood.
func (c *Collocation) weather(sensors []Beside) {
	var humidity, temperature []*dust.Series
	for _, s := range sensors {
		humidity, temperature = append(humidity, s.Humidity), append(temperature, s.Temperature)
	}
	c.HumidityLow, c.HumidityHigh = extent(humidity, c.From, c.To)
	c.TemperatureLow, c.TemperatureHigh = extent(temperature, c.From, c.To)
	switch {
	case c.HumidityHigh == nil:
		c.warn("no sensor sends the relative humidity, so nothing is known of its part")
	case *c.HumidityHigh > humidAbove:
		c.warn("relative humidity up to %.0f %%: above %.0f %% optical sensors over-read, each in its own way", *c.HumidityHigh, humidAbove)
	}
}

// extent is the range of several series in [from, to); nil without a value.
func extent(list []*dust.Series, from, to time.Time) (low, high *float64) {
	for _, s := range list {
		if s == nil {
			continue
		}
		for p := range s.Spans(from, to) {
			if !finite(p.Value) {
				continue
			}
			if low == nil {
				low, high = new(p.Value), new(p.Value)
			}
			*low, *high = math.Min(*low, p.Value), math.Max(*high, p.Value)
		}
	}
	return low, high
}

// Sensors names the sensors that stood side by side, sorted, as one key: two
// collocations can tell of drift if theirs are the same.
func (c Collocation) Sensors() string {
	names := []string{c.Reference}
	for _, o := range c.Others {
		names = append(names, o.Sensor)
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}
