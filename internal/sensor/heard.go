package sensor

import (
	"bytes"
	"context"
	"fmt"

	"dustlog/internal/dust"
)

// recentBytes is how much of the line is kept to find out who speaks on it.
const recentBytes = 4 << 10

// keep remembers the newest bytes.
func (d *Device) keep(p []byte) {
	if cap(d.recent) == 0 {
		d.recent = make([]byte, 0, 2*recentBytes)
	}
	if len(d.recent)+len(p) > cap(d.recent) {
		n := copy(d.recent, d.recent[len(d.recent)-recentBytes:])
		d.recent = d.recent[:n]
	}
	d.recent = append(d.recent, p...)
}

// Recent returns the newest bytes of the line, at most 4 KiB. It is for the goroutine
// that reads.
func (d *Device) Recent() []byte { return bytes.Clone(d.recent[max(0, len(d.recent)-recentBytes):]) }

// IDs returns the specimens heard since it was last asked, each when it was heard first
// or again after another: an SDS011's device id, learnt from its frames, or an SPS30's
// serial number once AskID has asked for it. It is for the goroutine that reads.
func (d *Device) IDs() []string {
	ids := d.ids
	d.ids = nil
	return ids
}

// learnSDS takes the device id of a frame of the SDS family, bytes 6 and 7.
func (d *Device) learnSDS(raw []byte) {
	if id := [2]byte{raw[6], raw[7]}; !d.sdsKnown || id != d.sdsID {
		d.sdsID, d.sdsKnown = id, true
		d.ids = append(d.ids, fmt.Sprintf("%02X%02X", id[0], id[1]))
	}
}

// AskID asks an SPS30 for its serial number. Other models are not asked.
func (d *Device) AskID(ctx context.Context) error {
	if d.model != SPS30 {
		return nil
	}
	return d.sps30(ctx, "serial_number", func(a *shdlc) { d.ids = append(d.ids, a.text()) })
}

// text is the answer's text, which ends with a zero.
func (d *shdlc) text() string {
	text, _, _ := bytes.Cut(d.data(), []byte{0})
	return string(text)
}

// silentError says what was seen on the line and what to try.
func (d *Device) silentError() error {
	c, seen := d.Counts(), "no bytes"
	advice := "check that the sensor has 5 V, that its TX goes to the adapter's RX and RX to TX, and that it is not asleep"
	came, frames := d.bytes-d.since.bytes, c.Frames-d.since.frames // since the last reading
	switch {
	case d.asker != nil && d.asker.echoed:
		seen = fmt.Sprintf("%d bytes, among them its own request", d.bytes)
		advice = "TX and RX touch each other, or the adapter echoes"
	case frames > 0:
		seen = fmt.Sprintf("%d bytes, %d frames in all", came, frames)
		advice = "the sensor answers without measuring: give it power anew"
	case d.delivered > 0 && came > 0:
		seen = fmt.Sprintf("%d bytes but no frame", came)
		advice = "the line is disturbed, or another sensor was plugged in"
	case d.delivered > 0:
		advice = "check the cable and the sensor's 5 V; a sensor that has hung needs its power off and on"
	case d.bytes > 0:
		seen = fmt.Sprintf("%d bytes but no frame (%d checksum errors, %d others)", d.bytes, c.ChecksumErrors, c.OtherErrors)
		advice = "the model may be another one, or the line may need other settings: 9600 8N1, 9600 8E1 and 115200 8N1 are in use"
	case d.model == SDS011:
		advice += "; with a working period set it is silent for up to half an hour, in query mode until asked"
	}
	if d.delivered > 0 {
		return fmt.Errorf("%s on %s at %s: %w: nothing for %s after %d readings: %s came: %s",
			d.model, d.path, d.spec.Line(), dust.ErrSilent, d.silence, d.delivered, seen, advice)
	}
	return fmt.Errorf("%s on %s at %s: %w with measurements in %s: %s came: %s",
		d.model, d.path, d.spec.Line(), dust.ErrSilent, d.silence, seen, advice)
}
