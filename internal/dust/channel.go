package dust

import (
	"fmt"
	"strings"
)

// Channel is one quantity that a sensor may report.
type Channel uint8

// The channels. Mass is in µg/m³, numbers are particles per cm³.
const (
	PM1 Channel = iota
	PM25
	PM4
	PM10

	// Second mass scale of sensors that send two: the one their makers mean for
	// outdoor air. PM1 … PM10 hold the one meant for industrial air (CF=1).
	PM1Atm
	PM25Atm
	PM10Atm

	// Number of particles larger than the size named, cumulative from above.
	N03
	N05
	N10
	N25
	N50
	N100

	// Number of particles from 0.3 µm up to the size named: the SPS30's own
	// bins, which cannot be turned into the channels above.
	NPM05
	NPM1
	NPM25
	NPM4
	NPM10

	TypicalSize
	Humidity
	Temperature
	Formaldehyde

	// ChannelCount is the number of channels, not a channel.
	ChannelCount
)

type channelInfo struct {
	key   string // key in JSON, column in the store, header in CSV; carries the unit
	label string // for axes and tables
	unit  string
}

var channels = [ChannelCount]channelInfo{
	PM1:          {"pm1_ug_m3", "PM1", "µg/m³"},
	PM25:         {"pm2_5_ug_m3", "PM2.5", "µg/m³"},
	PM4:          {"pm4_ug_m3", "PM4", "µg/m³"},
	PM10:         {"pm10_ug_m3", "PM10", "µg/m³"},
	PM1Atm:       {"pm1_atm_ug_m3", "PM1 (atmospheric)", "µg/m³"},
	PM25Atm:      {"pm2_5_atm_ug_m3", "PM2.5 (atmospheric)", "µg/m³"},
	PM10Atm:      {"pm10_atm_ug_m3", "PM10 (atmospheric)", "µg/m³"},
	N03:          {"n0_3_cm3", "> 0.3 µm", "1/cm³"},
	N05:          {"n0_5_cm3", "> 0.5 µm", "1/cm³"},
	N10:          {"n1_0_cm3", "> 1 µm", "1/cm³"},
	N25:          {"n2_5_cm3", "> 2.5 µm", "1/cm³"},
	N50:          {"n5_cm3", "> 5 µm", "1/cm³"},
	N100:         {"n10_cm3", "> 10 µm", "1/cm³"},
	NPM05:        {"nPM0_5_cm3", "0.3–0.5 µm", "1/cm³"},
	NPM1:         {"nPM1_0_cm3", "0.3–1 µm", "1/cm³"},
	NPM25:        {"nPM2_5_cm3", "0.3–2.5 µm", "1/cm³"},
	NPM4:         {"nPM4_0_cm3", "0.3–4 µm", "1/cm³"},
	NPM10:        {"nPM10_cm3", "0.3–10 µm", "1/cm³"},
	TypicalSize:  {"typical_size_um", "typical size", "µm"},
	Humidity:     {"rh_percent", "relative humidity", "%"},
	Temperature:  {"temperature_c", "temperature", "°C"},
	Formaldehyde: {"formaldehyde_mg_m3", "formaldehyde", "mg/m³"},
}

// Key is the channel's name in JSON, CSV headers and the store, unit included.
func (c Channel) Key() string { return channels[c].key }

// Label is the channel's name for people, without the unit.
func (c Channel) Label() string { return channels[c].label }

// Unit is the channel's unit as printed.
func (c Channel) Unit() string { return channels[c].unit }

// String returns the key.
func (c Channel) String() string {
	if c >= ChannelCount {
		return fmt.Sprintf("channel(%d)", uint8(c))
	}
	return channels[c].key
}

// IsMass reports whether the channel is a mass concentration of dust in µg/m³.
func (c Channel) IsMass() bool { return c <= PM10Atm }

// Metric is the channel's short name on the command line: the key without its unit.
func (c Channel) Metric() string {
	key := channels[c].key
	for _, unit := range []string{"_ug_m3", "_mg_m3", "_cm3", "_um", "_percent", "_c"} {
		if name, ok := strings.CutSuffix(key, unit); ok {
			return name
		}
	}
	return key
}

// ChannelByKey finds a channel by its key.
func ChannelByKey(key string) (Channel, bool) {
	for c := range ChannelCount {
		if channels[c].key == key {
			return c, true
		}
	}
	return 0, false
}

// ParseMetric finds a channel by metric or key. The error lists the metrics.
func ParseMetric(s string) (Channel, error) {
	var known []string
	for c := range ChannelCount {
		if s == c.Metric() || s == c.Key() {
			return c, nil
		}
		known = append(known, c.Metric())
	}
	return 0, fmt.Errorf("unknown metric %q: use one of %s", s, strings.Join(known, ", "))
}
