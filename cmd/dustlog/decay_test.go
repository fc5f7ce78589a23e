package main

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

var phase = regexp.MustCompile(`^(\d+)x([\d.]+)(?:>([\d.]+)@([\d.]+))?$`)

// decay OUT COLUMN PHASE… writes a CSV, one row every 4 s from 2026-03-02T08:00:00Z
// on. 30x400 is half an hour of 400; 60x400>8@5 is an hour that falls from 400 to a
// background of 8 at 5 per hour. A ripple of 3 % is on all of it.
func decay(ts *testscript.TestScript, _ bool, args []string) {
	var b strings.Builder
	fmt.Fprintf(&b, "time,%s\n", args[1])
	at, row := time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC), 0
	for _, text := range args[2:] {
		found := phase.FindStringSubmatch(text)
		if found == nil {
			ts.Fatalf("phase %q", text)
		}
		minutes, err := strconv.Atoi(found[1])
		ts.Check(err)
		number := func(s string) float64 {
			if s == "" {
				return 0
			}
			x, err := strconv.ParseFloat(s, 64)
			ts.Check(err)
			return x
		}
		high, low, rate := number(found[2]), number(found[3]), number(found[4])
		for i := range minutes * 15 {
			level := low + (high-low)*math.Exp(-rate*float64(i)*4/3600)
			fmt.Fprintf(&b, "%s,%.2f\n", at.Format(time.RFC3339), level*(1+0.03*math.Sin(float64(row)*12.9898)))
			at, row = at.Add(4*time.Second), row+1
		}
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(b.String()), 0o644))
}
