package group

// Value is one shift.
type Value struct {
	Label string  // its date, or how else the reader knows it
	MgM3  float64 // time-weighted average, mg/m³
	Below bool    // not detected: the average lies somewhere below MgM3
}
