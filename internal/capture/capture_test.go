package capture_test

import (
	"context"
	"errors"
	"io"
	"iter"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/capture"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

var (
	t0    = time.Date(2026, time.March, 2, 8, 0, 0, 123, time.UTC)
	bench = dust.Sensor{Name: "bench / left", Model: "sds011", Position: dust.BreathingZone}
)

func frame(t *testing.T, pm25 float64) []byte {
	t.Helper()
	var v dust.Values
	v.Set(dust.PM25, pm25)
	v.Set(dust.PM10, 2*pm25)
	raw, err := sensor.AppendFrame(nil, sensor.SDS011, v)
	require.NoError(t, err)
	return raw
}

// story is a line that is opened, lost, and opened again.
func story(t *testing.T) []capture.Chunk {
	at := func(s float64, what string, raw []byte) capture.Chunk {
		d := time.Duration(s * float64(time.Second))
		return capture.Chunk{Wall: t0.Add(d), Elapsed: d, What: what, Bytes: raw}
	}
	one, two := frame(t, 10), frame(t, 20)
	lost := at(13, capture.Lost, nil)
	lost.Text, lost.Silent = "no valid frame in 10s", true
	last := at(16, capture.Bytes, append(append([]byte{}, one...), two...))
	last.Flags = []dust.Flags{dust.WarmUp | dust.FanFault, 0}
	return []capture.Chunk{
		at(0, capture.Open, nil), at(1, capture.Bytes, one[:4]), at(1.1, capture.Bytes, one[4:]),
		at(2, capture.Bytes, two[:5]), at(2.2, capture.Pause, nil), at(3, capture.Bytes, two), lost,
		at(15, capture.Open, nil), last,
	}
}

func written(t *testing.T, chunks []capture.Chunk) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "new", "folder")
	w, err := capture.Create(dir, bench, 30*time.Second, t0)
	require.NoError(t, err)
	for _, c := range chunks {
		w.Add(c)
	}
	require.NoError(t, w.Close())
	return dir
}

// An event bears the moment of the bytes before it or of the loss after it. Neither may
// move the clock under a reading that is not stamped yet.
func TestEventsDoNotMoveTheClock(t *testing.T) {
	at := func(s float64, what string) capture.Chunk {
		d := time.Duration(s * float64(time.Second))
		return capture.Chunk{Wall: t0.Add(d), Elapsed: d, What: what}
	}
	first, swapped, wrong, lost := at(1, capture.Bytes), at(1, capture.Event), at(12, capture.Event), at(12, capture.Lost)
	first.Bytes = append(frame(t, 10), frame(t, 20)...)
	swapped.Kind, swapped.Text = "swapped", "another one"
	wrong.Kind, wrong.Text = "wrong_sensor", "another model"
	lost.Silent, lost.Text = true, "silent"
	recordings, err := capture.Folder(written(t, []capture.Chunk{at(0, capture.Open), first, swapped, wrong, lost}))
	require.NoError(t, err)
	p, err := capture.NewPlayer(sensor.SDS011, recordings[0].Chunks())
	require.NoError(t, err)
	defer p.Stop()
	_, _, err = p.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, []dust.Event{{Kind: "swapped", Text: "another one"}}, p.Notes())
	require.Equal(t, time.Second, p.Elapsed(), "the second reading is not stamped yet")
	_, _, err = p.Read(t.Context())
	require.NoError(t, err)
	require.Equal(t, time.Second, p.Elapsed())
	require.Empty(t, p.Notes())
	_, _, err = p.Read(t.Context())
	require.ErrorIs(t, err, dust.ErrSilent)
	require.Equal(t, []dust.Event{{Kind: "wrong_sensor", Text: "another model"}}, p.Notes())
	require.Equal(t, 12*time.Second, p.Elapsed())
}

func TestWhatIsWrittenIsRead(t *testing.T) {
	want := story(t)
	recordings, err := capture.Folder(written(t, want))
	require.NoError(t, err)
	require.Len(t, recordings, 1)
	require.Equal(t, bench, recordings[0].Sensor)
	require.Equal(t, 30*time.Second, recordings[0].WarmUp)
	i := 0
	for c, err := range recordings[0].Chunks() {
		require.NoError(t, err)
		require.True(t, want[i].Wall.Equal(c.Wall), "to the nanosecond")
		require.Equal(t, want[i].Elapsed, c.Elapsed)
		require.Equal(t, want[i].What, c.What)
		require.Equal(t, len(want[i].Bytes), len(c.Bytes))
		require.Equal(t, want[i].Text, c.Text)
		require.Equal(t, want[i].Flags, c.Flags)
		i++
	}
	require.Len(t, want, i)
}

func TestThePlayerTellsTheStory(t *testing.T) {
	recordings, err := capture.Folder(written(t, story(t)))
	require.NoError(t, err)
	p, err := capture.NewPlayer(sensor.SDS011, recordings[0].Chunks())
	require.NoError(t, err)
	defer p.Stop()
	next := func() (float64, error) {
		v, _, err := p.Read(t.Context())
		x, _ := v.Get(dust.PM25)
		return x, err
	}
	x, err := next()
	require.NoError(t, err)
	require.InDelta(t, 10, x, 1e-9)
	require.Equal(t, t0.Add(1100*time.Millisecond), p.Wall(), "the moment its last byte arrived")
	x, err = next()
	require.NoError(t, err)
	require.InDelta(t, 20, x, 1e-9)
	require.EqualValues(t, 1, p.Quality().OtherErrors, "the frame cut by the pause is counted")
	_, err = next()
	require.ErrorIs(t, err, dust.ErrSilent)
	require.Equal(t, 13*time.Second, p.Elapsed())
	require.NoError(t, p.Reopen())
	require.Equal(t, 15*time.Second, p.Elapsed())
	require.Zero(t, p.Quality().Frames, "counting begins anew with the line")
	for i, want := range []float64{10, 20} {
		v, flags, err := p.Read(t.Context())
		require.NoError(t, err)
		x, _ := v.Get(dust.PM25)
		require.InDelta(t, want, x, 1e-9)
		require.Equal(t, story(t)[8].Flags[i], flags, "what the driver knew then")
	}
	_, err = next()
	require.ErrorIs(t, err, io.EOF)
}

func TestATornLastLineLosesOnlyItself(t *testing.T) {
	dir := written(t, story(t))
	files, err := filepath.Glob(filepath.Join(dir, "*.jsonl"))
	require.NoError(t, err)
	text, err := os.ReadFile(files[0])
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(files[0], text[:len(text)-7], 0o644))
	recordings, err := capture.Folder(dir)
	require.NoError(t, err)
	n := 0
	for _, err := range recordings[0].Chunks() {
		require.NoError(t, err)
		n++
	}
	require.Equal(t, len(story(t))-1, n)
}

func TestDamageNamesItsLine(t *testing.T) {
	head := `{"capture":1,"sensor":"a","model":"sds011"}` + "\n"
	for name, test := range map[string]struct{ text, want string }{
		"no head":     {"hello\n", "line 1 is not the head"},
		"newer":       {`{"capture":9,"sensor":"a"}` + "\n", "version 9"},
		"nameless":    {`{"capture":1}` + "\n", "names no sensor"},
		"not json":    {head + "{}}\n", "line 2"},
		"odd hex":     {head + `{"what":"bytes","hex":"abc"}` + "\n", "line 2: bytes are not hex"},
		"what is it?": {head + `{"what":"open"}` + "\n" + `{"what":"sneeze"}` + "\n", `line 3: "sneeze"`},
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			require.NoError(t, os.WriteFile(filepath.Join(dir, "x.jsonl"), []byte(test.text), 0o644))
			recordings, err := capture.Folder(dir)
			for i := 0; err == nil && i < len(recordings); i++ {
				for _, err = range recordings[i].Chunks() {
					if err != nil {
						break
					}
				}
			}
			require.ErrorContains(t, err, test.want)
			require.ErrorContains(t, err, "x.jsonl")
		})
	}
	_, err := capture.Folder(t.TempDir())
	require.ErrorContains(t, err, "no recording")
}

func TestACaptureIsNeverOverwritten(t *testing.T) {
	dir := t.TempDir()
	w, err := capture.Create(dir, bench, 0, t0)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	_, err = capture.Create(dir, bench, 0, t0)
	require.ErrorIs(t, err, os.ErrExist)
}

func TestAReadErrorEndsThePlayer(t *testing.T) {
	broken := errors.New("card pulled out")
	chunks := func(yield func(capture.Chunk, error) bool) {
		if yield(capture.Chunk{What: capture.Open}, nil) {
			yield(capture.Chunk{}, broken)
		}
	}
	p, err := capture.NewPlayer(sensor.SDS011, iter.Seq2[capture.Chunk, error](chunks))
	require.NoError(t, err)
	defer p.Stop()
	_, _, err = p.Read(context.Background())
	require.ErrorIs(t, err, broken)
}

func FuzzRecording(f *testing.F) {
	f.Add(`{"capture":1,"sensor":"a","model":"sds011"}` + "\n" + `{"what":"bytes","hex":"aac0"}` + "\n")
	f.Add("{}\n{}\n")
	f.Fuzz(func(t *testing.T, text string) {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "x.jsonl"), []byte(text), 0o644))
		recordings, err := capture.Folder(dir)
		if err != nil {
			return
		}
		p, err := capture.NewPlayer(sensor.SDS011, recordings[0].Chunks())
		if err != nil {
			return
		}
		defer p.Stop()
		for range 1000 {
			if _, _, err := p.Read(t.Context()); err != nil {
				return
			}
		}
	})
}
