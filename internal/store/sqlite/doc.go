// Package sqlite keeps readings, sensors, the diary, setups, events and line
// quality in one SQLite file. It is the primary store.
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
