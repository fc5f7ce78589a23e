// Package collect runs the sensors: it reads each one in its own goroutine,
// stamps a reading once on arrival, flags what is wrong with it, and hands
// batches to the store.
//
// Trouble with one sensor never delays another. A line that goes away or falls
// silent is recorded as an event and opened again after 1, 2, 5 and then every
// 10 seconds. When the context ends, what was read is written before Run
// returns.
package collect
