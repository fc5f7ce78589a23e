package cli

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// kept is a sink in memory.
type kept struct {
	mu     sync.Mutex
	n      int
	events []dust.Event
}

func (k *kept) Append(_ context.Context, batch []dust.Reading) (int, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.n += len(batch)
	return len(batch), nil
}

func (k *kept) AddLineQuality(context.Context, ...dust.LineQuality) error { return nil }

func (k *kept) AddEvent(_ context.Context, e dust.Event) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.events = append(k.events, e)
	return nil
}

func (k *kept) kinds() (kinds []string) {
	k.mu.Lock()
	defer k.mu.Unlock()
	for _, e := range k.events {
		kinds = append(kinds, e.Kind)
	}
	return kinds
}

// An adapter that is unplugged and plugged in again gets another name: it is found by
// its USB identity, which was learnt when it was first opened by name. The sensor
// behind it was exchanged meanwhile, which its frames tell.
func TestReplugUnderAnotherName(t *testing.T) {
	before, err := sensortest.NewPTY(sensor.SDS011)
	require.NoError(t, err)
	defer before.Close()
	after, err := sensortest.NewPTY(sensor.SDS011)
	require.NoError(t, err)
	defer after.Close()

	l, err := newLine(config.Config{}, config.Sensor{Name: "bench", Model: "sds011", Port: before.Path(), Position: "room"})
	require.NoError(t, err)
	adapter := sensor.PortInfo{VID: "1A86", PID: "7523", USBPath: "1-1.2:1.0"} // has no serial number
	var mu sync.Mutex
	plugged := before.Path()
	l.list = func() ([]sensor.PortInfo, error) {
		mu.Lock()
		defer mu.Unlock()
		adapter.Path = plugged
		return []sensor.PortInfo{{Path: "/dev/ttyS0"}, adapter}, nil
	}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	sink := &kept{}
	done := make(chan error)
	heard := make(chan dust.Reading, 100)
	go func() {
		_, err := collect.Run(ctx, []collect.Input{{Sensor: l.sensor, Clock: l.clock, Open: l.open}}, sink,
			collect.Options{OnReading: func(r dust.Reading) { heard <- r }})
		done <- err
	}()
	require.NoError(t, before.Send(sensortest.Air(20)))
	<-heard
	mu.Lock()
	plugged = after.Path()
	mu.Unlock()
	require.NoError(t, before.Unplug())
	other := []byte{0xAA, 0xC0, 0xD4, 0x04, 0x3A, 0x0A, 0xA0, 0x01, 0xBD, 0xAB} // device A001
	for waiting := true; waiting; {
		_ = after.SendRaw(other) // until the port is open again
		select {
		case <-heard:
			waiting = false
		case <-ctx.Done():
			t.Fatal("not found again")
		case <-time.After(100 * time.Millisecond):
		}
	}
	cancel()
	require.NoError(t, <-done)
	require.Equal(t, []string{"lost", "moved", "swapped", "back"}, sink.kinds())
	require.Contains(t, sink.events[2].Text, "A160 was exchanged for A001")
	require.Contains(t, sink.events[1].Text, after.Path())
}

func TestAPortNamedByItsAdapter(t *testing.T) {
	pty, err := sensortest.NewPTY(sensor.PMS5003)
	require.NoError(t, err)
	defer pty.Close()
	l, err := newLine(config.Config{}, config.Sensor{Name: "a", Model: "pms5003", USBSerial: "77", Position: "room", Mode: config.Passive})
	require.NoError(t, err)
	l.list = func() ([]sensor.PortInfo, error) { return nil, nil }
	_, err = l.open(t.Context())
	require.ErrorIs(t, err, dust.ErrPortMissing)
	require.ErrorContains(t, err, "USB serial number 77")

	l.list = func() ([]sensor.PortInfo, error) { return []sensor.PortInfo{{Path: pty.Path(), Serial: "77"}}, nil }
	require.NoError(t, pty.Send(sensortest.Air(30)))
	source, err := l.open(t.Context())
	require.NoError(t, err)
	defer source.Close()
	_, _, err = source.Read(t.Context())
	require.NoError(t, err)
	passive, err := sensor.Command(sensor.PMS5003, "passive")
	require.NoError(t, err)
	require.Equal(t, passive, pty.Requests()[0])

	_, err = newLine(config.Config{}, config.Sensor{Name: "b", Model: "sngcja5", Port: "p", Position: "room", Mode: config.Passive})
	require.ErrorIs(t, err, config.ErrFile)
	require.ErrorContains(t, err, "cannot be asked")
}
