// Package sensor reads low-cost particle sensors: it turns the bytes of their
// serial protocols into frames whose length and checksum are proven, and frames
// into the channels of package dust.
//
// A [Decoder] is pure: bytes in, frames and counted errors out. A [Reader] puts
// one behind any io.Reader, a [Device] behind a serial port with the
// conversation the sensor needs. One file per protocol holds its layout, its
// constants with the section of the data sheet they come from, and the errata.
//
// Every protocol follows the same rules:
//
//   - When a candidate frame fails, one byte is dropped and what is buffered is
//     scanned again, so a good frame behind a broken one is never lost.
//   - An impossible length fails at once; nothing waits for bytes it promises.
//   - The result does not depend on the pieces in which the bytes arrive.
//   - Values are reported as sent. What is beyond the sensor's range, missing or
//     contradictory is flagged, not corrected.
//
// To add a model: a constant in model.go, a file with its protocol (starts, probe,
// values, fields), its encoder, commands and Spec, an entry in the catalogue, and a
// file of wire examples in testdata/vectors with the source of each. The tests run over
// all models and fail until every part is there. Three things are one line each, where
// they apply: a Fuzz function, the request behind a host_to_device example (requests in
// vectors_test.go), and, if it sends 42 4D 00 1C frames, what tells it apart
// (identify.go).
//
// A Device uses no goroutine: it reads the port in short steps, between which it
// looks at the context and the clock.
//
// Data sheets the comments refer to by short name:
//
//   - PMS5003 manual: "PMS5003 series data manual" V2.3.
//   - SDS011 specification: "Laser PM2.5 Sensor specification, SDS011" V1.3;
//     SDS protocol paper: "Laser Dust Sensor Control Protocol" V1.3.
//   - SPS30 data sheet: version 1.0 D1, March 2020.
//
// "From memory" marks a fact for which no published page was at hand: confirm it
// on hardware before relying on it.
package sensor
