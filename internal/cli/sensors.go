package cli

import (
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/study"
)

func newSensors(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use: "sensors", Short: "List the sensors in the store and how much each has sent", Args: noArgs,
		Example: "  dustlog sensors\n  dustlog sensors --json",
		RunE:    func(cmd *cobra.Command, _ []string) error { return runSensors(a, cmd) },
	}
	a.addJSON(cmd)
	return cmd
}

// sensorJSON is a sensor as printed by --json.
type sensorJSON struct {
	Sensor   string        `json:"sensor"`
	Model    string        `json:"model"`
	Position dust.Position `json:"position"`
	Readings int64         `json:"readings"`
	First    *time.Time    `json:"first"`
	Last     *time.Time    `json:"last"`
}

func runSensors(a *app, cmd *cobra.Command) error {
	return a.inRecords(cmd, windowFlags{}, func(records records, cfg config.Config, _ study.Window) error {
		sensors, err := records.Sensors(cmd.Context())
		if err != nil {
			return err
		}
		spans, err := records.Span(cmd.Context())
		if err != nil {
			return err
		}
		rows := []sensorJSON{}
		for _, s := range sensors {
			row := sensorJSON{Sensor: s.Name, Model: s.Model, Position: s.Position}
			for _, span := range spans {
				if span.Sensor == s.Name && span.Count > 0 {
					row.Readings, row.First, row.Last = int64(span.Count), &span.First, &span.Last
				}
			}
			rows = append(rows, row)
		}
		if a.json {
			return writeJSON(a.Stdout, map[string]any{"schema": 1, "sensors": rows})
		}
		t := newTable(a.Stdout, "SENSOR", "MODEL", "POSITION", "READINGS", "FIRST", "LAST")
		for _, r := range rows {
			t.row(r.Sensor, r.Model, r.Position.Label(), r.Readings, moment(r.First, cfg.Shop.Zone), moment(r.Last, cfg.Shop.Zone))
		}
		t.flush()
		return nil
	})
}

func moment(t *time.Time, zone *time.Location) string {
	if t == nil {
		return "–"
	}
	return t.In(zone).Format("2006-01-02 15:04:05")
}
