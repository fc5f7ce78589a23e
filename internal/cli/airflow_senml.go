package cli

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

// gaugeUnits are the SenML units (RFC 8428, section 12.1) that each kind is sent in,
// and how they are written in the diary.
var gaugeUnits = map[airflow.GaugeKind]struct{ senml, written string }{
	airflow.VelocityGauge: {"m/s", "m/s"}, airflow.VelocityPressureGauge: {"Pa", "Pa"}, airflow.FlowGauge: {"m3/s", "m3/s"},
	airflow.StaticGauge: {"Pa", "Pa"}, airflow.HoodGauge: {"Pa", "Pa"}, airflow.FilterGauge: {"Pa", "Pa"}, airflow.CurrentGauge: {"A", "A"},
}

// senmlRecord is one record of a pack (RFC 8428, section 4).
type senmlRecord struct {
	BaseName *string  `json:"bn"`
	BaseTime *float64 `json:"bt"`
	BaseUnit *string  `json:"bu"`
	Name     string   `json:"n"`
	Unit     string   `json:"u"`
	Value    *float64 `json:"v"`
	Time     float64  `json:"t"`
}

const longestSenMLLine = 64 << 10

func runAirflowSenML(cmd *cobra.Command, a *app, o airflowAddOptions, args []string) error {
	if len(args) > 0 || o.at != "" || o.duct != "" {
		return usage(cmd, errors.New("--senml takes no KIND, FIGURES, --at or --duct: the lines tell them"))
	}
	in, name := io.NopCloser(a.Stdin), "standard input"
	if o.senml != "-" {
		f, err := os.Open(o.senml)
		if err != nil {
			return fmt.Errorf("readings off the collector: %w", err)
		}
		in, name = f, o.senml
	}
	defer in.Close()
	entries, passed, err := senmlEntries(in, name, a.Now())
	if err != nil {
		return err
	}
	return a.entering(cmd, "", func(ctx context.Context, s *sqlite.Store, _ time.Time, _ *time.Location) error {
		for _, e := range entries {
			if _, err := s.Enter(ctx, e); err != nil {
				return err
			}
		}
		a.remark("%d readings off the collector taken, those that were known counted in; %d records of other names passed over", len(entries), passed)
		return nil
	})
}

// senmlEntries reads all lines before anything is entered: all or nothing. An entry's
// id is made of what it says, so that a line taken twice is entered once.
func senmlEntries(in io.Reader, name string, now time.Time) (list []dust.Entry, passed int, err error) {
	lines := bufio.NewScanner(in)
	lines.Buffer(nil, longestSenMLLine)
	number := 0
	for lines.Scan() {
		number++
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		var pack []senmlRecord
		if err := json.Unmarshal([]byte(line), &pack); err != nil {
			return nil, 0, fmt.Errorf("%s:%d: no SenML pack: %w", name, number, err)
		}
		var base senmlRecord
		base.BaseName, base.BaseUnit, base.BaseTime = new(string), new(string), new(float64)
		for _, r := range pack {
			e, ok, err := r.entry(&base, now)
			if err != nil {
				return nil, 0, fmt.Errorf("%s:%d: %w", name, number, err)
			}
			if !ok {
				passed++
				continue
			}
			list = append(list, e)
		}
	}
	if err := lines.Err(); err != nil {
		return nil, 0, fmt.Errorf("%s:%d: %w", name, number+1, err)
	}
	return list, passed, nil
}

// entry resolves a record against the base values so far; ok is false for names that
// are no gauge's.
func (r senmlRecord) entry(base *senmlRecord, now time.Time) (e dust.Entry, ok bool, err error) {
	for _, b := range []struct{ own, kept **string }{{&r.BaseName, &base.BaseName}, {&r.BaseUnit, &base.BaseUnit}} {
		if *b.own != nil {
			*b.kept = *b.own
		}
	}
	if r.BaseTime != nil {
		base.BaseTime = r.BaseTime
	}
	full := *base.BaseName + r.Name
	duct := ""
	if i := strings.LastIndex(full, "/"); i >= 0 {
		duct, full = full[:i], full[i+1:]
	}
	kind := airflow.GaugeKind(strings.ReplaceAll(full, "_", "-"))
	unit, known := gaugeUnits[kind]
	if !known {
		return e, false, nil
	}
	got := r.Unit
	if got == "" {
		got = *base.BaseUnit
	}
	switch {
	case r.Value == nil:
		return e, false, fmt.Errorf("%s has no value", full)
	case got != unit.senml:
		return e, false, fmt.Errorf("%s in unit %q: send it in %s", full, got, unit.senml)
	}
	at, err := senmlTime(*base.BaseTime+r.Time, now)
	if err != nil {
		return e, false, fmt.Errorf("%s: %w", full, err)
	}
	figures := strconv.FormatFloat(*r.Value, 'f', -1, 64) + " " + unit.written
	sum := sha256.Sum256([]byte(strings.Join([]string{at.Format(time.RFC3339Nano), string(kind), duct, figures}, "\x00")))
	e, err = airflow.GaugeEntry(fmt.Sprintf("senml-%x", sum[:16]), at, kind, duct, figures)
	return e, err == nil, err
}

// senmlTime: from 2²⁸ s on a time is absolute, below it counts from now (RFC 8428,
// section 4.5.3).
func senmlTime(seconds float64, now time.Time) (time.Time, error) {
	const absolute = 1 << 28
	ms := math.Round(seconds * 1000)
	at := time.UnixMilli(int64(ms)).UTC()
	if seconds < absolute {
		at = now.Add(time.Duration(ms) * time.Millisecond).UTC().Truncate(time.Millisecond)
	}
	if math.Abs(seconds) > 1e11 || at.After(now.Add(time.Minute)) {
		return at, fmt.Errorf("time %g s lies in the future", seconds)
	}
	return at, nil
}
