package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"time"

	"dustlog/internal/airflow"
	"dustlog/internal/bundle"
	"dustlog/internal/clearance"
	"dustlog/internal/compare"
	"dustlog/internal/config"
	"dustlog/internal/csvfile"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/report"
	"dustlog/internal/study"
)

// Names of an evidence bundle's files.
const (
	bundleReadings = "readings/" // one CSV file for each sensor
	bundleDiary    = "diary.json"
	bundleSettings = "settings.json"
	bundleConfig   = "dustlog.toml"
	bundleLimits   = "limits.json"
	bundleResults  = "results.json"
	bundleReport   = "report.html"
)

// evidenceDiary is what was written down and counted beside the readings.
type evidenceDiary struct {
	Schema       int                `json:"schema"`
	Sensors      []dust.Sensor      `json:"sensors"`
	Tasks        []dust.Task        `json:"tasks"`
	Setups       []dust.Setup       `json:"setups"`
	Periods      []dust.SetupPeriod `json:"setup_periods"`
	Calibrations []dust.Calibration `json:"calibrations"`
	LineQuality  []dust.LineQuality `json:"line_quality"`
	Events       []dust.Event       `json:"events"`
	Entries      []evidenceEntry    `json:"entries"` // remarks, and readings off the dust collector
}

// evidenceEntry is a remark or a reading off the dust collector, as it was entered.
type evidenceEntry struct {
	ID     string         `json:"id"`
	Kind   dust.EntryKind `json:"kind"`
	At     time.Time      `json:"at"`
	Name   string         `json:"name"`
	Text   string         `json:"text"`
	Undone time.Time      `json:"taken_back,omitzero"`
}

// evidenceSettings is what the results depend on besides the records and the tables
// of the configuration file.
type evidenceSettings struct {
	Schema  int               `json:"schema"`   // 2; 1 had the tables of the file in it
	Given   map[string]string `json:"settings"` // those that were not left at their default, and the time zone
	From    time.Time         `json:"from"`
	To      time.Time         `json:"to"`
	Before  string            `json:"before"`
	After   string            `json:"after"`
	Version string            `json:"version"`
}

// evidenceResults is what is computed from them.
type evidenceResults struct {
	Schema     int                   `json:"schema"`
	Exposure   exposure.Result       `json:"exposure"`
	Compare    *compare.Result       `json:"compare"`
	NoCompare  string                `json:"no_compare,omitempty"`
	Airflow    *airflow.Result       `json:"airflow,omitempty"` // absent where the records were a server's copy
	Clearance  []clearance.Result    `json:"clearance,omitempty"`
	Respirator *study.PastRespirator `json:"respirator,omitempty"`
}

func resultsOf(in report.Input) evidenceResults {
	r := evidenceResults{Schema: 1, Exposure: in.Exposure, Compare: in.Compare, NoCompare: in.NoCompare.String(), Airflow: in.Airflow, Respirator: in.Respirator}
	for _, c := range in.Cleared {
		r.Clearance = append(r.Clearance, c.Result)
	}
	return r
}

func settingsOf(cfg config.Config, o reportOptions, w study.Window) evidenceSettings {
	s := evidenceSettings{Schema: 2, Given: map[string]string{"shop.zone": cfg.Shop.Zone.String()},
		From: w.From, To: w.To, Before: o.before, After: o.after, Version: version()}
	for _, one := range cfg.Scalars() {
		// Where a store lies, where it is copied to and what language a report is in
		// changes no result.
		if one.Name != "shop.language" && one.Origin != "default" && len(one.Name) > 5 && one.Name[:5] == "shop." {
			s.Given[one.Name] = one.Value
		}
	}
	return s
}

// writeBundle packs everything that the results rest on.
func writeBundle(ctx context.Context, a *app, cfg config.Config, records records, o reportOptions, w study.Window, in report.Input, page []byte) error {
	diary, err := diaryOf(ctx, records, w)
	if err != nil {
		return err
	}
	table, err := limitTable(cfg)
	if err != nil {
		return err
	}
	tables, err := cfg.Evidence()
	if err != nil {
		return err
	}
	bar := a.progress(len(diary.Sensors)+1, "evidence bundle")
	defer bar.done()
	return streamWhole(o.bundle, func(out io.Writer) error {
		b := bundle.NewWriter(out, "Everything that a dustlog report rests on. To check it: dustlog verify FILE", "dustlog "+version(), a.Now())
		for _, sensor := range diary.Sensors {
			bar.step("readings of " + sensor.Name)
			err := b.Add(bundleReadings+url.PathEscape(sensor.Name)+".csv", "readings of "+sensor.Name+", unchanged, as `dustlog import` reads them", func(out io.Writer) error {
				return csvfile.Write(out, records.Readings(ctx, dust.Query{Sensors: []string{sensor.Name}, From: w.From, To: w.To}))
			})
			if err != nil {
				return err
			}
		}
		for _, f := range []struct {
			name, about string
			v           any
		}{
			{bundleDiary, "sensors, tasks, setups, calibrations, line quality, events, remarks and readings off the dust collector", diary},
			{bundleSettings, "the settings and the question", settingsOf(cfg, o, w)},
			{bundleLimits, "the table of limits, with sources", map[string]any{"schema": 1, "limits": table.All()}},
			{bundleResults, "what was computed", resultsOf(in)},
		} {
			if err := b.AddJSON(f.name, f.about, f.v); err != nil {
				return err
			}
		}
		for _, f := range []struct {
			name, about string
			content     []byte
		}{
			{bundleConfig, "of the configuration file: sensors without their ports, own limits, materials, the dust collector", tables},
			{bundleReport, "the report", page},
		} {
			err := b.Add(f.name, f.about, func(out io.Writer) error {
				_, err := io.Copy(out, bytes.NewReader(f.content))
				return err
			})
			if err != nil {
				return err
			}
		}
		return b.Close()
	})
}

// calibrated is what records may offer besides.
type calibrated interface {
	Calibrations(ctx context.Context) ([]dust.Calibration, error)
}

func diaryOf(ctx context.Context, records records, w study.Window) (d evidenceDiary, err error) {
	d.Schema = 1
	if d.Sensors, err = records.Sensors(ctx); err != nil {
		return d, err
	}
	if d.Tasks, err = records.Tasks(ctx, w.From, w.To); err != nil {
		return d, err
	}
	if d.Setups, err = records.Setups(ctx); err != nil {
		return d, err
	}
	if d.Periods, err = records.SetupPeriods(ctx); err != nil {
		return d, err
	}
	if c, ok := records.(calibrated); ok {
		if d.Calibrations, err = c.Calibrations(ctx); err != nil {
			return d, err
		}
	}
	if d.LineQuality, err = records.LineQuality(ctx, w.From, w.To); err != nil {
		return d, err
	}
	if d.Events, err = records.Events(ctx, w.From, w.To); err != nil {
		return d, err
	}
	d.Entries, err = evidenceEntries(ctx, records, w)
	return d, err
}

// evidenceEntries lists what results rest on. Taps that start and stop tasks have
// become tasks; a server's copy holds no entries.
func evidenceEntries(ctx context.Context, records records, w study.Window) ([]evidenceEntry, error) {
	list := []evidenceEntry{}
	diary, ok := records.(interface {
		Entries(ctx context.Context, from, to time.Time) ([]dust.Entered, error)
	})
	if !ok {
		return list, nil
	}
	entries, err := diary.Entries(ctx, w.From, w.To)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if e.Kind == dust.NoteEntry || e.Kind == dust.GaugeEntry {
			list = append(list, evidenceEntry{ID: e.ID, Kind: e.Kind, At: e.At, Name: e.Name, Text: e.Text, Undone: e.Undone})
		}
	}
	return list, nil
}

// errDiffers says that a bundle does not give the results it holds.
var errDiffers = errors.New("the bundle's results are not what its records give")

func differs(n int) error { return fmt.Errorf("%w: %d differences", errDiffers, n) }
