// Package influx keeps readings, and nothing else, on an InfluxDB server (1.8
// with Flux enabled, or 2).
//
// It is a mirror for people who already run such a server, and thin in this
// version: the local SQLite store is the primary one and the only place for
// sensors, diary and setups.
//
// A reading is one point of the measurement dust_reading with its time in
// milliseconds, the tag sensor, one float field per channel named by
// dust.Channel.Key, and the float field flags (the bits of dust.Flags as a
// number, always written). A missing value has no field. All fields are floats
// because the server fixes a field's type with its first value. In a sensor's
// name, control characters and the characters % \ " $ stand as % and two
// hexadecimal digits.
//
// The server itself would let a second point with the same sensor and time
// overwrite the first. Append therefore asks first what is there, so a reading
// is kept as first written unless two programs write the same one at once. A
// batch is one request. Readings are fetched an hour at a time, so a reader may
// see some of what is added while it reads.
package influx
