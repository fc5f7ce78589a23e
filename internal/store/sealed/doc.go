// Package sealed keeps the readings of one sensor and one finished UTC day in
// one Parquet file that is written once and never changed, only replaced whole.
//
// # Layout
//
// One row group, a row a reading, in time order. Columns:
//
//	time_ms   INT64    Unix milliseconds, UTC
//	flags     UINT_32  dust.Flags
//	<key>     one for each channel that has a value that day, named dust.Channel.Key
//
// A channel's column is DECIMAL(9,1), (9,2) or (9,3) if every value of the day
// is exactly so many tenths, hundredths or thousandths; INT32 if all are whole
// numbers; FLOAT if all are exact in 32 bits, as some sensors send them; DOUBLE
// otherwise. So any Parquet reader sees the value itself, and what is read back
// is what was written bit for bit. A column without a hole is required, else
// optional. Integers are DELTA_BINARY_PACKED, floating numbers
// BYTE_STREAM_SPLIT, all under zstd. Pages carry checksums.
//
// The footer's metadata name the sensor, the day, the layout, the first and
// last time, and the quantum of each channel ("scale.pm2_5_ug_m3" = "0.1").
//
// # Writing
//
// Prepare writes under a temporary name, syncs, reads everything back and
// compares it; Commit renames and syncs the folder. What a crash leaves behind
// is a temporary file, which Clean removes.
package sealed
