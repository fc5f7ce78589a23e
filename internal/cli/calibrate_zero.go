package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
)

func newCalibrateZero(a *app) *cobra.Command {
	var k keeping
	cmd := &cobra.Command{
		Use:   "zero --sensor SENSOR --from WHEN --to WHEN",
		Short: "What a sensor reads in filtered air: its offset, its floor, its drift",
		Long: `What a sensor reads in filtered air. Put a HEPA filter over the inlet, or sensor
and filter into a bag, wait until the reading is down, and let it run for ten
minutes or more. The mean is the sensor's offset; mean + 3 sd is its floor, below
which it cannot tell dust from its own noise. The offset is compared with that of
the zero check before. A zero check cannot see a change of gain: see collocate.`,
		Example: `  dustlog calibrate zero --sensor bench --from 07:30 --to 07:45
  dustlog calibrate zero --sensor bench --from "20m ago" --to now --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.calibrating(cmd, k, true, true, func(c calibrating) error { return runCalibrateZero(cmd, a, c) })
		},
	}
	k.addSensor(cmd)
	k.addTimes(cmd)
	k.add(a, cmd)
	return cmd
}

func runCalibrateZero(cmd *cobra.Command, a *app, c calibrating) error {
	z, err := c.CheckZero(cmd.Context(), c.sensor, c.metric, c.window)
	if err != nil {
		return err
	}
	numbers, err := calibrate.Numbers(z)
	if err != nil {
		return err
	}
	record, err := c.keep(cmd.Context(), dust.Calibration{
		Kind: dust.ZeroCalibration, Sensor: c.sensor.Name, From: z.From, To: z.To, Metric: z.Metric, Numbers: numbers,
	})
	if err != nil {
		return err
	}
	if err := a.kept(record, c.cfg.Shop.Zone, nil); err != nil {
		return err
	}
	if !z.Enough {
		return fmt.Errorf("%w: the zero check is too short to be used", errIncomplete)
	}
	return nil
}

func newCalibrateCollocate(a *app) *cobra.Command {
	var k keeping
	var o calibrate.CollocationOptions
	cmd := &cobra.Command{
		Use:   "collocate SENSOR SENSOR... --from WHEN --to WHEN",
		Short: "How sensors agree that stood side by side, and how they drifted apart since",
		Long: `How sensors agree that stood side by side, at one height, inlets within 30 cm and
none in the other's way, for an hour or more with work and pauses. The first is
the reference. Means of a minute become a line by Deming regression, which allows
for errors of both sensors, with a 95 % interval from means further apart than the
air's own memory. The reduced major axis is shown beside it, for sensors whose
errors differ by an unknown ratio.

Do it before and after a study: the second one tells how far the sensors moved
apart, as the uncertainty that adds to a ratio measured in between.`,
		Example: `  dustlog calibrate collocate bench room --from 08:00 --to 10:00
  dustlog calibrate collocate bench room yard --from "2026-03-02 08:00" --to "2026-03-02 10:00" --mean 5m --json`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 2 {
				return usage(cmd, fmt.Errorf("name two sensors or more, the reference first; got %d", len(args)))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("mean") && (o.Mean < time.Minute || o.Mean > 5*time.Minute) {
				return usage(cmd, fmt.Errorf("--mean %s: give 1m to 5m", o.Mean))
			}
			return a.calibrating(cmd, k, true, false, func(c calibrating) error { return runCollocate(cmd, a, c, args, o) })
		},
	}
	cmd.Flags().DurationVar(&o.Mean, "mean", time.Minute, "length of a mean, 1m to 5m")
	cmd.Flags().Float64Var(&o.Delta, "delta", 1, "error variance of the other sensor over that of the reference; 1 for sensors of one model")
	k.addTimes(cmd)
	k.add(a, cmd)
	return cmd
}

func runCollocate(cmd *cobra.Command, a *app, c calibrating, names []string, o calibrate.CollocationOptions) error {
	var sensors []dust.Sensor
	for i, name := range names {
		for _, other := range names[:i] {
			if other == name {
				return usage(cmd, fmt.Errorf("sensor %q is named twice", name))
			}
		}
		sensor, err := c.Sensor(name)
		if err != nil {
			return err
		}
		sensors = append(sensors, sensor)
	}
	if !(o.Delta > 0) {
		return usage(cmd, fmt.Errorf("--delta %g: give a ratio above zero", o.Delta))
	}
	result, drifts, since, err := c.Collocate(cmd.Context(), sensors, c.metric, c.window, o)
	if err != nil {
		return err
	}
	numbers, err := calibrate.Numbers(result)
	if err != nil {
		return err
	}
	record, err := c.keep(cmd.Context(), dust.Calibration{
		Kind: dust.SideBySide, Sensor: result.Reference, From: result.From, To: result.To, Metric: result.Metric, Numbers: numbers,
	})
	if err != nil {
		return err
	}
	if drifts == nil {
		drifts = []calibrate.Drift{}
	}
	if err := a.kept(record, c.cfg.Shop.Zone, map[string]any{"drifts": drifts, "drifts_since": since}); err != nil {
		return err
	}
	if !a.json {
		printDrifts(a, drifts, since)
	}
	var missing []string
	for _, p := range result.Others {
		if p.Deming == nil {
			missing = append(missing, p.Sensor)
		}
	}
	if len(missing) > 0 {
		return fmt.Errorf("%w: no line for %s", errIncomplete, strings.Join(missing, ", "))
	}
	return nil
}
