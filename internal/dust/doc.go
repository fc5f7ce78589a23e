// Package dust is the domain of dustlog: what a sensor reading is, what was
// being done while it was taken, and in which state the dust collection was.
//
// It knows no serial port, file, database or clock. Three rules hold in every
// type here:
//
//   - A missing value is missing. It is never a zero, a NaN or a repeat of the
//     value before it.
//   - A gap stays a gap. A reading speaks from its time until the next one, but
//     for no longer than the series' hold time; after that nothing is known.
//   - Time is UTC with millisecond resolution, stamped once, on arrival.
package dust
