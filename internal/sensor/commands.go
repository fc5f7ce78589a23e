package sensor

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// errNoCommand is returned when a model cannot do what was asked.
var errNoCommand = errors.New("the sensor has no such command")

// exchange sends a request and waits for the frame that answers it, three times.
// Measurements that come meanwhile are kept for Read.
func (d *Device) exchange(ctx context.Context, what string, request []byte, answers func(*Frame) bool) error {
	patience := slowAnswer
	if d.spec.Polled {
		patience = fastAnswer
	}
	d.want, d.got = answers, false
	defer func() { d.want = nil }()
	for range answerTries {
		if err := d.send(request); err != nil {
			return err
		}
		for sent := d.now(); d.now().Sub(sent) < patience; {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := d.receive(); err != nil {
				return err
			}
			if d.got {
				return nil
			}
		}
	}
	return fmt.Errorf("%s on %s: %s: no answer in %d tries: %w", d.model, d.path, what, answerTries, dust.ErrSilent)
}

// named sends one of the model's commands and waits for its answer.
func (d *Device) named(ctx context.Context, name string, answers func(*Frame) bool) error {
	request, err := Command(d.model, name)
	if err != nil {
		return fmt.Errorf("%s: %w: %w", d.model, errNoCommand, err)
	}
	return d.exchange(ctx, name, request, answers)
}

// Sleep turns fan and laser off, to save the laser's life outside working hours.
// Read gives nothing until Wake. Models that cannot sleep return an error.
func (d *Device) Sleep(ctx context.Context) error {
	if d.model == SPS30 {
		return d.sps30Sleep(ctx)
	}
	return d.power(ctx, "sleep")
}

// Wake turns fan and laser on again. Values are flagged as warm-up for the time
// the model's data sheet gives.
func (d *Device) Wake(ctx context.Context) error {
	wake := d.power
	if d.model == SPS30 {
		wake = d.sps30Wake
	}
	if err := wake(ctx, "wake"); err != nil {
		return err
	}
	d.warm = d.now().Add(d.spec.WarmUp)
	if d.asker != nil {
		d.asker.started = false // it forgot that it was to be asked
	}
	return nil
}

// Pending reports whether Read has something to return at once.
func (d *Device) Pending() bool { return len(d.ready) > 0 }

// Discard forgets the readings that came but were not read yet, such as those that
// came while a command waited for its answer.
func (d *Device) Discard() { d.ready = d.ready[:0] }

// power sends "sleep" or "wake" to the models that are not the SPS30. The
// acknowledgement of the PMS family is known from memory only, so its absence is
// no error there.
func (d *Device) power(ctx context.Context, name string) error {
	err := d.named(ctx, name, func(f *Frame) bool {
		switch f.Kind {
		case KindAck, "dormant_reply":
			return true
		case KindData:
			return name == "wake"
		case "sleep_work":
			return (f.raw[4] == 1) == (name == "wake")
		}
		return false
	})
	if _, isPMS := d.dec.proto.(*pms); isPMS && errors.Is(err, dust.ErrSilent) {
		return nil
	}
	return err
}

// Poll makes the sensor speak only when asked, every interval, for as long as the
// device is open; a PMS5003 that hangs after hours of talking by itself may not
// hang then. An SDS011 keeps its reporting mode over power loss, so the mode is
// not touched: it is only asked, at least 3 s apart as its protocol paper demands.
func (d *Device) Poll(interval time.Duration) error {
	read, err := Command(d.model, "read")
	if err != nil {
		return fmt.Errorf("%s: %w: %w", d.model, errNoCommand, err)
	}
	if d.asker != nil {
		d.asker.interval = interval
		return nil
	}
	if d.model == SDS011 {
		interval = max(interval, 3*time.Second)
	}
	a := &asker{read: read, interval: interval, patience: slowAnswer}
	if start, err := Command(d.model, "passive"); err == nil {
		a.start = start
	}
	d.asker = a
	return nil
}

// Info is what an SPS30 says about itself.
type Info struct {
	ProductType string
	Serial      string
	Firmware    string
	Hardware    int
}

// sps30 sends a command to an SPS30 and hands its answer to use. It returns an
// error if the sensor refuses, or is another model.
func (d *Device) sps30(ctx context.Context, name string, use func(a *shdlc)) error {
	if d.model != SPS30 {
		return fmt.Errorf("%s: %s: %w", d.model, name, errNoCommand)
	}
	request, err := Command(SPS30, name)
	if err != nil {
		return err
	}
	var plain shdlc
	plain.unstuff(request[1 : len(request)-1])
	cmd, code := plain.body[1], byte(0)
	err = d.exchange(ctx, name, request, func(f *Frame) bool {
		a, ok := f.proto.(*shdlc)
		if !ok || a.body[1] != cmd {
			return false
		}
		if code = a.body[2] & 0x7F; code == 0 && use != nil {
			use(a)
		}
		return true
	})
	if err != nil {
		return err
	}
	if code != 0 {
		return &RefusedError{Command: name, Code: code}
	}
	return nil
}

// RefusedError is an SPS30's answer that it will not do what was asked.
type RefusedError struct {
	Command string
	Code    byte // SPS30 data sheet, table 4
}

// Error implements error.
func (e *RefusedError) Error() string {
	reason := map[byte]string{
		1: "wrong data length", 2: "unknown command: its firmware may be too old", 3: "no access right",
		4: "parameter out of range", 0x28: "internal error: give it power anew", sps30Wrong: "not allowed in its present state",
	}[e.Code]
	if reason == "" {
		reason = "reason unknown"
	}
	return fmt.Sprintf("sps30 refuses %s: %s (code %02X)", e.Command, reason, e.Code)
}

// Info asks an SPS30 who it is.
func (d *Device) Info(ctx context.Context) (Info, error) {
	var info Info
	text := func(to *string) func(*shdlc) { return func(a *shdlc) { *to = a.text() } }
	if err := d.sps30(ctx, "product_type", text(&info.ProductType)); err != nil {
		return Info{}, err
	}
	if err := d.sps30(ctx, "serial_number", text(&info.Serial)); err != nil {
		return Info{}, err
	}
	err := d.sps30(ctx, "version", func(a *shdlc) {
		if v := a.data(); len(v) == 7 {
			info.Firmware, info.Hardware = fmt.Sprintf("%d.%d", v[0], v[1]), int(v[3])
		}
	})
	if err != nil {
		return Info{}, err
	}
	return info, nil
}

// Status asks an SPS30 what its fan and laser say; firmware before 2.2 refuses.
func (d *Device) Status(ctx context.Context) (dust.Flags, error) {
	var flags dust.Flags
	err := d.sps30(ctx, "status", func(a *shdlc) {
		if len(a.data()) >= 4 {
			flags = sps30StatusFlags(be32(a.data()))
		}
	})
	return flags, err
}

// Clean blows an SPS30's fan clean: 10 s, during which its values are frozen. It
// must be measuring.
func (d *Device) Clean(ctx context.Context) error { return d.sps30(ctx, "clean", nil) }

// sps30Sleep stops measuring, then sleeps. Firmware before 2.0 cannot sleep; with
// fan and laser stopped that is no loss.
func (d *Device) sps30Sleep(ctx context.Context) error {
	var refused *RefusedError
	err := d.sps30(ctx, "stop", nil)
	if err != nil && !(errors.As(err, &refused) && refused.Code == sps30Wrong) { // not measuring
		return err
	}
	d.asker.started = false
	err = d.sps30(ctx, "sleep", nil)
	if errors.As(err, &refused) && refused.Code == 2 {
		return nil
	}
	return err
}

// sps30Wake: a byte FF opens the receiver for 100 ms, in which the command must
// follow (SPS30 data sheet, section 5.3.4). Read starts measuring again. Firmware
// before 2.0 does not know the command and needs none.
func (d *Device) sps30Wake(ctx context.Context, _ string) error {
	if _, err := d.port.Write([]byte{0xFF}); err != nil {
		return d.portError(err)
	}
	err := d.sps30(ctx, "wake", nil)
	var refused *RefusedError
	if errors.As(err, &refused) && (refused.Code == 2 || refused.Code == sps30Wrong) {
		return nil // it was not asleep
	}
	return err
}
