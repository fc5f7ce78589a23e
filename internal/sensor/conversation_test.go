package sensor_test

import (
	"context"
	"io"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

// Frames of an SPS30 as its data sheet prints them (section 5), or made by its
// rules where it prints none.
var (
	spsStart   = []byte{0x7E, 0, 0, 2, 1, 3, 0xF9, 0x7E}
	spsStarted = []byte{0x7E, 0, 0, 0, 0, 0xFF, 0x7E}
	spsRead    = []byte{0x7E, 0, 3, 0, 0xFC, 0x7E}
	spsEmpty   = []byte{0x7E, 0, 3, 0, 0, 0xFC, 0x7E}
	spsStatus  = []byte{0x7E, 0, 0xD2, 1, 0, 0x2C, 0x7E}
	spsNotNow  = []byte{0x7E, 0, 3, 0x43, 0, 0xB9, 0x7E}
)

func playback(ops ...sensortest.Op) (*sensortest.Playback, *sensor.Device) {
	port := &sensortest.Playback{Ops: ops}
	d := sensor.NewDevice(sensor.SPS30, port)
	d.SetInterval(time.Millisecond)
	return port, d
}

// readings reads n times and then demands that the conversation is over.
func readings(t *testing.T, port *sensortest.Playback, d *sensor.Device, n int) []dust.Flags {
	t.Helper()
	var all []dust.Flags
	for range n {
		v, flags, err := d.Read(context.Background())
		require.NoError(t, err)
		require.Positive(t, v.Len())
		all = append(all, flags)
	}
	require.NoError(t, port.Close())
	return all
}

func TestSPS30MeasuringAlready(t *testing.T) {
	data := frame(t, sensor.SPS30, example())
	busy := []byte{0x7E, 0, 0, 0x43, 0, 0xBC, 0x7E}
	port, d := playback(
		sensortest.Op{Write: spsStart, Read: busy},
		sensortest.Op{Write: spsRead, Read: spsEmpty},
		sensortest.Op{Write: spsRead, Read: data},
	)
	require.Equal(t, []dust.Flags{0}, readings(t, port, d, 1))
}

// After a brown-out the sensor is idle again: it is started anew, and what it
// says next is flagged, since nobody else knows that it was off.
func TestSPS30LostPower(t *testing.T) {
	data := frame(t, sensor.SPS30, example())
	port, d := playback(
		sensortest.Op{Write: spsStart, Read: spsStarted},
		sensortest.Op{Write: spsRead, Read: data},
		sensortest.Op{Write: spsRead, Read: spsNotNow},
		sensortest.Op{Write: spsStart, Read: spsStarted},
		sensortest.Op{Write: spsRead, Read: data},
	)
	require.Equal(t, []dust.Flags{0, dust.WarmUp}, readings(t, port, d, 2))
}

// A data frame tells that something is wrong, the status register what: the fan's
// speed is out of range (bit 21). The register's answer is a public example with
// the speed and fan bits.
func TestSPS30Trouble(t *testing.T) {
	data := frame(t, sensor.SPS30, example())
	data[3] |= 0x80 // state
	data[len(data)-2] -= 0x80
	status := []byte{0x7E, 0, 0xD2, 0x80, 5, 0, 0x20, 0, 0x10, 0, 0x78, 0x7E}
	port, d := playback(
		sensortest.Op{Write: spsStart, Read: spsStarted},
		sensortest.Op{Write: spsRead, Read: data},
		sensortest.Op{Write: spsStatus, Read: status},
		sensortest.Op{Write: spsRead, Read: data},
	)
	require.Equal(t, []dust.Flags{dust.FanFault | dust.LaserFault, dust.FanFault}, readings(t, port, d, 2))
}

// echoPort sends back what it is sent, as when TX and RX touch.
type echoPort struct{ line []byte }

func (p *echoPort) Write(b []byte) (int, error) {
	p.line = append(p.line, b...)
	return len(b), nil
}

func (p *echoPort) Read(b []byte) (int, error) {
	if len(p.line) == 0 {
		return 0, sensortest.ErrTimeout
	}
	n := copy(b, p.line)
	p.line = p.line[n:]
	return n, nil
}

func (p *echoPort) Close() error { return nil }

// The start request, read as an answer, has a valid length and checksum (state
// 02, one byte of data), so an echo must be told by comparing.
func TestSPS30Echo(t *testing.T) {
	d := sensor.NewDevice(sensor.SPS30, &echoPort{})
	d.SetInterval(time.Millisecond)
	d.SetSilence(50 * time.Millisecond)
	_, _, err := d.Read(context.Background())
	require.ErrorIs(t, err, dust.ErrSilent)
	require.ErrorContains(t, err, "its own request")
	require.ErrorContains(t, err, "TX and RX touch")
}

// An SDS011 that ignores the command to sleep (users report it) is told again: its
// first answer here says that it works.
func TestSDSIgnoresSleep(t *testing.T) {
	sleep := sensor.SDSRequest{Sub: 6, Set: 1, Value: 0, Device: sensor.SDSEverySensor}.Bytes()
	works := []byte{0xAA, 0xC5, 6, 1, 1, 0, 0xA1, 0x60, 9, 0xAB}
	sleeps := []byte{0xAA, 0xC5, 6, 1, 0, 0, 0xA1, 0x60, 8, 0xAB}
	port := &sensortest.Playback{Ops: []sensortest.Op{{Write: sleep, Read: works}, {Write: sleep, Read: sleeps}}}
	d := sensor.NewDevice(sensor.SDS011, port)
	now := time.Now()
	d.SetClock(func() time.Time { now = now.Add(100 * time.Millisecond); return now })
	require.NoError(t, d.Sleep(context.Background()))
	require.NoError(t, d.Close())
}

// The level-1 test: a device on any port gives readings. Without a device it runs
// on a recorded conversation; with DUSTLOG_LIVE=/dev/ttyUSB0 and
// DUSTLOG_LIVE_MODEL (default pms5003) on a real sensor, and then prints what was
// said, ready to be recorded.
func TestConversation(t *testing.T) {
	path := os.Getenv("DUSTLOG_LIVE")
	if path == "" {
		data := frame(t, sensor.SPS30, sensortest.Air(30))
		ops := []sensortest.Op{{Write: spsStart, Read: spsStarted}}
		for range 3 {
			ops = append(ops, sensortest.Op{Write: spsRead, Read: data})
		}
		port := &sensortest.Playback{Ops: ops, Chunk: 11}
		conversation(t, sensor.SPS30, port, time.Millisecond)
		require.NoError(t, port.Close())
		return
	}
	model := sensor.PMS5003
	if name := os.Getenv("DUSTLOG_LIVE_MODEL"); name != "" {
		var err error
		model, err = sensor.ParseModel(name)
		require.NoError(t, err)
	}
	port, err := sensor.OpenPort(path, model.Spec())
	require.NoError(t, err)
	record := &sensortest.Record{Port: port}
	conversation(t, model, record, model.Spec().Interval)
	require.NoError(t, record.Close())
	for _, op := range record.Ops() {
		t.Logf("write %X read %X", op.Write, op.Read)
	}
}

// conversation reads three times and checks what any sensor in any air must give.
func conversation(t *testing.T, m sensor.Model, port io.ReadWriteCloser, interval time.Duration) {
	d := sensor.NewDevice(m, port)
	d.SetInterval(interval)
	for range 3 {
		v, flags, err := d.Read(context.Background())
		require.NoError(t, err)
		require.True(t, v.Has(dust.PM25), "every model here measures PM2.5")
		require.False(t, flags.Has(dust.NegativeMass))
		for c, x := range v.All() {
			t.Logf("%s %g", c, x)
		}
	}
	c := d.Counts()
	require.GreaterOrEqual(t, c.DataFrames, int64(3))
	require.LessOrEqual(t, c.ChecksumErrors, c.Frames/100+1, "a line this bad needs another cable")
}
