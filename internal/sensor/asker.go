package sensor

import (
	"bytes"
	"time"

	"dustlog/internal/dust"
)

const (
	// fastAnswer is how long an SPS30 may take: 20 ms by its data sheet, table 6,
	// and generously more for a slow USB adapter.
	fastAnswer = 100 * time.Millisecond
	// slowAnswer is the same for the 9600-baud sensors, whose sheets are silent.
	slowAnswer = time.Second
	// answerTries is how often in a row a request may stay without an answer
	// before measuring is started anew.
	answerTries = 3
	// statusEvery is how often a sensor that reports trouble is asked which.
	statusEvery = 10 * time.Second
)

// asker keeps the conversation with a sensor that must be asked: one request at a
// time, the next not before the answer or the time for it is over.
type asker struct {
	start, read, status []byte // start and status may be empty
	interval            time.Duration
	patience            time.Duration // how long an answer may take
	mustConfirm         bool          // start is repeated until it is answered

	started   bool
	restarted bool // started again after a stop that nobody asked for
	waiting   bool
	askedAt   time.Time
	next      time.Time // when to ask next
	missed    int       // requests in a row without an answer

	trouble   bool // last data said that the status register has news
	statusAt  time.Time
	statusWas dust.Flags
	known     bool // statusWas holds an answer

	sent   []byte // last request, to recognise an echo
	heard  []byte // what came right after it
	echoed bool
}

func newSPS30Asker(interval time.Duration) *asker {
	a := &asker{interval: interval, patience: fastAnswer, mustConfirm: true}
	a.start, _ = Command(SPS30, "start_float")
	a.read, _ = Command(SPS30, "read")
	a.status, _ = Command(SPS30, "status")
	return a
}

// due returns the request to send now, or nil.
func (a *asker) due(now time.Time) []byte {
	if a.waiting {
		if now.Sub(a.askedAt) < a.patience {
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
	if !a.started && len(a.start) > 0 {
		a.started = !a.mustConfirm
		a.next = now.Add(a.patience)
		return a.start
	}
	if a.trouble && len(a.status) > 0 && now.Sub(a.statusAt) >= statusEvery {
		a.statusAt = now
		return a.status
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
		if a.waiting && !f.data {
			a.next = now // passive mode is acknowledged: ask at once
		}
		a.waiting, a.missed = false, 0
		return
	}
	code := d.body[2] & 0x7F
	switch d.body[1] {
	case sps30Start:
		// "Not allowed now" means that it measures already.
		a.restarted = a.restarted && code == 0
		a.started = code == 0 || code == sps30Wrong
		a.next = now.Add(a.interval)
	case sps30Read:
		a.trouble = d.body[2]&0x80 != 0
		if code == sps30Wrong {
			a.started, a.restarted = false, true
		}
	case sps30Status:
		if a.known = code == 0; a.known {
			a.statusWas = f.Flags
		}
	default:
		return // not what was asked
	}
	a.waiting, a.missed = false, 0
}

// refine replaces "fan or laser" by what the status register said.
func (a *asker) refine(flags dust.Flags) dust.Flags {
	if !a.trouble || !a.known {
		return flags
	}
	return flags&^(dust.FanFault|dust.LaserFault) | a.statusWas
}

// noteEcho compares what comes right after a request with the request.
func (a *asker) noteEcho(p []byte) {
	if len(a.heard) >= len(a.sent) {
		return
	}
	a.heard = append(a.heard, p[:min(len(p), len(a.sent)-len(a.heard))]...)
	a.echoed = a.echoed || bytes.Equal(a.heard, a.sent)
}
