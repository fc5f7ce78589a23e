package cli_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/cli"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
	"dustlog/internal/store/sqlite"
)

// everything is all that a store holds of readings and lines.
type everything struct {
	readings []dust.Reading
	events   []dust.Event
	quality  []dust.LineQuality
	sensors  []dust.Sensor
}

func dump(t *testing.T, path string) (all everything) {
	t.Helper()
	s, err := sqlite.Open(t.Context(), path, sqlite.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	for r, err := range s.Readings(t.Context(), dust.Query{}) {
		require.NoError(t, err)
		all.readings = append(all.readings, r)
	}
	all.events, err = s.Events(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	all.quality, err = s.LineQuality(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	all.sensors, err = s.Sensors(t.Context())
	require.NoError(t, err)
	return all
}

// TestReplayGivesTheSameStore collects from three sensors behind
// pseudo-terminals, with noise, a cut frame and an unplugged cable, and plays
// what was captured into a second store: readings, flags, events and line
// counts must be equal in every bit.
func TestReplayGivesTheSameStore(t *testing.T) {
	dir := t.TempDir()
	models := []sensor.Model{sensor.SPS30, sensor.SDS011, sensor.PMS5003, sensor.PMS5003}
	configured := []sensor.Model{sensor.SPS30, sensor.SDS011, sensor.PMS5003, sensor.HPMA115S0} // the last is wrong
	var text strings.Builder
	var ptys []*sensortest.PTY
	fmt.Fprintf(&text, "store = %q\n[collect]\ncommit_every = \"1s\"\n", filepath.Join(dir, "live.db"))
	for i, m := range models {
		pty, err := sensortest.NewPTY(m)
		require.NoError(t, err)
		defer pty.Close()
		ptys = append(ptys, pty)
		fmt.Fprintf(&text, "[[sensor]]\nname = \"s%d\"\nmodel = %q\nport = %q\nposition = \"room\"\n", i, configured[i], pty.Path())
	}
	cfg := filepath.Join(dir, "dustlog.toml")
	require.NoError(t, os.WriteFile(cfg, []byte(text.String()), 0o600))

	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var stderr bytes.Buffer
	ended := make(chan int)
	go func() {
		ended <- cli.Main(ctx, []string{"collect", "--config", cfg, "--capture", filepath.Join(dir, "raw")}, cli.Env{
			Stdin: strings.NewReader(""), Stdout: &bytes.Buffer{}, Stderr: &stderr,
			LookupEnv: func(string) (string, bool) { return "", false }, Now: time.Now,
		})
	}()
	disturb(t, ptys)
	cancel()
	require.Zero(t, <-ended, stderr.String())

	live := dump(t, filepath.Join(dir, "live.db"))
	require.Greater(t, len(live.readings), 40)
	var kinds []string
	for _, e := range live.events {
		kinds = append(kinds, e.Sensor+" "+e.Kind)
	}
	require.ElementsMatch(t, []string{"s1 swapped", "s1 swapped", "s1 lost", "s3 wrong_sensor"}, kinds)
	bad := int64(0)
	for _, q := range live.quality {
		bad += q.ChecksumErrors + q.OtherErrors
	}
	require.Positive(t, bad, "noise was counted")

	again := filepath.Join(dir, "again.db")
	code, _, errs := run(t, "replay", filepath.Join(dir, "raw"), "--store", again)
	require.Zero(t, code, errs)
	played := dump(t, again)
	require.Equal(t, live.readings, played.readings)
	require.ElementsMatch(t, live.events, played.events)
	require.ElementsMatch(t, live.quality, played.quality)
	require.ElementsMatch(t, live.sensors, played.sensors)

	code, _, errs = run(t, "replay", filepath.Join(dir, "raw"), "--store", again)
	require.Zero(t, code, errs)
	require.Len(t, dump(t, again).readings, len(live.readings), "a second time adds nothing")
}

// disturb sends values for some seconds, with the faults of a real line.
func disturb(t *testing.T, ptys []*sensortest.PTY) {
	t.Helper()
	for i := range 40 {
		for j, pty := range ptys {
			if j == 1 && i > 30 {
				continue // unplugged
			}
			require.NoError(t, pty.Send(sensortest.Air(float64(20+i))))
			if i == 10 {
				require.NoError(t, pty.SendRaw([]byte{0x42, 0x4d, 0x00, 0x1c, 0x01, 0xaa, 0xc0, 0x00, 0x7e, 0x00}))
			}
			if j == 1 && i == 20 { // another specimen, and then the first again
				for range 2 {
					require.NoError(t, pty.SendRaw([]byte{0xAA, 0xC0, 0xD4, 0x04, 0x3A, 0x0A, 0xA0, 0x01, 0xBD, 0xAB}))
				}
			}
			if j == 1 && i == 30 {
				require.NoError(t, pty.SendRaw([]byte{0xaa, 0xc0, 0x11}))
				require.NoError(t, pty.Unplug())
			}
		}
		time.Sleep(120 * time.Millisecond) // a real line takes real time
	}
}
