package cli

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"dustlog/internal/dust"
	"dustlog/internal/export"
)

type exportOptions struct {
	win     windowFlags
	sensors []string
	format  string
	out     string
}

func newExport(a *app) *cobra.Command {
	var o exportOptions
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write readings as CSV, InfluxDB line protocol or Parquet",
		Long: `Write readings in an open format:

  csv           as dustlog import takes it; the units are in the header
  lineprotocol  InfluxDB line protocol, times in milliseconds, as dustlog forward sends it
  parquet       a folder with one file per sensor and UTC day`,
		Example: `  dustlog export --from 2026-03-02 --to 2026-03-06 -o week.csv
  dustlog export --format lineprotocol --sensor bench | gzip > bench.lp.gz
  dustlog export --format parquet -o days`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runExport(cmd, a, o) },
	}
	o.win.add(cmd)
	cmd.Flags().StringArrayVar(&o.sensors, "sensor", nil, "only this sensor; may be repeated")
	cmd.Flags().StringVar(&o.format, "format", string(export.CSV), "csv, lineprotocol or parquet")
	cmd.Flags().StringVarP(&o.out, "out", "o", "-", "file to write, for parquet a folder; - for standard output")
	return cmd
}

func runExport(cmd *cobra.Command, a *app, o exportOptions) error {
	format, err := export.ParseFormat(o.format)
	if err != nil {
		return usage(cmd, err)
	}
	if format == export.Parquet && o.out == "-" {
		return usage(cmd, errors.New("parquet goes into a folder: give --out FOLDER"))
	}
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	w, err := o.win.window(cmd, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return err
	}
	s, err := a.records(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer s.Close()
	if err := knownSensors(cmd, s, o.sensors); err != nil {
		return err
	}
	readings := s.Readings(cmd.Context(), dust.Query{Sensors: o.sensors, From: w.From, To: w.To})
	if format == export.Parquet {
		n, files, err := export.WriteDays(o.out, readings)
		if err == nil {
			a.remark("%d readings written to %d files in %s", n, files, o.out)
		}
		return err
	}
	write := func(to io.Writer) error {
		n, err := export.Write(to, format, cfg.Shop.Name, readings)
		if err == nil {
			a.remark("%d readings written to %s", n, o.out)
		}
		return err
	}
	if o.out == "-" {
		return write(a.Stdout)
	}
	return streamWhole(o.out, write)
}

// knownSensors refuses a name that the store does not know: an empty export
// would look like a quiet week.
func knownSensors(cmd *cobra.Command, s records, wanted []string) error {
	if len(wanted) == 0 {
		return nil
	}
	sensors, err := s.Sensors(cmd.Context())
	if err != nil {
		return err
	}
	known := map[string]bool{}
	for _, sensor := range sensors {
		known[sensor.Name] = true
	}
	for _, name := range wanted {
		if !known[name] {
			return fmt.Errorf("%w %q: see `dustlog sensors`", dust.ErrUnknownSensor, name)
		}
	}
	return nil
}
