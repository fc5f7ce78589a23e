package sensor_test

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.bug.st/serial"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

func TestMissingPort(t *testing.T) {
	path := filepath.Join(t.TempDir(), "ttyUSB9")
	_, err := sensor.Open(path, sensor.PMS5003)
	require.ErrorIs(t, err, dust.ErrPortMissing)
	require.ErrorContains(t, err, path)
	require.ErrorContains(t, err, "plug the sensor in")
}

func TestOrdinaryFileIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notes.txt")
	require.NoError(t, os.WriteFile(path, []byte("no port"), 0o600))
	_, err := sensor.Open(path, sensor.PMS5003)
	require.ErrorIs(t, err, dust.ErrPortRefused)
}

// fakePort is a serial port as the library gives it, with what a test needs.
// Methods that are not overridden panic, so that nothing is used by accident.
type fakePort struct {
	serial.Port
	timeoutErr error
	read       func([]byte) (int, error)
	closed     bool
}

func (p *fakePort) SetReadTimeout(time.Duration) error { return p.timeoutErr }
func (p *fakePort) Read(b []byte) (int, error)         { return p.read(b) }
func (p *fakePort) Write([]byte) (int, error)          { return 0, errors.New("input/output error") }
func (p *fakePort) Close() error                       { p.closed = true; return nil }

// A second open succeeds for root, and permission is never denied to it, so both
// are put in by hand.
func TestOpenErrors(t *testing.T) {
	denied := &os.PathError{Op: "open", Path: "p", Err: os.ErrPermission}
	for name, test := range map[string]struct {
		err  error
		want error
		says string
	}{
		"busy":       {portError(serial.PortBusy), dust.ErrPortBusy, "close the program"},
		"not found":  {portError(serial.PortNotFound), dust.ErrPortMissing, "plug the sensor in"},
		"permission": {portError(serial.PermissionDenied), dust.ErrPortRefused, "dialout"},
		"errno":      {denied, dust.ErrPortRefused, "dialout"},
		"other":      {errors.New("inappropriate ioctl"), dust.ErrPortRefused, "inappropriate ioctl"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := sensor.OpenPortWith("/dev/ttyX", sensor.PMS5003.Spec(), func(string, *serial.Mode) (serial.Port, error) {
				return nil, test.err
			})
			require.ErrorIs(t, err, test.want)
			require.ErrorContains(t, err, test.says)
			require.ErrorContains(t, err, "/dev/ttyX")
		})
	}
}

// portError has a code as the library's own error has, which cannot be made from
// outside.
type portError serial.PortErrorCode

func (e portError) Error() string              { return "port error" }
func (e portError) Code() serial.PortErrorCode { return serial.PortErrorCode(e) }

var _ interface{ Code() serial.PortErrorCode } = (*serial.PortError)(nil)

func TestPortSettings(t *testing.T) {
	var mode serial.Mode
	fake := &fakePort{}
	_, err := sensor.OpenPortWith("p", sensor.SNGCJA5.Spec(), func(_ string, m *serial.Mode) (serial.Port, error) {
		mode = *m
		return fake, nil
	})
	require.NoError(t, err)
	require.Equal(t, serial.Mode{BaudRate: 9600, DataBits: 8, Parity: serial.EvenParity, StopBits: serial.OneStopBit}, mode)

	fake.timeoutErr = errors.New("no such thing")
	_, err = sensor.OpenPortWith("p", sensor.SPS30.Spec(), func(_ string, m *serial.Mode) (serial.Port, error) {
		mode = *m
		return fake, nil
	})
	require.ErrorIs(t, err, dust.ErrPortRefused)
	require.True(t, fake.closed)
	require.Equal(t, 115200, mode.BaudRate)
	require.Equal(t, serial.NoParity, mode.Parity)
}

func TestReadNeverGivesNothingWithoutError(t *testing.T) {
	fake := &fakePort{read: func([]byte) (int, error) { return 0, nil }}
	p, err := sensor.OpenPortWith("p", sensor.PMS5003.Spec(), func(string, *serial.Mode) (serial.Port, error) { return fake, nil })
	require.NoError(t, err)
	_, err = p.Read(make([]byte, 8))
	var timeout interface{ Timeout() bool }
	require.ErrorAs(t, err, &timeout)
	require.True(t, timeout.Timeout())

	fake.read = func([]byte) (int, error) { return 0, errors.New("input/output error") }
	_, err = p.Read(make([]byte, 8))
	require.ErrorIs(t, err, dust.ErrPortLost)
	_, err = p.Write([]byte{1})
	require.ErrorIs(t, err, dust.ErrPortLost)
	require.NoError(t, p.Close())
	_, err = p.Read(make([]byte, 8))
	require.ErrorIs(t, err, os.ErrClosed)
	_, err = p.Write([]byte{1})
	require.ErrorIs(t, err, os.ErrClosed)
}

// The real library on a real (pseudo-)terminal keeps that promise too.
func TestIdlePortTimesOut(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no pseudo-terminals")
	}
	fake, err := sensortest.NewPTY(sensor.PMS5003)
	require.NoError(t, err)
	defer fake.Close()
	p, err := sensor.OpenPort(fake.Path(), sensor.PMS5003.Spec())
	require.NoError(t, err)
	defer p.Close()
	n, err := p.Read(make([]byte, 8))
	require.Zero(t, n)
	require.ErrorContains(t, err, "nothing came in time")
}
