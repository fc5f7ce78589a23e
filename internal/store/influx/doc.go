// Package influx keeps readings on an InfluxDB server (1.8 with Flux enabled, or
// 2) and mirrors there what is needed to understand them.
//
// The local SQLite store is always the primary one. Package forward copies it
// through a Mirror; a Store reads back, of one shop among several.
//
// A reading is one point of the measurement dust_reading with its time in
// milliseconds, the tags sensor and shop, one float field per channel named by
// dust.Channel.Key, and the float field flags (the bits of dust.Flags as a
// number, always written). A missing value has no field. All numbers are floats
// because the server fixes a field's type with its first value. In names and
// texts, control characters and the characters % \ " $ stand as % and two
// hexadecimal digits. Sensors, tasks and setups are the measurements
// dust_sensor, dust_task and dust_setup; docs/influxdb.md lists their fields.
//
// The server lets a second point with the same tags and time overwrite the
// first. A Mirror relies on it: sending a reading again changes nothing. A
// Store's Append asks first what is there, so that a reading is kept as first
// written unless two programs write the same one at once. Readings are fetched
// an hour at a time, series a day at a time, so a reader may see some of what
// is added while it reads.
package influx
