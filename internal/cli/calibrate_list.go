package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
)

func newCalibrateList(a *app) *cobra.Command {
	var sensor, kind string
	cmd := &cobra.Command{
		Use: "list", Short: "List the calibrations on record, and whether each may be used", Args: noArgs,
		Example: "  dustlog calibrate list\n  dustlog calibrate list --sensor bench --kind factor --json",
		RunE: func(cmd *cobra.Command, _ []string) error {
			if kind != "" && !slices.Contains(dust.CalibrationKinds(), dust.CalibrationKind(kind)) {
				return usage(cmd, fmt.Errorf("--kind %q: use one of %v", kind, dust.CalibrationKinds()))
			}
			return runCalibrateList(cmd, a, sensor, dust.CalibrationKind(kind))
		},
	}
	cmd.Flags().StringVar(&sensor, "sensor", "", "only those of this sensor")
	cmd.Flags().StringVar(&kind, "kind", "", "only zero, collocation, filter or factor")
	a.addJSON(cmd)
	return cmd
}

func runCalibrateList(cmd *cobra.Command, a *app, sensor string, kind dust.CalibrationKind) error {
	list, zone, err := a.calibrations(cmd)
	if err != nil {
		return err
	}
	list = slices.DeleteFunc(list, func(c dust.Calibration) bool {
		return sensor != "" && c.Sensor != sensor || kind != "" && c.Kind != kind
	})
	if a.json {
		out := []calibrationJSON{}
		for _, c := range list {
			out = append(out, a.calibrationJSON(c, zone))
		}
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "calibrations": out})
	}
	t := newTable(a.Stdout, "NUMBER", "KIND", "SENSOR", "FROM", "TO", "FOR", "RESULT", "STATE")
	for _, c := range list {
		result, err := calibrationResult(c)
		if err != nil {
			return err
		}
		t.row(c.ID, c.Kind, c.Sensor, c.From.In(zone).Format("2006-01-02 15:04"), c.To.In(zone).Format("2006-01-02 15:04"),
			strings.Join(slices.DeleteFunc([]string{c.Metric, dustName(c)}, func(s string) bool { return s == "" }), ", "), result, calibrationState(c, a.Now(), zone))
	}
	t.flush()
	return nil
}

// calibrations reads what is on record, in the shop's store or a server's copy.
func (a *app) calibrations(cmd *cobra.Command) ([]dust.Calibration, *time.Location, error) {
	cfg, err := a.load(nil)
	if err != nil {
		return nil, nil, err
	}
	records, err := a.records(cmd.Context(), cfg)
	if err != nil {
		return nil, nil, err
	}
	defer records.Close()
	list, err := records.Calibrations(cmd.Context())
	return list, cfg.Shop.Zone, err
}

func findCalibration(list []dust.Calibration, id int64) (dust.Calibration, error) {
	for _, c := range list {
		if c.ID == id {
			return c, nil
		}
	}
	return dust.Calibration{}, fmt.Errorf("%w: %d: see `dustlog calibrate list`", dust.ErrUnknownCalibration, id)
}

func newCalibrateShow(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use: "show NUMBER", Short: "Everything about one calibration", Args: exactArgs("NUMBER"),
		Example: "  dustlog calibrate show 7\n  dustlog calibrate show 7 --json",
		RunE: func(cmd *cobra.Command, args []string) error {
			id, err := oneID(cmd, args[0])
			if err != nil {
				return err
			}
			list, zone, err := a.calibrations(cmd)
			if err != nil {
				return err
			}
			c, err := findCalibration(list, id)
			if err != nil {
				return err
			}
			if a.json {
				return writeJSON(a.Stdout, map[string]any{"schema": 1, "calibration": a.calibrationJSON(c, zone)})
			}
			if err := a.printCalibration(c, zone); err != nil {
				return err
			}
			fmt.Fprintf(a.Stdout, "Calibration %d, made %s: %s.\n", c.ID, dayIn(c.Made, zone), calibrationState(c, a.Now(), zone))
			return nil
		},
	}
	a.addJSON(cmd)
	return cmd
}

func oneID(cmd *cobra.Command, text string) (int64, error) {
	ids, err := parseIDs(text)
	if err == nil && len(ids) != 1 {
		err = fmt.Errorf("%q is no number of a calibration: see `dustlog calibrate list`", text)
	}
	if err != nil {
		return 0, usage(cmd, err)
	}
	return ids[0], nil
}

func newCalibrateRetire(a *app) *cobra.Command {
	var why string
	cmd := &cobra.Command{
		Use:   "retire NUMBER --why REASON",
		Short: "Say that a calibration is not to be used any more; it stays on record",
		Long: `Say that a calibration is not to be used any more, for no shift of any day. It
stays on record with the reason. A factor that is only getting old need not be
retired: it expires by itself, and a newer one takes its place.`,
		Example: `  dustlog calibrate retire 7 --why "the pump's flow meter was wrong"
  dustlog calibrate retire 3 --why "two filters were mixed up" --json`,
		Args: exactArgs("NUMBER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			id, err := oneID(cmd, args[0])
			if err == nil && strings.TrimSpace(why) == "" {
				err = usage(cmd, errors.New("--why is needed: the reason stays on record"))
			}
			if err != nil {
				return err
			}
			return runCalibrateRetire(cmd, a, id, strings.TrimSpace(why))
		},
	}
	cmd.Flags().StringVar(&why, "why", "", "the reason")
	a.addJSON(cmd)
	return cmd
}

func runCalibrateRetire(cmd *cobra.Command, a *app, id int64, why string) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	store, err := a.editable(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer store.Close()
	c, err := store.RetireCalibration(cmd.Context(), id, why, a.Now())
	if err != nil {
		return err
	}
	list, err := store.Calibrations(cmd.Context())
	if err != nil {
		return err
	}
	resting := restingOn(list, id)
	if a.json {
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "calibration": a.calibrationJSON(c, cfg.Shop.Zone), "still_in_use": resting})
	}
	fmt.Fprintf(a.Stdout, "Calibration %d of %s is %s.\n", c.ID, c.Sensor, calibrationState(c, a.Now(), cfg.Shop.Zone))
	for _, other := range resting {
		fmt.Fprintf(a.Stdout, "Calibration %d rests on it and is still in use: retire it too, and make it anew.\n", other)
	}
	return nil
}

// restingOn lists the calibrations in use that were made of another.
func restingOn(list []dust.Calibration, id int64) []int64 {
	resting := []int64{}
	for _, c := range list {
		if !c.InUse() {
			continue
		}
		fit, err1 := calibrate.Read[calibrate.Fit](c, dust.FactorCalibration)
		sample, err2 := calibrate.Read[calibrate.FilterSample](c, dust.FilterCalibration)
		if err1 == nil && slices.Contains(fit.Samples, id) || err2 == nil && sample.Sensor != nil && sample.Sensor.ZeroID == id {
			resting = append(resting, c.ID)
		}
	}
	return resting
}
