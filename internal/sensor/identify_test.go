package sensor_test

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

func models(guesses []sensor.Guess, least sensor.Certainty) (out []sensor.Model) {
	for _, g := range guesses {
		if g.Certainty >= least {
			out = append(out, g.Model)
		}
	}
	return out
}

// spoken is what a model sends in dust that rises from frame to frame.
func spoken(t testing.TB, m sensor.Model, frames int) (stream []byte) {
	for i := range frames {
		stream = append(stream, frame(t, m, sensortest.Air(float64(40+3*i)))...)
	}
	return stream
}

func TestEveryModelIsAmongTheGuesses(t *testing.T) {
	for _, m := range encodable() {
		line := m.Spec().Settings()
		guesses := sensor.Identify(spoken(t, m, 3), line)
		require.Contains(t, models(guesses, sensor.Possible), m)
		if m != sensor.PMS5003S { // its formaldehyde stands still here
			require.Contains(t, models(guesses, sensor.Likely), m)
		}
		require.Empty(t, sensor.Identify(spoken(t, m, 1), line), "one frame may be an accident: %s", m)
		require.Empty(t, sensor.Identify(spoken(t, m, 3), sensor.Line{Baud: 4800}))
	}
}

// The captures that the vectors publish, each frame twice: a model is never ruled out
// by what it was seen to send.
func TestPublishedCapturesDoNotRuleTheirModelOut(t *testing.T) {
	tested := 0
	for _, m := range sensor.Models() {
		for _, v := range vectors(t, m) {
			if v.Direction != "device_to_host" || len(v.Expect.Frames) != 1 || len(v.Expect.Errors) > 0 {
				continue
			}
			if kind := v.Expect.Frames[0].Kind; kind != sensor.KindData && kind != "pack" {
				continue
			}
			tested++
			stream := v.bytes(t)
			if m == sensor.SenMLLine || m == sensor.SPS30 {
				stream = append(stream, '\n') // a line may lack its end; noise between SHDLC frames is none
			}
			require.Contains(t, models(sensor.Identify(bytes.Repeat(stream, 2), m.Spec().Settings()), sensor.Possible), m, "%s %s", v.ID, v.Name)
		}
	}
	require.Greater(t, tested, 20)
}

func TestAmbiguityIsSaidAloud(t *testing.T) {
	guesses := sensor.Identify(spoken(t, sensor.PMS7003, 3), sensor.Line{Baud: 9600})
	require.ElementsMatch(t, []sensor.Model{sensor.PMS5003, sensor.PMS7003, sensor.PMSA003, sensor.PMS1003}, models(guesses, sensor.Likely))
	require.Contains(t, sensor.Told(guesses), "likely, one of pms5003, pms7003")

	// Clean air: every word zero tells nothing.
	var clean dust.Values
	for c := range dust.ChannelCount {
		clean.Set(c, 0)
	}
	zeros := frame(t, sensor.HPMA115C0, clean)
	guesses = sensor.Identify(bytes.Repeat(zeros, 3), sensor.Line{Baud: 9600})
	require.Len(t, guesses, 9)
	require.Empty(t, models(guesses, sensor.Likely))
	require.Contains(t, sensor.Told(guesses), "do not tell which")
	require.Equal(t, "no sensor known here", sensor.Told(nil))

	one := sensor.Told(sensor.Identify(spoken(t, sensor.SDS011, 2), sensor.Line{Baud: 9600}))
	require.Contains(t, one, "certain sds011")
}

// Noise alone gives no guess: see TestNoisyLine for the expected number.
func TestNoiseIsNoSensor(t *testing.T) {
	noise := make([]byte, 64<<10)
	state := uint32(1)
	for i := range noise {
		state = state*1664525 + 1013904223 // Numerical Recipes, section 7.1
		noise[i] = byte(state >> 24)
	}
	for _, line := range []sensor.Line{{Baud: 9600}, {Baud: 9600, Parity: sensor.ParityEven}, {Baud: 115200}} {
		require.Empty(t, sensor.Identify(noise, line), line)
	}
}

func FuzzIdentify(f *testing.F) {
	f.Add(spoken(f, sensor.PMS5003T, 3))
	f.Add(spoken(f, sensor.HPMA115S0, 2))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, g := range sensor.Identify(b, sensor.Line{Baud: 9600}) {
			require.GreaterOrEqual(t, g.Frames, 2)
			require.NotEmpty(t, g.Why)
			require.LessOrEqual(t, g.Frames, len(b)/9, "the shortest frame has 9 bytes")
		}
	})
}

// quick listens twenty times faster than the steps say, and asks three times faster:
// answers come in real time.
func quick(l sensor.Listener) sensor.Listener {
	last, shown, factor := time.Now(), time.Now(), time.Duration(20)
	l.SetClock(func() time.Time {
		now := time.Now()
		shown = shown.Add(factor * now.Sub(last))
		last = now
		return shown
	})
	told := l.Progress
	l.Progress = func(what string) {
		if factor = 20; strings.HasPrefix(what, "asking") {
			factor = 3
		}
		if told != nil {
			told(what)
		}
	}
	return l
}

func TestListenTriesOneLineAfterTheOther(t *testing.T) {
	pty, err := sensortest.NewPTY(sensor.SenMLLine)
	require.NoError(t, err)
	defer pty.Close()
	stop := speak(t, pty)
	defer stop()
	var steps []string
	found, err := quick(sensor.Listener{Progress: func(s string) { steps = append(steps, s) }}).Listen(t.Context(), pty.Path())
	require.NoError(t, err)
	require.Equal(t, []string{"listening at 9600 8N1", "listening at 9600 8E1", "listening at 115200 8N1"}, steps)
	require.Equal(t, []sensor.Model{sensor.SenMLLine}, models(found.Guesses, sensor.Certain))
	require.Positive(t, found.Bytes)
	require.Empty(t, pty.Requests(), "listening sends nothing")
}

func TestListenAsksOnlyWhenToldTo(t *testing.T) {
	for _, m := range []sensor.Model{sensor.SPS30, sensor.SDS011, sensor.HPMA115S0, sensor.PMS5003} {
		t.Run(string(m), func(t *testing.T) {
			t.Parallel()
			pty, err := sensortest.NewPTY(m)
			require.NoError(t, err)
			defer pty.Close()
			require.NoError(t, passive(pty, m))
			found, err := quick(sensor.Listener{}).Listen(t.Context(), pty.Path())
			require.NoError(t, err)
			require.Empty(t, found.Guesses)
			before := len(pty.Requests())

			found, err = quick(sensor.Listener{Ask: true}).Listen(t.Context(), pty.Path())
			require.NoError(t, err)
			require.True(t, found.Asked)
			require.Contains(t, models(found.Guesses, sensor.Likely), m)
			for _, r := range pty.Requests()[before:] {
				requireHarmless(t, m, r)
			}
		})
	}
}

func TestListenReportsThePort(t *testing.T) {
	_, err := sensor.Listener{}.Listen(t.Context(), "/nowhere/ttyUSB7")
	require.ErrorIs(t, err, dust.ErrPortMissing)
	pty, err := sensortest.NewPTY(sensor.PMS5003)
	require.NoError(t, err)
	defer pty.Close()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = sensor.Listener{}.Listen(ctx, pty.Path())
	require.ErrorIs(t, err, context.Canceled)
}
