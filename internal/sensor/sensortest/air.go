package sensortest

import "dustlog/internal/dust"

// Air returns a plausible reading of every channel for air with the given PM2.5
// in µg/m³. The ratios between channels are invented, roughly those of fine wood
// dust as a small optical sensor shows it; nothing may be concluded from them.
func Air(pm25 float64) dust.Values {
	var v dust.Values
	for _, x := range []struct {
		c     dust.Channel
		ratio float64
	}{
		{dust.PM1, 0.6}, {dust.PM25, 1}, {dust.PM4, 1.2}, {dust.PM10, 1.4},
		{dust.PM1Atm, 0.6}, {dust.PM25Atm, 1}, {dust.PM10Atm, 1.4},
		{dust.N03, 2.0}, {dust.N05, 1.0}, {dust.N10, 0.4}, {dust.N25, 0.05}, {dust.N50, 0.01}, {dust.N100, 0.002},
		{dust.NPM05, 5}, {dust.NPM1, 6}, {dust.NPM25, 6.4}, {dust.NPM4, 6.5}, {dust.NPM10, 6.6},
	} {
		v.Set(x.c, pm25*x.ratio)
	}
	v.Set(dust.TypicalSize, 0.6)
	v.Set(dust.Humidity, 45)
	v.Set(dust.Temperature, 21)
	v.Set(dust.Formaldehyde, 0.02)
	return v
}
