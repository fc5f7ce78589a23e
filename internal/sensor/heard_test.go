package sensor_test

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.bug.st/serial"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// floodPort never stops sending; each read takes some of the injected time.
type floodPort struct {
	clock *time.Time
	each  time.Duration
	fill  func([]byte) int
	reads int
}

func (p *floodPort) Read(b []byte) (int, error) {
	*p.clock = p.clock.Add(p.each)
	p.reads++
	return p.fill(b), nil
}

func (p *floodPort) Write(b []byte) (int, error) { return len(b), nil }
func (p *floodPort) Close() error                { return nil }

// Five minutes of garbage as fast as 115200 baud brings it: Read gives up after its ten
// seconds each time, and what is kept of the line stays small.
func TestFiveMinutesOfFlood(t *testing.T) {
	clock := time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)
	began := clock
	port := &floodPort{clock: &clock, each: 89 * time.Millisecond, fill: func(b []byte) int { // 1024 bytes at 11520 a second
		for i := range b {
			b[i] = 0x42
		}
		return len(b)
	}}
	d := sensor.NewDevice(sensor.PMS5003, port)
	d.SetClock(func() time.Time { return clock })
	for clock.Sub(began) < 5*time.Minute {
		_, _, err := d.Read(context.Background())
		require.ErrorIs(t, err, dust.ErrSilent)
		require.LessOrEqual(t, len(d.Recent()), 4096)
	}
	require.Len(t, d.Recent(), 4096)
	require.Less(t, port.reads, 3600)
}

// A flood of good frames is delivered frame by frame, none of them lost.
func TestFloodOfGoodFrames(t *testing.T) {
	one := frame(t, sensor.PMS5003, sensortest.Air(30))
	clock := time.Now()
	port := &floodPort{clock: &clock, each: time.Millisecond, fill: func(b []byte) int { return copy(b, bytes.Repeat(one, 32)) }}
	d := sensor.NewDevice(sensor.PMS5003, port)
	for range 10_000 {
		v, _, err := d.Read(context.Background())
		require.NoError(t, err)
		requireValue(t, v, dust.PM25, 30)
	}
	require.LessOrEqual(t, d.Counts().Frames, int64(10_000+32))
}

// Once readings came, silence is told from them on: frames that came before them do not
// make a sensor one that "answers without measuring".
func TestSilenceAfterReadings(t *testing.T) {
	fake, d := plugged(t, sensor.PMS5003)
	d.SetSilence(120 * time.Millisecond)
	for range 3 {
		require.NoError(t, fake.Send(example()))
		_, _, err := d.Read(context.Background())
		require.NoError(t, err)
	}
	_, _, err := d.Read(context.Background())
	require.ErrorIs(t, err, dust.ErrSilent)
	require.ErrorContains(t, err, "nothing for 120ms after 3 readings: no bytes came")
	require.NotContains(t, err.Error(), "without measuring")

	require.NoError(t, fake.SendRaw([]byte{0x42, 0x4D, 0, 4, 0xE1, 0, 1, 0x74})) // an acknowledgement
	_, _, err = d.Read(context.Background())
	require.ErrorContains(t, err, "8 bytes, 1 frames in all came: the sensor answers without measuring")
}

func TestRecentIsTheNewest(t *testing.T) {
	fake, d := plugged(t, sensor.SDS011)
	var all []byte
	for i := range 50 {
		b := frame(t, sensor.SDS011, sensortest.Air(float64(i)))
		all = append(all, b...)
		require.NoError(t, fake.SendRaw(b))
		_, _, err := d.Read(context.Background())
		require.NoError(t, err)
	}
	require.Equal(t, all, d.Recent())
}

// Device ids of two SDS011 and the serial number of an SPS30 (as the fake has it).
func TestSpecimens(t *testing.T) {
	fake, d := plugged(t, sensor.SDS011)
	require.NoError(t, d.AskID(context.Background()), "not asked")
	require.Empty(t, fake.Requests())
	// The protocol paper's example, device A160, and the same from device A001.
	a160 := []byte{0xAA, 0xC0, 0xD4, 0x04, 0x3A, 0x0A, 0xA1, 0x60, 0x1D, 0xAB}
	a001 := []byte{0xAA, 0xC0, 0xD4, 0x04, 0x3A, 0x0A, 0xA0, 0x01, 0xBD, 0xAB}
	require.NoError(t, fake.SendRaw(bytes.Join([][]byte{a160, a160, a001, a160}, nil)))
	for range 4 {
		_, _, err := d.Read(context.Background())
		require.NoError(t, err)
	}
	require.Equal(t, []string{"A160", "A001", "A160"}, d.IDs())
	require.Empty(t, d.IDs())

	_, d = plugged(t, sensor.SPS30)
	require.NoError(t, d.AskID(context.Background()))
	require.Equal(t, []string{"00000000000000000000"}, d.IDs())
}

// DTR and RTS are low from the start where a Spec wants it, and left alone where the
// port has no such lines.
func TestLinesLow(t *testing.T) {
	spec := sensor.SenMLLine.Spec()
	require.False(t, spec.LinesLow, "no model asks for it")
	var modes []serial.Mode
	open := func(_ string, m *serial.Mode) (serial.Port, error) {
		modes = append(modes, *m)
		if m.InitialStatusBits != nil && len(modes) > 1 {
			return nil, portError(serial.InvalidSerialPort)
		}
		return &fakePort{}, nil
	}
	spec.LinesLow = true
	_, err := sensor.OpenPortWith("p", spec, open)
	require.NoError(t, err)
	require.Equal(t, &serial.ModemOutputBits{}, modes[0].InitialStatusBits)
	_, err = sensor.OpenPortWith("p", spec, open) // now it refuses them
	require.NoError(t, err)
	require.Nil(t, modes[2].InitialStatusBits)

	spec.LinesLow = false
	_, err = sensor.OpenPortWith("p", spec, func(_ string, m *serial.Mode) (serial.Port, error) {
		require.Nil(t, m.InitialStatusBits)
		return nil, errors.New("no")
	})
	require.Error(t, err)
}
