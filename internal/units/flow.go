package units

// Flow is an amount of air in time, in m³/s.
type Flow float64

var flows = quantity{
	what: "flow", examples: `"850 m3/h", "500 cfm" or "0.25 m3/s"`, least: 0, above: false,
	units: []unit{
		{names: "m3/s", si: 1},
		{names: "m3/h", si: perHour},
		{names: "l/s", si: 1e-3},
		{names: "cfm ft3/min", si: m3sPerCFM},
	},
}

// ParseFlow reads as in "850 m3/h" or "1,000 cfm". Errors wrap ErrUnit.
func ParseFlow(s string) (Flow, error) {
	x, err := flows.parse(s)
	return Flow(x), err
}

// UnmarshalText is ParseFlow, for configuration files.
func (x *Flow) UnmarshalText(text []byte) (err error) {
	*x, err = ParseFlow(string(text))
	return err
}

// M3H is the flow in m³/h, CFM in cubic feet per minute.
func (x Flow) M3H() float64 { return float64(x) / perHour }
func (x Flow) CFM() float64 { return float64(x) / m3sPerCFM }

// CFM is a flow of so many cubic feet per minute, M3H of so many m³/h.
func CFM(x float64) Flow { return Flow(x * m3sPerCFM) }
func M3H(x float64) Flow { return Flow(x * perHour) }

// SI, US and String print it, as in "850 m³/h (500 cfm)".
func (x Flow) SI() string     { return figures(x.M3H()) + " m³/h" }
func (x Flow) US() string     { return figures(x.CFM()) + " cfm" }
func (x Flow) String() string { return both(x.SI(), x.US()) }

// MarshalJSON gives {"m3_h": …, "cfm": …}.
func (x Flow) MarshalJSON() ([]byte, error) { return pair("m3_h", x.M3H(), "cfm", x.CFM()) }
