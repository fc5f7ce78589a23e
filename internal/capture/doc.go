// Package capture keeps the raw bytes of a sensor's line with the moments they
// arrived, and plays them again: through the same decoder, with the same clock,
// to the same readings.
//
// A capture is a folder of text files, one per sensor and run, named
// SENSOR-STARTED.jsonl. Each line is one JSON object (RFC 8259), so any tool
// reads it and a torn last line loses only itself:
//
//	{"capture":1,"sensor":"bench","model":"sps30","position":"breathing_zone","warm_up_ns":30000000000}
//	{"wall":"2026-03-02T08:00:00.000000001Z","elapsed_ns":0,"what":"open"}
//	{"wall":"…","elapsed_ns":1003000000,"what":"bytes","hex":"424d001c…"}
//	{"wall":"…","elapsed_ns":1203000000,"what":"pause"}
//	{"wall":"…","elapsed_ns":9903000000,"what":"lost","text":"…","silent":true}
//
//	{"wall":"…","elapsed_ns":9903000000,"what":"event","kind":"swapped","text":"…"}
//
// An event is what the driver noticed and the bytes alone do not tell. It bears the
// moment of the line before it, or of the loss that follows it.
//
// Bytes that came while the driver put the sensor to sleep or woke it are marked
// "dropped": they were received, but made no readings.
//
// A line of bytes may carry "flags", one string for each reading that came of it,
// where the driver knew more than the frame told (a fan fault from the status
// register, the warm-up after a restart).
//
// wall is the computer's clock, elapsed_ns a clock that only ever advances: both
// are kept, so that a change of the wall clock is found again when played. A
// pause is where the line fell silent for longer than frames allow, so that an
// unfinished frame was given up.
package capture
