package airflow

import (
	"fmt"
	"time"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// Collector is the record of a dust collection as it stands under one setup. What is
// not known is left zero.
type Collector struct {
	Setup       string             `json:"setup"`
	Blowers     []Blower           `json:"blowers"`
	Arrangement string             `json:"blowers_arranged"` // Series or Parallel, with two blowers or more
	Separator   string             `json:"separator"`
	Filter      FilterRecord       `json:"filter"`
	Ducts       []DuctRecord       `json:"ducts"` // the first is the one that all air goes through
	Gates       []string           `json:"open_gates"`
	Hood        *HoodRecord        `json:"hood"`
	Room        units.Volume       `json:"room"`
	Altitude    units.Length       `json:"altitude"`
	Temperature *units.Temperature `json:"temperature"`
}

// The arrangements of blowers.
const (
	Series   = "series"
	Parallel = "parallel"
)

// Blower is a blower with what its maker says of it.
type Blower struct {
	Name         string        `json:"name"`
	RatedFlow    units.Flow    `json:"rated_flow"`
	RatedCurrent units.Current `json:"rated_current_a"`
	Curve        []FanPoint    `json:"fan_curve"` // in standard air
}

// FilterRecord is the filter.
type FilterRecord struct {
	Class        string         `json:"class"`
	Area         units.Area     `json:"area"`
	Hours        float64        `json:"hours"` // that it had run
	Limit        units.Pressure `json:"pressure_limit"`
	Cleaned      []time.Time    `json:"cleaned"`
	BeforeBlower bool           `json:"before_blower"` // else the blower pushes through it
}

// DuctRecord is a run of duct.
type DuctRecord struct {
	Name     string       `json:"name"`
	Diameter units.Length `json:"diameter"`
	Width    units.Length `json:"width"`
	Height   units.Length `json:"height"`
	Length   units.Length `json:"length"`
	Fittings []string     `json:"fittings"`
}

// Duct is its cross-section.
func (d DuctRecord) Duct() Duct { return Duct{Diameter: d.Diameter, Width: d.Width, Height: d.Height} }

// HoodRecord is the hood that the dust is captured by.
type HoodRecord struct {
	Duct             string       `json:"duct"` // that it hangs on; "": the first
	Diameter         units.Length `json:"diameter"`
	Width            units.Length `json:"width"`
	Height           units.Length `json:"height"`
	Distance         units.Length `json:"distance"` // from its face to where the dust is made
	Flanged          bool         `json:"flanged"`
	EntryCoefficient float64      `json:"entry_coefficient"` // Ce; 0: not known
}

// Face is the hood's opening. The error wraps ErrInput.
func (h HoodRecord) Face() (units.Area, error) {
	return Duct{Diameter: h.Diameter, Width: h.Width, Height: h.Height}.Area()
}

// Check reports what makes the record contradict itself, or cannot be of a dust
// collector. The error wraps ErrInput.
func (c Collector) Check() error {
	if err := c.checkSizes(); err != nil {
		return err
	}
	seen := map[string]bool{}
	for i, d := range c.Ducts {
		if d.Name == "" && len(c.Ducts) > 1 {
			return fmt.Errorf("duct %d has no name, so its readings %w: name each, as there are %d", i+1, ErrInput, len(c.Ducts))
		}
		if seen[d.Name] {
			return fmt.Errorf("two ducts named %q: their readings %w", d.Name, ErrInput)
		}
		seen[d.Name] = true
		if _, err := d.Duct().Area(); err != nil {
			return fmt.Errorf("duct %q: %w", d.Name, err)
		}
	}
	if c.Hood != nil {
		if c.Hood.Duct != "" && !seen[c.Hood.Duct] {
			return fmt.Errorf("the hood hangs on duct %q, which the record does not hold: its flow %w", c.Hood.Duct, ErrInput)
		}
		if _, err := c.Hood.Face(); err != nil {
			return fmt.Errorf("hood: %w", err)
		}
		if ce := c.Hood.EntryCoefficient; !(ce >= 0 && ce <= 1) {
			return fmt.Errorf("hood: its flow %w: entry coefficient %g must lie above 0 and be at most 1", ErrInput, ce)
		}
	}
	switch {
	case c.Arrangement != "" && c.Arrangement != Series && c.Arrangement != Parallel:
		return fmt.Errorf("blowers arranged in %q: what they move %w: write %q or %q", c.Arrangement, ErrInput, Series, Parallel)
	case len(c.Blowers) > 1 && c.Arrangement == "":
		return fmt.Errorf("%d blowers: what they move %w: say whether in %q or %q", len(c.Blowers), ErrInput, Series, Parallel)
	}
	for _, b := range c.Blowers {
		if len(b.Curve) > 0 {
			if _, err := NewFanCurve(b.Curve); err != nil {
				return fmt.Errorf("blower %q: %w", b.Name, err)
			}
		}
	}
	return nil
}

// checkSizes refuses what was surely written in a wrong unit; zero is not known.
func (c Collector) checkSizes() error {
	var err error
	within := func(what string, x fmt.Stringer, value, low, high float64) {
		if err == nil && value != 0 && !(value >= low && value <= high) {
			err = fmt.Errorf("%s of %s: what it moves %w: check the unit", what, x, ErrInput)
		}
	}
	length := func(what string, x units.Length) { within(what, x, float64(x), 1e-3, 100) }
	within("room", c.Room, float64(c.Room), 1, 1e6)
	within("altitude", c.Altitude, float64(c.Altitude), 0, 6000)
	for _, d := range c.Ducts {
		length("duct diameter", d.Diameter)
		length("duct width", d.Width)
		length("duct height", d.Height)
	}
	if h := c.Hood; h != nil {
		length("hood diameter", h.Diameter)
		length("hood width", h.Width)
		length("hood height", h.Height)
		length("distance of the hood", h.Distance)
	}
	within("filter", c.Filter.Area, float64(c.Filter.Area), 1e-3, 1e5)
	within("filter's pressure limit", c.Filter.Limit, float64(c.Filter.Limit), 1, float64(mostPressure))
	for _, b := range c.Blowers {
		within("rated flow", b.RatedFlow, float64(b.RatedFlow), 1e-4, float64(mostFlow))
		within("rated current", b.RatedCurrent, float64(b.RatedCurrent), 1e-2, float64(mostCurrent))
		for _, p := range b.Curve {
			within("flow on the fan curve", p.Flow, float64(p.Flow), 1e-6, float64(mostFlow))
			within("pressure on the fan curve", p.Static, float64(p.Static), 1e-3, float64(mostPressure))
		}
	}
	return err
}

// air is the density that readings under the record were taken in, and from what.
func (c Collector) air() (units.Density, words.Text) {
	if c.Altitude == 0 && c.Temperature == nil {
		return StandardDensity, words.Of("standard air; the record tells no altitude or temperature")
	}
	const room = units.Temperature(20)
	a := Air{Temperature: room, Pressure: PressureAt(float64(c.Altitude)), Humidity: 50}
	if c.Temperature != nil {
		a.Temperature = *c.Temperature
	}
	rho, err := a.Density()
	if err != nil {
		return StandardDensity, words.Of("standard air: %s", words.OfError(err))
	}
	return rho, words.Of("%.0f m above the sea, %s, 50 %% relative humidity", float64(c.Altitude), a.Temperature)
}

// curve is that of all blowers in standard air; nil if it is not in the record.
func (c Collector) curve() (*FanCurve, error) {
	var all *FanCurve
	for _, b := range c.Blowers {
		if len(b.Curve) == 0 {
			return nil, nil
		}
		one, err := NewFanCurve(b.Curve)
		switch {
		case err != nil:
			return nil, err
		case all == nil:
			all = one
			continue
		case c.Arrangement == Series:
			all, err = InSeries(all, one)
		default:
			all, err = InParallel(all, one)
		}
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}

// ratedFlow is what the makers claim together; zero if it is not known.
func (c Collector) ratedFlow() (q units.Flow) {
	for _, b := range c.Blowers {
		switch {
		case b.RatedFlow == 0:
			return 0
		case c.Arrangement == Series:
			if q == 0 || b.RatedFlow < q {
				q = b.RatedFlow
			}
		default:
			q += b.RatedFlow
		}
	}
	return q
}

// ratedCurrent is that of the only blower, or of the one named; nil if it is not known
// or the reading does not say which motor it was on.
func (c Collector) ratedCurrent(blower string) *units.Current {
	for i, b := range c.Blowers {
		if (b.Name == blower && blower != "" || len(c.Blowers) == 1) && b.RatedCurrent > 0 {
			return &c.Blowers[i].RatedCurrent
		}
	}
	return nil
}

// missing lists what the record would need to say more.
func (c Collector) missing() []words.Text {
	list := []words.Text{}
	add := func(lacks bool, what words.Text) {
		if lacks {
			list = append(list, what)
		}
	}
	add(len(c.Ducts) == 0, words.Of("a duct with its diameter: no flow without it"))
	add(len(c.Blowers) == 0 || c.ratedFlow() == 0, words.Of("the blower's rated flow"))
	add(len(c.Blowers) == 0 || c.Blowers[0].RatedCurrent == 0, words.Of("the motor's rated current, from its plate"))
	add(len(c.Blowers) == 0 || len(c.Blowers[0].Curve) == 0, words.Of("the blower's fan curve, as points"))
	add(c.Filter.Area == 0, words.Of("the filter's area"))
	add(c.Filter.Limit == 0, words.Of("the pressure at which the filter is to be cleaned"))
	add(c.Hood == nil, words.Of("the hood's opening and its distance from the dust"))
	add(c.Room == 0, words.Of("the room's volume"))
	return list
}
