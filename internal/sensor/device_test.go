package sensor_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// example is a plausible reading in every channel.
func example() dust.Values {
	var v dust.Values
	for c := range dust.ChannelCount {
		v.Set(c, float64(dust.ChannelCount-c)) // falls with size, as counts must
	}
	return v
}

// plugged returns a fake sensor and a device that has its port open.
func plugged(t *testing.T, m sensor.Model) (*sensortest.PTY, *sensor.Device) {
	t.Helper()
	fake, err := sensortest.NewPTY(m)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, fake.Close()) })
	d, err := sensor.Open(fake.Path(), m)
	require.NoError(t, err)
	t.Cleanup(func() { _ = d.Close() })
	d.SetInterval(20 * time.Millisecond)
	return fake, d
}

func TestEveryModelReadsFromAPort(t *testing.T) {
	for _, m := range sensor.Models() {
		if m.Spec().RawOnly {
			continue
		}
		t.Run(string(m), func(t *testing.T) {
			fake, d := plugged(t, m)
			require.NoError(t, fake.Send(example()))
			v, flags, err := d.Read(context.Background())
			require.NoError(t, err)
			require.Zero(t, flags)
			for c, got := range v.All() {
				all := example()
				want, _ := all.Get(c)
				require.InDelta(t, want, got, 0.05, c)
			}
			require.NotZero(t, v.Len())
		})
	}
}
