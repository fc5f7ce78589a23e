package main

import (
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// models talk by themselves, so that they can be made to talk fast.
var models = []sensor.Model{"pms5003", "sds011", "sngcja5", "pms7003"}

// talker is a sensor that numbers its readings, behind a name that stays when it is
// plugged in again.
type talker struct {
	name string
	m    sensor.Model
	link string

	mu     sync.Mutex
	pty    *sensortest.PTY // nil: unplugged
	sent   []time.Time     // when reading i went out
	unsent int             // the line was full, or nothing was plugged in
}

func newTalker(dir string, m sensor.Model) (*talker, error) {
	t := &talker{name: string(m), m: m, link: filepath.Join(dir, "tty-"+string(m))}
	return t, t.plug()
}

// plug puts the sensor in, and its name points at it.
func (t *talker) plug() error {
	pty, err := sensortest.NewPTY(t.m)
	if err != nil {
		return err
	}
	if err := os.Remove(t.link); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Symlink(pty.Path(), t.link); err != nil {
		return err
	}
	t.mu.Lock()
	t.pty = pty
	t.mu.Unlock()
	return nil
}

func (t *talker) unplug() {
	t.mu.Lock()
	pty := t.pty
	t.pty = nil
	t.mu.Unlock()
	if pty != nil {
		_ = pty.Unplug()
		_ = os.Remove(t.link)
	}
}

// garbage sends bytes that are no frames.
func (t *talker) garbage(r *rand.Rand, n int) {
	junk := make([]byte, n)
	for i := range junk {
		junk[i] = byte(r.Uint32())
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.pty != nil {
		_ = t.pty.SendRaw(junk)
	}
}

// talk sends a reading every so often until ctx ends.
func (t *talker) talk(ctx context.Context, every time.Duration) {
	ticker := time.NewTicker(every)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			t.say()
		}
	}
}

func (t *talker) say() {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.pty == nil {
		t.unsent++
		return
	}
	v := sensortest.Air(20)
	number(&v, len(t.sent))
	if err := t.pty.Send(v); err != nil {
		t.unsent++
		return
	}
	t.sent = append(t.sent, time.Now())
}

// base is what PM2.5 counts up to before PM10 counts one on; both are whole µg/m³,
// which every model can say.
const base = 900

// number writes a reading's number into what every sensor measures.
func number(v *dust.Values, n int) {
	v.Set(dust.PM25, float64(n%base+1))
	v.Set(dust.PM10, float64(n/base+1))
}

// numberOf reads it again; ok is false for what no talker has sent.
func numberOf(v dust.Values) (n int, ok bool) {
	low, ok1 := v.Get(dust.PM25)
	high, ok2 := v.Get(dust.PM10)
	if !ok1 || !ok2 || low < 1 || low > base || high < 1 || low != float64(int(low)) || high != float64(int(high)) {
		return 0, false
	}
	return (int(high)-1)*base + int(low) - 1, true
}
