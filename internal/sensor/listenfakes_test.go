package sensor_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// speak lets a fake send until stopped.
func speak(t *testing.T, pty *sensortest.PTY) (stop func()) {
	t.Helper()
	end, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for i := 0; ; i++ {
			select {
			case <-end:
				return
			case <-time.After(10 * time.Millisecond):
				_ = pty.Send(sensortest.Air(float64(20 + i%9)))
			}
		}
	}()
	return func() { close(end); <-done }
}

// passive makes a fake silent until asked, with a value ready to be asked for. The
// SDS011 is left to answer the question for its mode.
func passive(pty *sensortest.PTY, m sensor.Model) error {
	if request, err := sensor.Command(m, "passive"); err == nil {
		pty.Hear(request)
	} else if m == sensor.SDS011 {
		return nil // has not measured yet
	}
	return pty.Send(sensortest.Air(30))
}

// requireHarmless knows the few requests that may be sent to an unknown sensor.
func requireHarmless(t *testing.T, m sensor.Model, request []byte) {
	t.Helper()
	for _, allowed := range []struct {
		m    sensor.Model
		name string
	}{{sensor.SPS30, "product_type"}, {sensor.HPMA115S0, "read"}, {sensor.SDS011, "mode"}, {sensor.PMS5003, "read"}} {
		b, err := sensor.Command(allowed.m, allowed.name)
		require.NoError(t, err)
		if bytes.Contains(b, request) { // a fake keeps an SHDLC request without its flags
			return
		}
	}
	t.Errorf("%s was sent %X", m, request)
}
