package main

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"dustlog": main})
}

// TestScripts runs the program as its users do: testdata/script/*.txtar.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"unhex":  unhex,
			"steps":  steps,
			"fake":   fake,
			"span":   span,
			"decay":  decay,
			"influx": influx, "samejson": samejson,
			"broker": broker, "microcontroller": microcontroller,
		},
		Condition: condition,
		Setup: func(env *testscript.Env) error {
			// Nothing of the machine's own settings may reach a script.
			env.Setenv("HOME", env.WorkDir)
			env.Setenv("XDG_CONFIG_HOME", env.WorkDir+"/config")
			env.Setenv("XDG_DATA_HOME", env.WorkDir+"/data")
			env.Setenv("TZ", "UTC")
			return nil
		},
	})
}

// unhex IN OUT turns hex digits into bytes.
func unhex(ts *testscript.TestScript, _ bool, args []string) {
	text := strings.Join(strings.Fields(ts.ReadFile(args[0])), "")
	raw, err := hex.DecodeString(text)
	ts.Check(err)
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), raw, 0o644))
}

// steps OUT COLUMN SECONDSxVALUE… writes a CSV that holds each value for some
// seconds, one row every 4 s, starting at 2026-03-02T08:00:00Z.
func steps(ts *testscript.TestScript, _ bool, args []string) {
	var b strings.Builder
	fmt.Fprintf(&b, "time,%s\n", args[1])
	at := time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)
	for _, step := range args[2:] {
		seconds, value, _ := strings.Cut(step, "x")
		n, err := strconv.Atoi(seconds)
		ts.Check(err)
		for range n / 4 {
			if value != "-" {
				fmt.Fprintf(&b, "%s,%s\n", at.Format(time.RFC3339), value)
			}
			at = at.Add(4 * time.Second)
		}
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(b.String()), 0o644))
}

// span LOWKEY HIGHKEY VALUE checks that VALUE lies between two numbers of the
// JSON document that the last command printed.
func span(ts *testscript.TestScript, neg bool, args []string) {
	var document map[string]any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &document))
	low, ok1 := document[args[0]].(float64)
	high, ok2 := document[args[1]].(float64)
	value, err := strconv.ParseFloat(args[2], 64)
	ts.Check(err)
	if !ok1 || !ok2 || (low <= value && value <= high) == neg {
		ts.Fatalf("%s %v, %s %v, value %g", args[0], document[args[0]], args[1], document[args[1]], value)
	}
}

// fake MODEL VARIABLE [silent] puts a sensor behind a pseudo-terminal and its
// path into a variable. It sends about ten readings a second.
func fake(ts *testscript.TestScript, _ bool, args []string) {
	pty, err := sensortest.NewPTY(sensor.Model(args[0]))
	ts.Check(err)
	stop := make(chan struct{})
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := 0; len(args) < 3; i++ {
			select {
			case <-stop:
				return
			case <-time.After(100 * time.Millisecond):
				_ = pty.Send(sensortest.Air(float64(10 + i%7)))
			}
		}
	}()
	ts.Defer(func() {
		close(stop)
		<-done
		_ = pty.Close()
	})
	ts.Setenv(args[1], pty.Path())
}
