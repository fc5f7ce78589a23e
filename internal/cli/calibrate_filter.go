package cli

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

// dustFlags say which dust a calibration is of.
type dustFlags struct{ fraction, material, task, season string }

func (d *dustFlags) add(cmd *cobra.Command, fraction string) {
	f := cmd.Flags()
	f.StringVar(&d.fraction, "fraction", "", fraction)
	f.StringVar(&d.material, "material", "", "what was worked (default: what the diary names, if it is one)")
	f.StringVar(&d.task, "task", "", "what was done (default: what the diary names, if it is one)")
	f.StringVar(&d.season, "season", "", "time of year, as in \"winter, heated\"; told, not asked about")
}

type filterOptions struct {
	keeping
	dustFlags
	method                string
	flowBefore, flowAfter string
	before, after, lod    float64
	blanks                []string
	minutes               float64
}

func newCalibrateFilter(a *app) *cobra.Command {
	var o filterOptions
	cmd := &cobra.Command{
		Use:   "filter --sensor SENSOR --from WHEN --to WHEN --method METHOD ...",
		Short: "One filter sample beside a sensor",
		Long: `One filter sample beside a sensor: pump on at --from, off at --to, within 30 cm of
the sensor and at its height. The concentration is that of NIOSH 0500, 0501 or
0600: what the filter gained less what the field blanks gained, over the volume
of air. By 0600 the volume is that of the cyclone's nominal flow, as that method
has it. Below the detection limit the sample says "at most" and makes no pair.

Another method is "other", with --fraction and --lod-mg; inhalable samples come in
that way. Flows are in L/min, or with a unit as in "0.078 cfm".

Enter at least three samples of one material, task and season, then make the
factor: dustlog calibrate factor.`,
		Example: `  dustlog calibrate filter --sensor bench --from "2026-03-02 08:00" --to "2026-03-02 14:50" --method 0600 \
    --flow-before 2.2 --flow-after 2.15 --before-mg 12.345 --after-mg 13.191 \
    --blank 12.100:12.106 --blank 12.210:12.214 --material oak
  dustlog calibrate filter --from 08:00 --to 12:00 --method other --fraction inhalable --lod-mg 0.05 \
    --flow-before 2 --flow-after 2 --before-mg 20.110 --after-mg 21.004 --blank 20.300:20.301 --blank 20.150:20.150`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.calibrating(cmd, o.keeping, true, true, func(c calibrating) error { return runCalibrateFilter(cmd, a, c, o) })
		},
	}
	f := cmd.Flags()
	o.addSensor(cmd)
	o.addTimes(cmd)
	f.StringVar(&o.method, "method", "", "0500, 0501, 0600 or other")
	f.StringVar(&o.flowBefore, "flow-before", "", "flow before, L/min, with the sampler in line")
	f.StringVar(&o.flowAfter, "flow-after", "", "flow after, L/min")
	f.Float64Var(&o.minutes, "minutes", 0, "minutes the pump ran, by its own clock (default: from --from to --to)")
	f.Float64Var(&o.before, "before-mg", 0, "filter before, mg")
	f.Float64Var(&o.after, "after-mg", 0, "filter after, mg")
	f.StringArrayVar(&o.blanks, "blank", nil, "field blank before:after, mg, as in 12.100:12.106; once for each")
	f.Float64Var(&o.lod, "lod-mg", 0, "the laboratory's detection limit, mg on the filter (default: the method's)")
	o.dustFlags.add(cmd, "fraction that the sampler catches; only with --method other")
	o.keeping.add(a, cmd)
	return cmd
}

// input reads the flags that describe the sample.
func (o filterOptions) input(cmd *cobra.Command, w study.Window) (in calibrate.FilterInput, err error) {
	in = calibrate.FilterInput{From: w.From, To: w.To, Minutes: o.minutes, Filter: calibrate.Weights{Before: o.before, After: o.after}, LOD: o.lod}
	var missing []string
	for _, name := range []string{"method", "flow-before", "flow-after", "before-mg", "after-mg"} {
		if !cmd.Flags().Changed(name) {
			missing = append(missing, "--"+name)
		}
	}
	if len(missing) > 0 {
		return in, usage(cmd, fmt.Errorf("needed: %s", strings.Join(missing, ", ")))
	}
	if in.Method, err = o.findMethod(); err != nil {
		return in, usage(cmd, err)
	}
	if in.FlowBefore, err = calibrate.ParseFlow(o.flowBefore); err != nil {
		return in, usage(cmd, fmt.Errorf("--flow-before: %w", err))
	}
	if in.FlowAfter, err = calibrate.ParseFlow(o.flowAfter); err != nil {
		return in, usage(cmd, fmt.Errorf("--flow-after: %w", err))
	}
	for _, text := range o.blanks {
		first, second, ok := strings.Cut(text, ":")
		before, err1 := strconv.ParseFloat(strings.TrimSpace(first), 64)
		after, err2 := strconv.ParseFloat(strings.TrimSpace(second), 64)
		if !ok || err1 != nil || err2 != nil {
			return in, usage(cmd, fmt.Errorf("--blank %q: write before:after in mg, as in 12.100:12.106", text))
		}
		in.Blanks = append(in.Blanks, calibrate.Weights{Before: before, After: after})
	}
	return in, nil
}

func (o filterOptions) findMethod() (calibrate.Method, error) {
	if !strings.EqualFold(strings.TrimSpace(o.method), "other") {
		if o.fraction != "" {
			return calibrate.Method{}, errors.New("--fraction belongs to --method other: a listed method has its own")
		}
		return calibrate.FindMethod(o.method)
	}
	if o.fraction == "" || o.lod == 0 {
		return calibrate.Method{}, errors.New("--method other needs --fraction and --lod-mg")
	}
	fraction, err := exposure.ParseFraction(o.fraction)
	if err != nil {
		return calibrate.Method{}, err
	}
	return calibrate.OtherMethod(fraction, o.lod)
}

func runCalibrateFilter(cmd *cobra.Command, a *app, c calibrating, o filterOptions) error {
	in, err := o.input(cmd, c.window)
	if err != nil {
		return err
	}
	sample, err := c.PairFilter(cmd.Context(), c.sensor, c.metric, in)
	if err != nil {
		return err
	}
	material, task, err := c.Diary(cmd.Context(), c.window)
	if err != nil {
		return err
	}
	if cmd.Flags().Changed("material") {
		material = strings.TrimSpace(o.material)
	}
	if cmd.Flags().Changed("task") {
		task = strings.TrimSpace(o.task)
	}
	numbers, err := calibrate.Numbers(sample)
	if err != nil {
		return err
	}
	record, err := c.keep(cmd.Context(), dust.Calibration{
		Kind: dust.FilterCalibration, Sensor: c.sensor.Name, From: sample.From, To: sample.To, Metric: sample.Sensor.Metric,
		Fraction: string(sample.Fraction), Material: material, Task: task, Season: strings.TrimSpace(o.season), Numbers: numbers,
	})
	if err != nil {
		return err
	}
	pairs := pairsLike(c.Calibrations(), record)
	if err := a.kept(record, c.cfg.Shop.Zone, map[string]any{"pairs_of_this_dust": pairs}); err != nil || a.json {
		return err
	}
	switch need := calibrate.FewestPairs - pairs; {
	case record.ID == 0:
	case need > 0:
		fmt.Fprintf(a.Stdout, "%d of the %d pairs that a factor needs for %s.\n", pairs, calibrate.FewestPairs, dustName(record))
	default:
		fmt.Fprintf(a.Stdout, "%d pairs for %s: dustlog calibrate factor --sensor %q makes the factor.\n", pairs, dustName(record), record.Sensor)
	}
	return nil
}

// pairsLike counts the samples of one dust that make a pair, the new one
// included.
func pairsLike(records []dust.Calibration, fresh dust.Calibration) (n int) {
	for _, c := range append(slices.Clone(records), fresh) {
		if c.Kind != dust.FilterCalibration || !c.InUse() || c.Sensor != fresh.Sensor || c.Metric != fresh.Metric ||
			c.Fraction != fresh.Fraction || !calibrate.SameDust(c.Material, fresh.Material) || !calibrate.SameDust(c.Task, fresh.Task) {
			continue
		}
		if s, err := calibrate.Read[calibrate.FilterSample](c, c.Kind); err == nil && s.Sensor != nil && s.Sensor.Pair != nil {
			n++
		}
	}
	return n
}

// dustName is what a calibration holds for, in words.
func dustName(c dust.Calibration) string {
	var parts []string
	for _, part := range []string{c.Material, c.Task, c.Fraction} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	return strings.Join(parts, ", ")
}

type factorOptions struct {
	keeping
	dustFlags
	samples            string
	validFrom, expires string
}

func newCalibrateFactor(a *app) *cobra.Command {
	var o factorOptions
	cmd := &cobra.Command{
		Use:   "factor --sensor SENSOR",
		Short: "A factor from the filter samples of one dust",
		Long: `A factor from the filter samples of one dust: the ratio of means of filters and
sensor. It takes all samples of the sensor that are in use, if they are of one
material, task and fraction; else choose with --material, --task and --fraction,
or by number with --samples. With fewer than three pairs it is kept, but no
finding rests on it.

The 95 % interval is that of one new shift: scatter of the pairs, weighing, and
5 % for the pump. A factor holds for its dust, from the day of its first sample
until a year after its last (common practice); a newer one takes its place.`,
		Example: `  dustlog calibrate factor --sensor bench
  dustlog calibrate factor --sensor bench --samples 3,4,5 --season "winter, heated" --expires 2026-10-01`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.calibrating(cmd, o.keeping, false, true, func(c calibrating) error { return runCalibrateFactor(cmd, a, c, o) })
		},
	}
	f := cmd.Flags()
	o.addSensor(cmd)
	f.StringVar(&o.samples, "samples", "", "numbers of the filter samples, with commas (default: all that fit)")
	f.StringVar(&o.validFrom, "valid-from", "", "first day it is used for (default: that of the first sample)")
	f.StringVar(&o.expires, "expires", "", "last day it is used for (default: a year after the last sample)")
	o.dustFlags.add(cmd, "only samples of this fraction")
	o.keeping.add(a, cmd)
	return cmd
}

func runCalibrateFactor(cmd *cobra.Command, a *app, c calibrating, o factorOptions) error {
	ids, err := parseIDs(o.samples)
	if err != nil {
		return usage(cmd, fmt.Errorf("--samples: %w", err))
	}
	samples, err := calibrate.Choose(c.Calibrations(), c.sensor.Name, calibrate.Choice{Samples: ids, Material: o.material, Task: o.task, Fraction: o.fraction})
	if err != nil {
		return fmt.Errorf("factor: %w", err)
	}
	fit, err := calibrate.FromSamples(samples)
	if err != nil {
		return err
	}
	record, err := o.record(cmd, samples, fit, c.cfg.Shop.Zone)
	if err != nil {
		return err
	}
	if record, err = c.keep(cmd.Context(), record); err != nil {
		return err
	}
	if err := a.kept(record, c.cfg.Shop.Zone, nil); err != nil {
		return err
	}
	if !fit.Usable {
		return fmt.Errorf("%w: %s, so no finding rests on this factor", errIncomplete, fit.Why)
	}
	return nil
}

// record is the factor as it is kept.
func (o factorOptions) record(cmd *cobra.Command, samples []dust.Calibration, fit calibrate.Fit, zone *time.Location) (dust.Calibration, error) {
	first, last := samples[0].From, samples[0].To
	for _, s := range samples {
		if s.From.Before(first) {
			first = s.From
		}
		if s.To.After(last) {
			last = s.To
		}
	}
	numbers, err := calibrate.Numbers(fit)
	if err != nil {
		return dust.Calibration{}, err
	}
	season := strings.TrimSpace(o.season)
	if season == "" {
		season = samples[0].Season
	}
	r := dust.Calibration{
		Kind: dust.FactorCalibration, Sensor: samples[0].Sensor, From: first, To: last, Metric: fit.Metric, Fraction: string(fit.Fraction),
		Material: samples[0].Material, Task: samples[0].Task, Season: season,
		Valid: startOfDay(first, zone), Expires: startOfDay(calibrate.LastDay(last.In(zone)), zone), Numbers: numbers,
	}
	for _, day := range []struct {
		name, text string
		into       *time.Time
	}{{"--valid-from", o.validFrom, &r.Valid}, {"--expires", o.expires, &r.Expires}} {
		if day.text == "" {
			continue
		}
		if *day.into, err = time.ParseInLocation(time.DateOnly, strings.TrimSpace(day.text), zone); err != nil {
			return r, usage(cmd, fmt.Errorf("%s %q is no day: write it as in 2026-03-02", day.name, day.text))
		}
	}
	if r.Expires.Before(r.Valid) {
		return r, usage(cmd, fmt.Errorf("the factor would expire on %s, before it is valid from %s", dayIn(r.Expires, zone), dayIn(r.Valid, zone)))
	}
	return r, nil
}

func startOfDay(t time.Time, zone *time.Location) time.Time {
	y, m, d := t.In(zone).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, zone)
}
