// Package sqlite keeps readings, sensors, the diary, setups, events and line
// quality in one SQLite file, and the readings of finished days in sealed files
// beside it (package sealed). It is the primary store.
//
// Seal moves a day's readings: their file is written and proven first; then one
// transaction gives it its name, lists it and deletes the rows. The list decides
// what counts, and of a reading that is in both, the sealed one. So every step
// can be cut short and repeated, and readers see each reading once.
//
// A returned Append survives a killed process, and a power cut if the disk
// honours flushes: the file is in WAL mode with synchronous=FULL. One
// connection writes; others read beside it, so a report can run while readings
// are collected. Any SQLite tool can open the file; its tables are described in
// migrations/.
//
// Times are kept as whole milliseconds; anything finer is cut off. Numbers come
// back bit for bit, except that a negative zero comes back as zero.
package sqlite
