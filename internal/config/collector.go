package config

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"dustlog/internal/units"
)

// Collector is what a dust collection consists of under one setup,
// [collector."setup"] in the file.
type Collector struct {
	Setup           string             `toml:"-"`    // the table's own name
	Like            string             `toml:"like"` // take what is left out here from that setup's
	Separator       string             `toml:"separator"`
	BlowersArranged string             `toml:"blowers_arranged"` // "series" or "parallel", with two or more
	OpenGates       []string           `toml:"open_gates"`
	Room            units.Volume       `toml:"room"`
	Altitude        units.Length       `toml:"altitude"`
	Temperature     *units.Temperature `toml:"temperature"`
	Blowers         []Blower           `toml:"blower"`
	Filter          *Filter            `toml:"filter"`
	Ducts           []Duct             `toml:"duct"` // the first is the one that all air goes through
	Hood            *Hood              `toml:"hood"`
}

// Blower is a blower as its maker describes it.
type Blower struct {
	Name         string        `toml:"name"`
	RatedFlow    units.Flow    `toml:"rated_flow"`
	RatedCurrent units.Current `toml:"rated_current"`
	Curve        []CurvePoint  `toml:"curve"`
}

// CurvePoint is one point of a fan curve, as in "400 cfm at 9.5 in. w.g.".
type CurvePoint struct {
	Flow   units.Flow
	Static units.Pressure
}

// UnmarshalText reads it.
func (p *CurvePoint) UnmarshalText(text []byte) (err error) {
	flow, static, ok := strings.Cut(string(text), " at ")
	if !ok {
		return fmt.Errorf("point of a fan curve %q: write it as in \"400 cfm at 9.5 in. w.g.\"", text)
	}
	if p.Flow, err = units.ParseFlow(flow); err != nil {
		return err
	}
	p.Static, err = units.ParsePressure(static)
	return err
}

// Filter is the filter of a dust collection.
type Filter struct {
	Class         string         `toml:"class"`
	Area          units.Area     `toml:"area"`
	Hours         float64        `toml:"hours"` // that it had run
	PressureLimit units.Pressure `toml:"pressure_limit"`
	Cleaned       []string       `toml:"cleaned"` // days, or days with a time, in the shop's zone
	BeforeBlower  bool           `toml:"before_blower"`
}

// Duct is a run of duct, round or rectangular.
type Duct struct {
	Name     string       `toml:"name"`
	Diameter units.Length `toml:"diameter"`
	Width    units.Length `toml:"width"`
	Height   units.Length `toml:"height"`
	Length   units.Length `toml:"length"`
	Fittings []string     `toml:"fittings"`
}

// Hood is the opening that dust is captured by.
type Hood struct {
	Duct             string       `toml:"duct"`
	Diameter         units.Length `toml:"diameter"`
	Width            units.Length `toml:"width"`
	Height           units.Length `toml:"height"`
	Distance         units.Length `toml:"distance"`
	Flanged          bool         `toml:"flanged"`
	EntryCoefficient float64      `toml:"entry_coefficient"`
}

// CleanedAt are the moments of Cleaned.
func (f Filter) CleanedAt(zone *time.Location) (list []time.Time, err error) {
	for _, text := range f.Cleaned {
		at, err := time.ParseInLocation("2006-01-02 15:04", text, zone)
		if err != nil {
			at, err = time.ParseInLocation(time.DateOnly, text, zone)
		}
		if err != nil {
			return nil, fmt.Errorf("cleaned %q is no day: write it as in \"2026-03-09\" or \"2026-03-09 16:30\"", text)
		}
		list = append(list, at)
	}
	return list, nil
}

// collectors puts the tables in the order of their names and fills in what one takes
// from another.
func collectors(tables map[string]Collector, zone *time.Location) ([]Collector, error) {
	var list []Collector
	for _, name := range slices.Sorted(maps.Keys(tables)) {
		c, err := filledIn(tables, name)
		if err != nil {
			return nil, err
		}
		if c.Filter != nil {
			if _, err := c.Filter.CleanedAt(zone); err != nil {
				return nil, fmt.Errorf("[collector.%q]: filter: %w", name, err)
			}
			if !(c.Filter.Hours >= 0) || !(c.Filter.PressureLimit >= 0) {
				return nil, fmt.Errorf("[collector.%q]: filter: hours and pressure_limit must not be below zero", name)
			}
		}
		list = append(list, c)
	}
	return list, nil
}

// filledIn follows like, through several tables if need be.
func filledIn(tables map[string]Collector, name string) (Collector, error) {
	c := tables[name]
	c.Setup = name
	seen := []string{name}
	for like := c.Like; like != ""; {
		other, ok := tables[like]
		switch {
		case !ok:
			return c, fmt.Errorf("[collector.%q]: like = %q, but there is no [collector.%q]", name, like, like)
		case slices.Contains(seen, like):
			return c, fmt.Errorf("[collector.%q]: like = %q leads back to itself", name, like)
		}
		seen = append(seen, like)
		c.take(other)
		like = other.Like
	}
	return c, nil
}

// take fills in what c leaves out, table by table. Days of cleaning are of one filter
// under one setup, and are not taken.
func (c *Collector) take(other Collector) {
	if c.Separator == "" {
		c.Separator = other.Separator
	}
	if c.BlowersArranged == "" && c.Blowers == nil {
		c.BlowersArranged = other.BlowersArranged
	}
	if c.OpenGates == nil {
		c.OpenGates = other.OpenGates
	}
	if c.Room == 0 {
		c.Room = other.Room
	}
	if c.Altitude == 0 {
		c.Altitude = other.Altitude
	}
	if c.Temperature == nil {
		c.Temperature = other.Temperature
	}
	if c.Blowers == nil {
		c.Blowers = other.Blowers
	}
	if c.Filter == nil && other.Filter != nil {
		f := *other.Filter
		f.Cleaned = nil
		c.Filter = &f
	}
	if c.Ducts == nil {
		c.Ducts = other.Ducts
	}
	if c.Hood == nil {
		c.Hood = other.Hood
	}
}
