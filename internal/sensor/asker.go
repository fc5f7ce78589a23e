package sensor

import (
	"bytes"
	"time"
)

// asker keeps the conversation with a sensor that says nothing until asked: one
// request at a time, the next not before the answer or the time for it is over.
type asker struct {
	start, read []byte
	interval    time.Duration

	started bool
	waiting bool
	askedAt time.Time
	next    time.Time // when to ask next
	missed  int       // requests in a row without an answer

	sent   []byte // last request, to recognise an echo
	heard  []byte // what came right after it
	echoed bool
}

func newAsker(m Model, interval time.Duration) *asker {
	a := &asker{interval: interval}
	a.start, _ = Command(m, "start_float")
	a.read, _ = Command(m, "read")
	return a
}

// due returns the request to send now, or nil.
func (a *asker) due(now time.Time) []byte {
	if a.waiting {
		if now.Sub(a.askedAt) < answerTime {
			return nil
		}
		a.waiting = false
		if a.missed++; a.missed >= answerTries {
			a.started, a.missed = false, 0 // it may have lost power meanwhile
		}
	}
	if now.Before(a.next) {
		return nil
	}
	if !a.started {
		return a.start
	}
	// Keep the pace, but do not catch up what was missed.
	a.next = a.next.Add(a.interval)
	if a.next.Before(now) {
		a.next = now.Add(a.interval)
	}
	return a.read
}

// asked notes that a request went out.
func (a *asker) asked(request []byte, now time.Time) {
	a.waiting, a.askedAt = true, now
	a.sent, a.heard = request, a.heard[:0]
}

// answered takes any frame that came.
func (a *asker) answered(f *Frame, now time.Time) {
	d, ok := f.proto.(*shdlc)
	if !ok {
		return
	}
	cmd, code := d.body[1], d.body[2]&0x7F
	switch cmd {
	case sps30Start:
		// "Not allowed now" means that it measures already.
		a.started = code == 0 || code == sps30Wrong
		a.next = now.Add(a.interval)
	case sps30Read:
		if code == sps30Wrong {
			a.started = false
		}
	default:
		return // not what was asked
	}
	a.waiting, a.missed = false, 0
}

// ask sends the request that is due. What the line still holds belongs to an
// older one and is dropped first.
func (d *Device) ask() error {
	if d.asker == nil {
		return nil
	}
	now := d.now()
	request := d.asker.due(now)
	if request == nil {
		return nil
	}
	d.mu.Lock()
	d.dec.Flush(d.emit)
	d.mu.Unlock()
	if r, ok := d.port.(interface{ ResetInputBuffer() error }); ok {
		if err := r.ResetInputBuffer(); err != nil {
			return err
		}
	}
	if _, err := d.port.Write(request); err != nil {
		return err
	}
	d.asker.asked(request, now)
	return nil
}

// noteEcho compares what comes right after a request with the request.
func (d *Device) noteEcho(p []byte) {
	a := d.asker
	if a == nil || len(a.heard) >= len(a.sent) {
		return
	}
	a.heard = append(a.heard, p[:min(len(p), len(a.sent)-len(a.heard))]...)
	if len(a.sent) > 0 && bytes.Equal(a.heard, a.sent) {
		a.echoed = true
	}
}

func (d *Device) echoed() bool { return d.asker != nil && d.asker.echoed }
