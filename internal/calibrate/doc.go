// Package calibrate works out what calibrations of optical dust sensors give:
// their zero in filtered air, how two of them agree side by side, and the factor
// that turns a reading into the mass a filter would have caught.
//
// It sees no clock, file, store or sensor, and never touches a reading: what it
// corrects is a derived value beside the reading.
//
// # Symbols
//
//	C_s   mean of the sensor over a filter's time, less its zero, µg/m³ or mg/m³
//	C_f   concentration from the filter, mg/m³
//	W1 W2 filter before and after, mg; B1 B2 the same of a field blank
//	V     air through the filter, L
//	f     factor C_f/C_s; n pairs of filter and sensor
//	a_w   relative humidity / 100; κ how strongly the dust takes up water
//
// # What is worked out
//
//	zero check     mean, sd, floor = mean + 3 sd                     zero.go
//	two sensors    Deming line and reduced major axis                line.go, collocate.go
//	drift          ln of the ratio of two gains, with its df         drift.go
//	filter         C_f = [(W2−W1) − mean(B2−B1)]·10³/V               filter.go
//	factor         ΣC_f/ΣC_s with 95 % for one new shift             factor.go
//	humidity       C/[1 + (κ/1.65)/(1/a_w − 1)]                      humidity.go
//
// Ordinary least squares is not offered for one sensor on another: both have
// errors, and its slope is then too small.
package calibrate
