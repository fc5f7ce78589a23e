package sensor_test

import (
	"context"
	"io"
	"net"
	"os"
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

// plugged returns a fake sensor and a device that has its port open, through the
// real serial library.
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

// readAsync reads in the background. The channel gets the error.
func readAsync(ctx context.Context, d *sensor.Device) <-chan error {
	done := make(chan error, 1)
	go func() {
		_, _, err := d.Read(ctx)
		done <- err
	}()
	return done
}

func frame(t testing.TB, m sensor.Model, v dust.Values) []byte {
	t.Helper()
	b, err := sensor.AppendFrame(nil, m, v)
	require.NoError(t, err)
	return b
}

func TestEveryModelReadsFromAPort(t *testing.T) {
	for _, m := range encodable() {
		t.Run(string(m), func(t *testing.T) {
			fake, d := plugged(t, m)
			sent := example()
			require.NoError(t, fake.Send(sent))
			v, flags, err := d.Read(context.Background())
			require.NoError(t, err)
			require.Zero(t, flags)
			require.NotZero(t, v.Len())
			for c, got := range v.All() {
				want, _ := sent.Get(c)
				require.InDelta(t, want, got, 1e-9, c)
			}
			require.EqualValues(t, 1, d.Counts().DataFrames)
		})
	}
}

func TestRawOnlyModelIsNotOpened(t *testing.T) {
	_, err := sensor.Open("/dev/null", sensor.SDS198)
	require.ErrorContains(t, err, "scale")
	_, err = sensor.Open("/dev/null", "pms9999")
	require.ErrorIs(t, err, dust.ErrUnknownModel)
}

func TestSilentLine(t *testing.T) {
	for _, test := range []struct {
		name string
		m    sensor.Model
		send []byte
		says []string
	}{
		{"nothing", sensor.PMS5003, nil, []string{"no bytes came", "9600 8N1", "TX", "asleep"}},
		{"nothing from SDS011", sensor.SDS011, nil, []string{"half an hour"}},
		{"wrong speed", sensor.PMS5003, []byte{0x00, 0x80, 0xE0, 0xF8, 0xFE}, []string{"5 bytes but no frame", "115200"}},
		{"bad checksum", sensor.SDS011, []byte{0xAA, 0xC0, 1, 2, 3, 4, 5, 6, 0, 0xAB}, []string{"1 checksum error"}},
		{"only answers", sensor.PMS5003, []byte{0x42, 0x4D, 0, 4, 0xE1, 0, 1, 0x74}, []string{"1 frames in all"}},
		{"even parity", sensor.SNGCJA5, nil, []string{"9600 8E1"}},
	} {
		t.Run(test.name, func(t *testing.T) {
			fake, d := plugged(t, test.m)
			d.SetSilence(120 * time.Millisecond)
			require.NoError(t, fake.SendRaw(test.send))
			_, _, err := d.Read(context.Background())
			require.ErrorIs(t, err, dust.ErrSilent)
			for _, text := range test.says {
				require.ErrorContains(t, err, text)
			}
			require.ErrorContains(t, err, fake.Path())

			// Silence is not the end: the sensor may speak later.
			require.NoError(t, fake.Send(example()))
			_, _, err = d.Read(context.Background())
			require.NoError(t, err)
		})
	}
}

func TestFrameInTwoPieces(t *testing.T) {
	fake, d := plugged(t, sensor.PMS5003)
	stopped := time.Now()
	d.SetClock(func() time.Time { return stopped }) // no time passes between the pieces
	b := frame(t, sensor.PMS5003, example())
	require.NoError(t, fake.SendRaw(b[:13]))
	ctx, cancel := context.WithTimeout(context.Background(), 150*time.Millisecond)
	defer cancel()
	_, _, err := d.Read(ctx)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.NoError(t, fake.SendRaw(b[13:]))
	v, _, err := d.Read(context.Background())
	require.NoError(t, err)
	requireValue(t, v, dust.PM1, float64(dust.ChannelCount))
	require.Zero(t, d.Counts().BytesSkipped)
}

// A pause inside a frame ends it: the half is dropped, not joined to what follows.
func TestPauseEndsAFrame(t *testing.T) {
	fake, d := plugged(t, sensor.PMS5003)
	b := frame(t, sensor.PMS5003, example())
	require.NoError(t, fake.SendRaw(b[:13]))
	d.SetSilence(400 * time.Millisecond)
	_, _, err := d.Read(context.Background())
	require.ErrorIs(t, err, dust.ErrSilent)
	require.EqualValues(t, 1, d.Counts().ByKind[sensor.Truncated])
	require.EqualValues(t, 13, d.Counts().BytesSkipped)
	require.NoError(t, fake.SendRaw(b))
	_, _, err = d.Read(context.Background())
	require.NoError(t, err)
}

func TestNoiseAndBadChecksumBetweenFrames(t *testing.T) {
	fake, d := plugged(t, sensor.SDS011)
	good := frame(t, sensor.SDS011, example())
	bad := append([]byte(nil), good...)
	bad[2] ^= 1
	for _, b := range [][]byte{{0xFF, 0x00, 0xAA}, good, bad, good} {
		require.NoError(t, fake.SendRaw(b))
	}
	for range 2 {
		_, flags, err := d.Read(context.Background())
		require.NoError(t, err)
		require.Zero(t, flags)
	}
	c := d.Counts()
	require.EqualValues(t, 2, c.DataFrames)
	require.EqualValues(t, 1, c.ChecksumErrors)
	require.EqualValues(t, 3+10, c.BytesSkipped)
}

func TestBurst(t *testing.T) {
	fake, d := plugged(t, sensor.PMS5003)
	const n = 60 // 1920 bytes, less than a terminal holds
	var burst []byte
	for i := range n {
		v := example()
		v.Set(dust.PM25, float64(i))
		burst = append(burst, frame(t, sensor.PMS5003, v)...)
	}
	require.NoError(t, fake.SendRaw(burst))
	for i := range n {
		v, _, err := d.Read(context.Background())
		require.NoError(t, err)
		requireValue(t, v, dust.PM25, float64(i))
	}
}

func TestUnplugAndReturn(t *testing.T) {
	for _, m := range []sensor.Model{sensor.PMS5003, sensor.SPS30} {
		fake, d := plugged(t, m)
		require.NoError(t, fake.Send(example()))
		_, _, err := d.Read(context.Background())
		require.NoError(t, err)
		done := readAsync(context.Background(), d)
		require.NoError(t, fake.Unplug())
		require.ErrorIs(t, <-done, dust.ErrPortLost)
		_, _, err = d.Read(context.Background())
		require.ErrorIs(t, err, dust.ErrPortLost, "and it stays lost")
		require.NoError(t, d.Close())

		fake, d = plugged(t, m)
		require.NoError(t, fake.Send(example()))
		_, _, err = d.Read(context.Background())
		require.NoError(t, err)
	}
}

func TestCloseDuringRead(t *testing.T) {
	_, d := plugged(t, sensor.PMS5003)
	done := readAsync(context.Background(), d)
	require.NoError(t, d.Close())
	err := <-done
	require.ErrorIs(t, err, os.ErrClosed)
	require.NotErrorIs(t, err, dust.ErrPortLost, "our own close is no loss")
	require.NoError(t, d.Close(), "closing twice does no harm")
}

// On a port of another kind, our own close gives whatever error that port has.
func TestCloseDuringReadOfAnyPort(t *testing.T) {
	here, there := net.Pipe()
	defer there.Close()
	d := sensor.NewDevice(sensor.PMS5003, here)
	done := readAsync(context.Background(), d)
	_, err := there.Write([]byte{0}) // returns once it was read: reading has begun
	require.NoError(t, err)
	require.NoError(t, d.Close())
	require.ErrorIs(t, <-done, os.ErrClosed)
}

func TestCancelEndsRead(t *testing.T) {
	for _, m := range []sensor.Model{sensor.PMS5003, sensor.SPS30} {
		_, d := plugged(t, m)
		ctx, cancel := context.WithCancel(context.Background())
		done := readAsync(ctx, d)
		began := time.Now()
		cancel()
		require.ErrorIs(t, <-done, context.Canceled)
		// 250 ms is wanted and 50 ms usual; the rest is for a busy machine.
		require.Less(t, time.Since(began), time.Second)
	}
}

func TestSPS30Conversation(t *testing.T) {
	fake, d := plugged(t, sensor.SPS30)
	require.NoError(t, fake.Send(example()))
	_, _, err := d.Read(context.Background())
	require.NoError(t, err)
	// Nothing new: the sensor answers empty, which is no reading.
	d.SetSilence(150 * time.Millisecond)
	_, _, err = d.Read(context.Background())
	require.ErrorIs(t, err, dust.ErrSilent)
	require.EqualValues(t, 1, d.Counts().DataFrames)

	// On a busy machine an answer may come too late, and the start again.
	log := fake.Requests()
	start, read := []byte{0, 0, 2, 1, 3, 0xF9}, []byte{0, 3, 0, 0xFC}
	require.Equal(t, start, log[0])
	require.Contains(t, log, read)
	for _, request := range log {
		require.Contains(t, [][]byte{start, read}, request)
	}
}

func TestSPS30Commands(t *testing.T) {
	fake, d := plugged(t, sensor.SPS30)
	ctx := context.Background()
	require.NoError(t, fake.Send(example()))
	_, _, err := d.Read(ctx)
	require.NoError(t, err)

	info, err := d.Info(ctx)
	require.NoError(t, err)
	require.Equal(t, sensor.Info{ProductType: "00080000", Serial: "00000000000000000000", Firmware: "2.2", Hardware: 7}, info)
	flags, err := d.Status(ctx)
	require.NoError(t, err)
	require.Zero(t, flags)
	require.NoError(t, d.Clean(ctx))

	require.NoError(t, d.Sleep(ctx))
	require.NoError(t, d.Wake(ctx))
	require.NoError(t, fake.Send(example()))
	_, flags, err = d.Read(ctx)
	require.NoError(t, err)
	require.Equal(t, dust.WarmUp, flags, "after waking, values are not steady")

	_, d = plugged(t, sensor.SDS011)
	_, err = d.Info(ctx)
	require.ErrorContains(t, err, "no such command")
	require.Error(t, d.Clean(ctx))
}

func TestSleepWakeAndPolling(t *testing.T) {
	for _, m := range []sensor.Model{sensor.PMS5003, sensor.SDS011, sensor.HPMA115S0, sensor.ZH06} {
		t.Run(string(m), func(t *testing.T) {
			fake, d := plugged(t, m)
			ctx := context.Background()
			require.NoError(t, d.Sleep(ctx))
			require.NoError(t, fake.Send(example())) // asleep: kept back
			d.SetSilence(100 * time.Millisecond)
			_, _, err := d.Read(ctx)
			require.ErrorIs(t, err, dust.ErrSilent)
			if m != sensor.PMS5003 { // whose answer to wake is data, which costs the test 3 s
				require.NoError(t, d.Wake(ctx))
				require.NoError(t, fake.Send(example()))
				_, flags, err := d.Read(ctx)
				require.NoError(t, err)
				require.Equal(t, dust.WarmUp, flags)
			}
		})
	}
	for _, m := range []sensor.Model{sensor.SNGCJA5, sensor.SenMLLine} {
		_, d := plugged(t, m)
		require.ErrorContains(t, d.Sleep(context.Background()), "no such command")
		require.Error(t, d.Poll(time.Second))
	}
}

func TestPassiveMode(t *testing.T) {
	for _, m := range []sensor.Model{sensor.PMS5003, sensor.HPMA115S0, sensor.ZH06} {
		t.Run(string(m), func(t *testing.T) {
			fake, d := plugged(t, m)
			require.NoError(t, d.Poll(10*time.Millisecond))
			require.NoError(t, fake.Send(example()))
			for range 3 { // one measurement, asked for three times
				_, _, err := d.Read(context.Background())
				require.NoError(t, err)
			}
			require.GreaterOrEqual(t, len(fake.Requests()), 3)
		})
	}
	// The SDS011's mode outlives a loss of power, so it is never set.
	fake, d := plugged(t, sensor.SDS011)
	require.NoError(t, d.Poll(time.Millisecond))
	require.NoError(t, fake.Send(example()))
	_, _, err := d.Read(context.Background())
	require.NoError(t, err)
	for _, request := range fake.Requests() {
		require.EqualValues(t, 4, request[2], "only data is asked for")
	}
}

func TestRecordingEndsWithEOF(t *testing.T) {
	b := frame(t, sensor.PMS5003, example())
	port := &sensortest.Playback{Ops: []sensortest.Op{{Read: append(b, b...)}}, Chunk: 5}
	d := sensor.NewDevice(sensor.PMS5003, port)
	for range 2 {
		_, _, err := d.Read(context.Background())
		require.NoError(t, err)
	}
	_, _, err := d.Read(context.Background())
	require.Equal(t, io.EOF, err)
	require.NoError(t, d.Close())
}
