package sensortest_test

import (
	"bytes"
	"io"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestPlaybackFailsOnLeftovers(t *testing.T) {
	p := &sensortest.Playback{Ops: []sensortest.Op{{Read: []byte("abc")}, {Write: []byte("ask"), Read: []byte("answer")}}, Chunk: 2}
	b := make([]byte, 10)
	n, err := p.Read(b)
	require.NoError(t, err)
	require.Equal(t, "ab", string(b[:n]))
	_, err = p.Write([]byte("ask"))
	require.ErrorContains(t, err, "still unread")
	require.ErrorContains(t, p.Close(), "left unread")

	p = &sensortest.Playback{Ops: []sensortest.Op{{Write: []byte("ask"), Read: []byte("answer")}}}
	_, err = p.Read(b)
	require.Equal(t, sensortest.ErrTimeout, err)
	_, err = p.Write([]byte("as"))
	require.NoError(t, err)
	_, err = p.Write([]byte("x"))
	require.ErrorContains(t, err, "617378") // "asx"
	require.ErrorContains(t, p.Close(), "1 exchanges left")
}

func TestRecordPlaysBack(t *testing.T) {
	script := []sensortest.Op{{Read: []byte("hello")}, {Write: []byte("ask"), Read: []byte("answer")}}
	record := &sensortest.Record{Port: &sensortest.Playback{Ops: script, Chunk: 3}}
	talk := func(port io.ReadWriteCloser) string {
		var all bytes.Buffer
		b := make([]byte, 3)
		for {
			n, err := port.Read(b)
			all.Write(b[:n])
			switch err {
			case nil:
			case sensortest.ErrTimeout:
				_, err := port.Write([]byte("ask"))
				require.NoError(t, err)
			default:
				require.Equal(t, io.EOF, err)
				require.NoError(t, port.Close())
				return all.String()
			}
		}
	}
	require.Equal(t, "helloanswer", talk(record))
	require.Equal(t, script, record.Ops())
	require.Equal(t, "helloanswer", talk(&sensortest.Playback{Ops: record.Ops()}))
}

func TestAirSuitsEveryModel(t *testing.T) {
	for _, m := range sensor.Models() {
		if m.Spec().RawOnly {
			continue
		}
		b, err := sensor.AppendFrame(nil, m, sensortest.Air(100))
		require.NoError(t, err)
		r, err := sensor.NewReader(m, bytes.NewReader(b))
		require.NoError(t, err)
		f, err := r.Next()
		require.NoError(t, err)
		require.Zero(t, f.Flags)
		x, _ := f.Values().Get(dust.PM25)
		require.InDelta(t, 100, x, 1e-9)
	}
}

func TestPTYErrors(t *testing.T) {
	_, err := sensortest.NewPTY("pms9999")
	require.ErrorIs(t, err, dust.ErrUnknownModel)

	p, err := sensortest.NewPTY(sensor.PMS5003)
	require.NoError(t, err)
	require.Error(t, p.Send(dust.Values{}), "a reading without values")
	// Nobody reads: the line fills up, and what comes then is lost, not waited for.
	for {
		if err = p.Send(sensortest.Air(10)); err != nil {
			break
		}
	}
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	require.NoError(t, p.Unplug())
	require.NoError(t, p.Close())
	require.Error(t, p.Send(sensortest.Air(10)))
}
