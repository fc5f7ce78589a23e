// Package mqtt takes readings from a message broker, where a microcontroller
// publishes them, and publishes what was collected. MQTT 3.1.1 (OASIS standard,
// 29 October 2014); payloads are SenML JSON (RFC 8428).
//
// A subscribed topic looks like a serial port: each payload is a line, and package
// sensor decodes, checks and counts it like any other. What the broker kept from
// earlier is not taken, for readings are stamped on arrival.
package mqtt
