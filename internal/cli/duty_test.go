package cli

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/capture"
	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// gathered is a sink that keeps the readings.
type gathered struct {
	kept
	readings []dust.Reading
}

func (g *gathered) Append(_ context.Context, batch []dust.Reading) (int, error) {
	g.readings = append(g.readings, batch...)
	return len(batch), nil
}

// A sensor is on for 0.4 of every 0.9 s: it is put to sleep and woken, what it says after
// each start is warm-up, it is awake in the end, and the capture gives the same.
func TestDutyCycle(t *testing.T) {
	for _, m := range []sensor.Model{sensor.PMS5003, sensor.SDS011, sensor.SPS30} {
		t.Run(string(m), func(t *testing.T) {
			t.Parallel()
			pty, err := sensortest.NewPTY(m)
			require.NoError(t, err)
			defer pty.Close()
			l, err := newLine(config.Config{}, config.Sensor{Name: "bench", Model: string(m), Port: pty.Path(), Position: "room", Duty: "60s/5m"})
			require.NoError(t, err)
			require.Equal(t, time.Minute, l.duty.on)
			l.duty.on, l.duty.every = 400*time.Millisecond, 900*time.Millisecond
			dir := t.TempDir()
			l.capture, err = capture.Create(dir, l.sensor, 0, time.Now())
			require.NoError(t, err)

			ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second) // an SPS30 gives one reading a second
			defer cancel()
			stop := make(chan struct{})
			go func() {
				defer close(stop)
				for i := 0; ctx.Err() == nil; i++ {
					_ = pty.Send(sensortest.Air(float64(20 + i%9)))
					time.Sleep(20 * time.Millisecond) // a sensor's own pace
				}
			}()
			live := &gathered{}
			_, err = collect.Run(ctx, []collect.Input{{Sensor: l.sensor, Clock: l.clock, Open: l.open}}, live, collect.Options{})
			require.NoError(t, err)
			<-stop
			require.NoError(t, l.close())
			require.NotEmpty(t, live.readings)
			for _, r := range live.readings {
				require.True(t, r.Flags.Has(dust.WarmUp), "woken less than 30 s ago")
			}
			require.Equal(t, []string{"duty"}, live.kinds())
			requireSlept(t, m, pty)

			recordings, err := capture.Folder(dir)
			require.NoError(t, err)
			again := &gathered{}
			_, err = playRecording(t.Context(), again, recordings[0])
			require.NoError(t, err)
			require.Equal(t, live.readings, again.readings)
			require.Equal(t, live.events, again.events)
		})
	}
}

// requireSlept looks for sleep commands among the requests and for a wake command after
// the last of them.
func requireSlept(t *testing.T, m sensor.Model, pty *sensortest.PTY) {
	t.Helper()
	code := func(name string) byte { // where the two commands differ
		b, err := sensor.Command(m, name)
		require.NoError(t, err)
		return b[map[sensor.Model]int{sensor.PMS5003: 4, sensor.SDS011: 4, sensor.SPS30: 2}[m]]
	}
	slept, awake := 0, false
	for _, r := range pty.Requests() {
		switch {
		case m == sensor.PMS5003 && r[2] == 0xE4, m == sensor.SDS011 && r[2] == 6:
			awake = r[4] == code("wake")
			if !awake {
				slept++
			}
		case m == sensor.SPS30 && r[1] == code("sleep"):
			slept, awake = slept+1, false
		case m == sensor.SPS30 && len(r) > 2 && r[1] == 0x7D: // 11 is stuffed
			awake = true
		}
	}
	require.GreaterOrEqual(t, slept, 2)
	require.True(t, awake, "left awake")
}

func TestDutyNeedsASensorThatCan(t *testing.T) {
	for name, test := range map[string]struct {
		s    config.Sensor
		says string
	}{
		"cannot sleep": {config.Sensor{Model: "sngcja5", Duty: "60s/5m"}, "cannot be put to sleep"},
		"too short":    {config.Sensor{Model: "pms5003", Duty: "20s/5m"}, "warms up for 30s: leave it on for at least 40s"},
	} {
		t.Run(name, func(t *testing.T) {
			test.s.Name, test.s.Port, test.s.Position = "a", "p", "room"
			_, err := newLine(config.Config{}, test.s)
			require.ErrorIs(t, err, config.ErrFile)
			require.ErrorContains(t, err, test.says)
		})
	}
}
