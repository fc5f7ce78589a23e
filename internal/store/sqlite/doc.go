// Package sqlite keeps readings, sensors, the diary, setups, events and line
// quality in one SQLite file, and the readings of finished days in sealed files
// beside it (package sealed). It is the primary store.
//
// Seal moves a day's readings. The file of each sensor is written and proven;
// then one transaction gives it its name and lists it. From that moment on the
// sealed copy counts and the rows are superseded: whoever reads sees a reading
// that is in both once, as sealed. The rows are then deleted in small slices, so
// that appends hardly wait. A row that came late is one whose time the file does
// not have; it stays, and joins the file with the next Seal. So every step can
// be cut short and repeated.
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
