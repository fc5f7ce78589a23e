// Package csvfile reads and writes readings as CSV.
//
// The file is UTF-8 text with one header row; cells are separated by commas and
// numbers have a decimal point. A byte order mark, Windows line ends, quotes,
// spaces around a cell and empty lines are understood. The columns, in any
// order:
//
//	time         RFC 3339 with its zone: 2025-03-10T08:00:00Z or …T09:00:00.250+01:00
//	elapsed_s    instead of time: seconds since Options.Start (also time_s)
//	sensor       the sensor's name; without it, or where it is empty, Options.Sensor
//	flags        names as in dust.Flags, separated by commas; may be missing
//	pm2_5_ug_m3  a value: any dust.Channel's key, which names the unit
//
// A value in another unit says so in its header: a mass ending in _mg_m3 is
// multiplied by 1000, a number ending in _per_0_1l is divided by 100 (0.1 L is
// 100 cm³). Headers that read otherwise can be mapped to one of these with
// Options.Columns, or left out with Options.Ignore; any other header is an
// error.
//
// An empty cell is a missing value. A value below zero is kept and its reading
// flagged dust.NegativeMass; only a temperature may be negative. Times are cut
// to whole milliseconds and must rise from row to row of each sensor.
//
// Reading is strict: the first bad row ends it with a *RowError that says which
// file, line and column, so that no guess gets into the store.
package csvfile
