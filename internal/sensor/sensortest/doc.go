// Package sensortest stands in for sensors: [Playback] and [Record] for a
// conversation byte by byte, [PTY] for a sensor behind a real serial port.
//
// The fakes are written by hand and fail on leftovers: a test that forgets to
// read what the sensor said, or to send what it waits for, does not pass.
package sensortest
