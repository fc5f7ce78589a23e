package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/calibrate"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

func newCalibrate(a *app) *cobra.Command {
	cmd := group("calibrate", "Check sensors, and find the factor that makes their readings dust on a filter",
		newCalibrateZero(a), newCalibrateCollocate(a), newCalibrateFilter(a), newCalibrateFactor(a),
		newCalibrateList(a), newCalibrateShow(a), newCalibrateRetire(a))
	cmd.Long = `Check sensors, and find the factor that makes their readings dust on a filter.

  zero       what a sensor reads in filtered air: its offset and its floor
  collocate  how sensors agree side by side, and how they drifted apart since
  filter     one filter sample beside a sensor
  factor     a factor from at least three filter samples of one dust
  list, show, retire   what is on record

Whatever is kept gets a number and is never changed: add a better one, retire a
wrong one. ` + "`dustlog exposure`" + ` uses the factor that fits a shift's day, dust, task and
limit, and names it. Readings stay as they are.`
	return cmd
}

// keeping is what the commands share that keep a calibration.
type keeping struct {
	sensor, metric, note string
	win                  windowFlags
	try                  bool
}

func (k *keeping) add(a *app, cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&k.metric, "metric", "pm2_5", "mass channel: pm1, pm2_5, pm4 or pm10")
	f.StringVar(&k.note, "note", "", "anything worth remembering")
	f.BoolVar(&k.try, "try", false, "work it out and show it, but keep nothing")
	a.addJSON(cmd)
}

func (k *keeping) addSensor(cmd *cobra.Command) {
	cmd.Flags().StringVar(&k.sensor, "sensor", "", "sensor (default: the only one in the store)")
}

func (k *keeping) addTimes(cmd *cobra.Command) {
	cmd.Flags().StringVar(&k.win.from, "from", "", "when it began: "+whenHelp)
	cmd.Flags().StringVar(&k.win.to, "to", "", "when it ended")
}

// calibrating is an open store with everything that a calibration is made of.
type calibrating struct {
	*study.Study
	cfg    config.Config
	window study.Window
	metric dust.Channel
	sensor dust.Sensor
	keep   func(context.Context, dust.Calibration) (dust.Calibration, error)
}

// calibrating opens the store and runs work on it. needs says whether the
// command has times, and a sensor.
func (a *app) calibrating(cmd *cobra.Command, k keeping, times, sensor bool, work func(calibrating) error) error {
	metric, err := parseMass(cmd, k.metric)
	if err != nil {
		return err
	}
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	c := calibrating{cfg: cfg, metric: metric}
	if times {
		if c.window, err = k.window(cmd, a.Now(), cfg.Shop.Zone); err != nil {
			return err
		}
	}
	settings, err := studySettings(cfg)
	if err != nil {
		return err
	}
	open := a.editable
	if k.try {
		open = a.readable
	}
	store, err := open(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer store.Close()
	if c.Study, err = study.Open(cmd.Context(), store, settings); err != nil {
		return err
	}
	if sensor {
		if c.sensor, err = c.OnlySensor(k.sensor); err != nil {
			return err
		}
	}
	c.keep = func(ctx context.Context, r dust.Calibration) (dust.Calibration, error) {
		r.Made = a.Now().UTC()
		r.Note = strings.TrimSpace(k.note)
		if k.try {
			return r, nil
		}
		return store.AddCalibration(ctx, r)
	}
	return work(c)
}

// window wants both ends, none of them in the future.
func (k keeping) window(cmd *cobra.Command, now time.Time, zone *time.Location) (study.Window, error) {
	if k.win.from == "" || k.win.to == "" {
		return study.Window{}, usage(cmd, errors.New("--from and --to are needed"))
	}
	w, err := k.win.window(cmd, now, zone)
	if err == nil && w.To.After(now.Add(time.Minute)) {
		err = usage(cmd, fmt.Errorf("--to %s lies in the future", k.win.to))
	}
	return w, err
}

// calibrationJSON is a calibration as printed by --json.
type calibrationJSON struct {
	ID         *int64               `json:"id"` // null if it was not kept
	Kind       dust.CalibrationKind `json:"kind"`
	Sensor     string               `json:"sensor"`
	Made       time.Time            `json:"made"`
	From       time.Time            `json:"from"`
	To         time.Time            `json:"to"`
	Metric     string               `json:"metric"`
	Fraction   string               `json:"fraction"`
	Material   string               `json:"material"`
	Task       string               `json:"task"`
	Season     string               `json:"season"`
	ValidFrom  string               `json:"valid_from"` // first and last day, in the shop's zone
	Expires    string               `json:"expires"`
	Numbers    json.RawMessage      `json:"numbers"`
	Note       string               `json:"note"`
	Retired    *time.Time           `json:"retired"`
	RetiredWhy string               `json:"retired_why"`
	State      string               `json:"state"`
}

func (a *app) calibrationJSON(c dust.Calibration, zone *time.Location) calibrationJSON {
	j := calibrationJSON{
		Kind: c.Kind, Sensor: c.Sensor, Made: c.Made, From: c.From, To: c.To, Metric: c.Metric, Fraction: c.Fraction,
		Material: c.Material, Task: c.Task, Season: c.Season, ValidFrom: dayIn(c.Valid, zone), Expires: dayIn(c.Expires, zone),
		Numbers: json.RawMessage(c.Numbers), Note: c.Note, RetiredWhy: c.RetiredWhy, State: calibrationState(c, a.Now(), zone),
	}
	if c.ID != 0 {
		j.ID = &c.ID
	}
	if !c.InUse() {
		j.Retired = &c.Retired
	}
	return j
}

func dayIn(t time.Time, zone *time.Location) string {
	if t.IsZero() {
		return ""
	}
	return t.In(zone).Format(time.DateOnly)
}

// calibrationState says whether a calibration may be used now.
func calibrationState(c dust.Calibration, now time.Time, zone *time.Location) string {
	switch {
	case !c.InUse():
		return strings.TrimSuffix("retired "+dayIn(c.Retired, zone)+": "+c.RetiredWhy, ": ")
	case !c.Expires.IsZero() && dayIn(now, zone) > dayIn(c.Expires, zone):
		return "expired after " + dayIn(c.Expires, zone)
	case c.Kind == dust.FactorCalibration:
		if f, err := calibrate.Read[calibrate.Fit](c, c.Kind); err == nil && !f.Usable {
			return "not used: " + f.Why
		}
	case c.Kind == dust.ZeroCalibration:
		if z, err := calibrate.Read[calibrate.ZeroCheck](c, c.Kind); err == nil && !z.Enough {
			return "not used: too few readings"
		}
	}
	return "in use"
}

// kept prints a calibration that was just worked out; more is what JSON shows
// beside it.
func (a *app) kept(c dust.Calibration, zone *time.Location, more map[string]any) error {
	if a.json {
		document := map[string]any{"schema": 1, "kept": c.ID != 0, "calibration": a.calibrationJSON(c, zone)}
		for key, value := range more {
			document[key] = value
		}
		return writeJSON(a.Stdout, document)
	}
	if err := a.printCalibration(c, zone); err != nil {
		return err
	}
	if c.ID == 0 {
		fmt.Fprintln(a.Stdout, "Not kept.")
		return nil
	}
	fmt.Fprintf(a.Stdout, "Kept as calibration %d.\n", c.ID)
	return nil
}

// parseIDs reads numbers with commas between them.
func parseIDs(text string) (ids []int64, err error) {
	for part := range strings.SplitSeq(text, ",") {
		if part = strings.TrimSpace(part); part == "" {
			continue
		}
		id, err := strconv.ParseInt(part, 10, 64)
		if err != nil || id < 1 {
			return nil, fmt.Errorf("%q is no number of a calibration: see `dustlog calibrate list`", part)
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// configuredFactor is a factor of the configuration as exposure takes it.
func configuredFactor(f config.Factor) (exposure.Factor, error) {
	fraction, err := exposure.ParseFraction(f.Fraction)
	if err != nil {
		return exposure.Factor{}, err
	}
	if f.Metric != "" {
		if c, err := dust.ParseMetric(f.Metric); err != nil || !c.IsMass() {
			return exposure.Factor{}, fmt.Errorf("factor for metric %q: use pm1, pm2_5, pm4 or pm10", f.Metric)
		}
	}
	out := exposure.Factor{
		Factor: f.Factor, Fraction: fraction, Metric: f.Metric, SpreadPercent: f.SpreadPercent,
		UncertaintyPercent: f.UncertaintyPercent, Pairs: f.Pairs, Source: f.Source, Date: f.Date,
		ValidFrom: f.ValidFrom, Expires: f.Expires, Material: f.Material, Task: f.Task,
	}
	if f.Pairs > 0 && f.Pairs < calibrate.FewestPairs {
		out.Unusable = fmt.Sprintf("%d of at least %d pairs", f.Pairs, calibrate.FewestPairs)
	}
	return out, nil
}
