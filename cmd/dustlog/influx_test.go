package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"

	"github.com/rogpeppe/go-internal/testscript"

	"dustlog/internal/store/influx/influxtest"
)

// servers are the programs that scripts need, and where they may be.
var servers = map[string][]string{
	"influx": {os.Getenv("DUSTLOG_INFLUXD"), "influxd"},
	"broker": {"mosquitto", "/usr/sbin/mosquitto"},
}

// condition knows [influx] and [broker]: the server program is there. Where it must
// not be missing, CI=true, the test fails later, when it is started.
func condition(name string) (bool, error) {
	if servers[name] == nil {
		return false, fmt.Errorf("unknown condition %q", name)
	}
	for _, program := range servers[name] {
		if _, err := exec.LookPath(program); err == nil {
			return true, nil
		}
	}
	return os.Getenv("CI") == "true", nil
}

// influx VARIABLE starts a real InfluxDB 1.8 with a database and puts its
// address into a variable.
func influx(ts *testscript.TestScript, _ bool, args []string) {
	server, err := influxtest.Start()
	ts.Check(err)
	ts.Defer(server.Stop)
	ts.Check(server.Database("dust"))
	ts.Setenv(args[0], "influx://"+server.Address+"/dust")
}

// samejson A B compares two JSON documents, numbers to 1e-9.
func samejson(ts *testscript.TestScript, neg bool, args []string) {
	var documents [2]any
	for i := range documents {
		ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[i])), &documents[i]))
	}
	where := differ("", documents[0], documents[1])
	if (where == "") == neg {
		ts.Fatalf("%s and %s: first difference at %q", args[0], args[1], where)
	}
}

// differ returns the place of the first difference, "" if there is none.
func differ(at string, a, b any) string {
	switch a := a.(type) {
	case map[string]any:
		other, ok := b.(map[string]any)
		if !ok || len(a) != len(other) {
			return at + " keys"
		}
		for k := range a {
			if where := differ(at+"."+k, a[k], other[k]); where != "" {
				return where
			}
		}
	case []any:
		other, ok := b.([]any)
		if !ok || len(a) != len(other) {
			return at + " length"
		}
		for i := range a {
			if where := differ(fmt.Sprintf("%s[%d]", at, i), a[i], other[i]); where != "" {
				return where
			}
		}
	case float64:
		other, ok := b.(float64)
		if !ok || math.Abs(a-other) > 1e-9*math.Max(1, math.Abs(a)) {
			return at + " number"
		}
	default:
		if a != b {
			return at + " value"
		}
	}
	return ""
}
