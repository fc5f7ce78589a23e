package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/bundle"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/report"
	"dustlog/internal/sensor"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

type reportOptions struct {
	before, after string
	limit, shift  string
	out           string
	pdf           string
	bundle        string
	language      string
	win           windowFlags
	invented      bool
}

func newReport(a *app) *cobra.Command {
	var o reportOptions
	cmd := &cobra.Command{
		Use:   "report",
		Short: "Write a report that can be handed over",
		Long: `Write one HTML file that needs no network: the answers first, then evidence,
method, data quality, cautions, and what the sensors cannot show. It can be made
while the collector is writing.

With exactly two setups in the store they are compared without being named.

--lang de writes it in German, pictures too. What is quoted from a source (limits,
protection factors, sensors), what was recorded (events, calibrations), and the IDs
of results stay English. Results in a bundle are English in any language.`,
		Example: `  dustlog report --before "old filter" --after "new filter" --out week.html
  dustlog report --pdf week.pdf
  dustlog report --from 2026-03-02 --to 2026-03-13 --limit uk-hard --bundle week.zip`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := a.load(given(map[string]string{"shop.limit": o.limit, "shop.shift": o.shift, "shop.language": o.language}))
			if err != nil {
				return err
			}
			w, err := o.win.window(cmd, a.Now(), cfg.Shop.Zone)
			if err != nil {
				return err
			}
			if (o.before == "") != (o.after == "") {
				return usage(cmd, fmt.Errorf("give both --before and --after, or neither"))
			}
			_, err = runReport(cmd.Context(), a, cfg, o, w)
			return err
		},
	}
	cmd.Flags().StringVar(&o.before, "before", "", "setup before the change")
	cmd.Flags().StringVar(&o.after, "after", "", "setup after the change")
	cmd.Flags().StringVar(&o.limit, "limit", "", "id of the exposure limit (dustlog limits lists them)")
	cmd.Flags().StringVar(&o.shift, "shift", "", "working hours, as in 08:00-16:30")
	cmd.Flags().StringVarP(&o.out, "out", "o", "dustlog-report.html", "file to write; - for standard output")
	cmd.Flags().StringVar(&o.pdf, "pdf", "", "also write the report as PDF for paper, to this file")
	cmd.Flags().StringVar(&o.bundle, "bundle", "", "also pack readings, diary, calibrations, settings, limits and results into this zip file, for dustlog verify")
	cmd.Flags().StringVar(&o.language, "lang", "", "language of the report, "+strings.Join(words.Languages(), " or ")+" (default en)")
	o.win.add(cmd)
	_ = cmd.RegisterFlagCompletionFunc("limit", completeLimits)
	_ = cmd.RegisterFlagCompletionFunc("before", a.completeSetups)
	_ = cmd.RegisterFlagCompletionFunc("after", a.completeSetups)
	return cmd
}

// runReport gathers the results, writes the file, and returns what it shows.
func runReport(ctx context.Context, a *app, cfg config.Config, o reportOptions, w study.Window) (report.Input, error) {
	s, records, err := a.openRecalling(ctx, cfg)
	if err != nil {
		return report.Input{}, err
	}
	defer records.Close()
	in, err := gather(ctx, a, cfg, s, records, o, w)
	if err != nil {
		return in, err
	}
	var page bytes.Buffer
	if err := report.WriteHTML(&page, in); err != nil {
		return in, err
	}
	if o.pdf != "" {
		err := streamWhole(o.pdf, func(out io.Writer) error { return report.WritePDF(out, in) })
		if err != nil {
			return in, err
		}
		a.remark("report for paper written to %s", o.pdf)
	}
	if o.bundle != "" {
		if err := writeBundle(ctx, a, cfg, records, o, w, in, page.Bytes()); err != nil {
			return in, err
		}
		a.remark("evidence bundle written to %s; check it with: dustlog verify %s", o.bundle, o.bundle)
	}
	if o.out == "-" {
		_, err = a.Stdout.Write(page.Bytes())
		return in, err
	}
	if err := writeWhole(o.out, page.Bytes()); err != nil {
		return in, err
	}
	a.remark("report written to %s (%d kB)", o.out, page.Len()/1000)
	if err := a.noteReport(ctx, cfg, o.out, in); err != nil {
		a.remark("the store could not note the report, so pruning would not spare its days: %v", err)
	}
	return in, nil
}

// noteReport lets the store know which days a report speaks of.
func (a *app) noteReport(ctx context.Context, cfg config.Config, out string, in report.Input) error {
	if onServer(cfg.Store) {
		return nil
	}
	path, err := filepath.Abs(out)
	if err != nil {
		return err
	}
	records, err := a.editable(ctx, cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	return records.SaveReport(ctx, sqlite.SavedReport{Path: path, Created: a.Now(), From: in.From, To: in.To})
}

func gather(ctx context.Context, a *app, cfg config.Config, s *study.Study, records records, o reportOptions, w study.Window) (report.Input, error) {
	in := report.Input{
		Shop: cfg.Shop.Name, Invented: o.invented, Zone: cfg.Shop.Zone, Generated: a.Now(), Version: version(),
		MassScale: string(cfg.Shop.MassScale),
	}
	var err error
	if in.Words, err = words.In(cfg.Shop.Language); err != nil {
		return in, err
	}
	if in.Words.Tag() != "en" {
		a.remark("what is quoted from a source, what was recorded (events, calibrations), and the IDs of results are in English")
	}
	if in.Shop == "" {
		in.Shop = "Workshop"
	}
	bar := a.progress(7, "exposure")
	defer bar.done()
	if in.Exposure, err = exposureOf(ctx, s, cfg, dust.PM25, w); err != nil {
		return in, err
	}
	bar.step("comparison")
	if err = compareFor(ctx, s, o, w, &in); err != nil {
		return in, err
	}
	bar.step("airflow")
	if err = airflowFor(ctx, s, w, &in); err != nil {
		return in, err
	}
	bar.step("shifts")
	if err = tracesFor(ctx, s, &in); err != nil {
		return in, err
	}
	bar.step("data quality")
	if err = recordsFor(ctx, s, records, w, &in); err != nil {
		return in, err
	}
	in.From, in.To = bounds(in.Exposure)
	bar.step("after work, respirator, calibration")
	if err = pastFor(ctx, s, w, &in); err != nil {
		return in, err
	}
	for _, one := range cfg.Scalars() {
		if strings.HasPrefix(one.Name, "shop.") && one.Name != "shop.language" {
			in.Settings = append(in.Settings, report.Setting{Name: one.Name, Value: one.Value, Origin: one.Origin})
		}
	}
	if in.Fingerprint, err = bundle.Fingerprint(resultsOf(in)); err != nil {
		return in, err
	}
	bar.step("pictures")
	return in, nil
}

// pastFor adds how the air clears, the respirator question as of the last shift, and
// what is on record of calibrations.
func pastFor(ctx context.Context, s *study.Study, w study.Window, in *report.Input) error {
	var err error
	if in.Cleared, err = s.Cleared(ctx, w); err != nil {
		return err
	}
	past, err := s.PastRespirator(in.Exposure, in.Cleared, in.To)
	if err != nil {
		return err
	}
	in.Respirator = &past
	in.Calibrations = s.Calibrations()
	if in.CalibrationPictures, err = s.CalibrationPictures(ctx, in.To); err != nil {
		return err
	}
	return weekFor(ctx, s, in)
}

// weekFor adds the last days' quarters of an hour where someone breathes: a picture
// of at most a fortnight.
func weekFor(ctx context.Context, s *study.Study, in *report.Input) error {
	sensor, err := s.Compared("")
	if err != nil {
		return nil // several sensors to choose from, or none: there is no one picture
	}
	from := in.From
	if fortnight := in.To.AddDate(0, 0, -14); from.Before(fortnight) {
		from = fortnight
	}
	q, err := s.Quarters(ctx, sensor.Name, dust.PM25, study.Window{From: from, To: in.To})
	switch {
	case errors.Is(err, dust.ErrNoReadings):
		return nil
	case err != nil:
		return err
	}
	if len(q.Means) > 0 {
		in.Weeks = []plots.WeekData{weekData(q, in.Exposure.Limit)}
	}
	return nil
}

// compareFor compares the setups asked for, or the only two there are.
func compareFor(ctx context.Context, s *study.Study, o reportOptions, w study.Window, in *report.Input) error {
	names := s.SetupsInOrder()
	in.Setups = s.SetupPeriods()
	if o.before == "" {
		if len(names) != 2 {
			in.NoCompare = words.Of("The diary holds %d setups (%s); a comparison needs two: name them with --before and --after.", len(names), strings.Join(names, ", "))
			return nil
		}
		o.before, o.after = names[0], names[1]
	}
	result, err := s.Compare(ctx, study.Question{Before: o.before, After: o.after, Metric: dust.PM25, Window: w, Airflow: true})
	if err != nil {
		return err
	}
	in.Compare = &result
	return nil
}

// airflowFor adds what was read off the dust collector, where the records hold that.
func airflowFor(ctx context.Context, s *study.Study, w study.Window, in *report.Input) error {
	r, err := s.Airflow(ctx, dust.PM25, w)
	switch {
	case errors.Is(err, study.ErrNoEntries):
		return nil
	case err != nil:
		return err
	}
	in.Airflow = &r
	return nil
}

// tracesFor adds, for each setup, the breathing-zone shift with the highest
// 15-minute mean.
func tracesFor(ctx context.Context, s *study.Study, in *report.Input) error {
	for _, shift := range worstShifts(in.Exposure) {
		trace, err := s.Trace(ctx, shift, dust.PM25)
		if err != nil {
			return err
		}
		in.Traces = append(in.Traces, traceData(trace, in.Exposure.Limit))
	}
	return nil
}

func traceData(t study.Trace, limit exposure.Limit) plots.TraceData {
	title := words.Of("Shift of %s", words.Day(t.Shift.Date))
	if t.Shift.Setup != "" {
		title = words.Of("Shift of %s, %s", words.Day(t.Shift.Date), t.Shift.Setup)
	}
	return plots.TraceData{
		Title: title, Shift: t.Shift, Series: t.Series, Mean15: t.Mean15, Tasks: t.Tasks,
		LimitMgM3: limit.MgM3, LimitLabel: words.Of("limit %s", limit.ID), LimitAveraging: string(limit.Averaging),
	}
}

// worstShifts picks one shift per setup, in time order.
func worstShifts(r exposure.Result) []exposure.ShiftResult {
	var order []string
	worst := map[string]exposure.ShiftResult{}
	for _, s := range r.Shifts {
		if s.Position != dust.BreathingZone && s.Position != dust.Room || s.Max15min == nil {
			continue
		}
		known, ok := worst[s.Setup]
		if !ok {
			order = append(order, s.Setup)
		}
		if !ok || *s.Max15min > *known.Max15min {
			worst[s.Setup] = s
		}
	}
	var out []exposure.ShiftResult
	for _, setup := range order {
		out = append(out, worst[setup])
	}
	return out
}

func recordsFor(ctx context.Context, s *study.Study, records records, w study.Window, in *report.Input) error {
	for _, known := range s.Sensors() {
		row := report.Sensor{Sensor: known, Title: known.Model}
		if model, err := sensor.ParseModel(known.Model); err == nil {
			row.Title, row.Sees = model.Spec().Title, model.Spec().Sees
		}
		in.Sensors = append(in.Sensors, row)
	}
	quality, err := records.LineQuality(ctx, w.From, w.To)
	if err != nil {
		return err
	}
	in.Quality = totals(quality)
	in.Events, err = records.Events(ctx, w.From, w.To)
	return err
}

// totals adds line quality up, one per sensor.
func totals(all []dust.LineQuality) []dust.LineQuality {
	var out []dust.LineQuality
	place := map[string]int{}
	for _, q := range all {
		i, ok := place[q.Sensor]
		if !ok {
			place[q.Sensor] = len(out)
			out = append(out, q)
			continue
		}
		t := &out[i]
		t.To = q.To
		t.Frames += q.Frames
		t.ChecksumErrors += q.ChecksumErrors
		t.OtherErrors += q.OtherErrors
		t.BytesSkipped += q.BytesSkipped
	}
	return out
}

func bounds(r exposure.Result) (from, to time.Time) {
	for _, s := range r.Shifts {
		if from.IsZero() || s.Start.Before(from) {
			from = s.Start
		}
		if s.End.After(to) {
			to = s.End
		}
	}
	return from, to
}

// printAnswers says the three answers for a terminal, from the same view as the report.
func printAnswers(a *app, in report.Input) {
	for _, answer := range report.Answers(in) {
		say := in.Words
		fmt.Fprintln(a.Stdout, say.Text(answer.Question))
		fmt.Fprintf(a.Stdout, "  %s\n", say.Text(answer.Short))
		if !answer.Figure.IsZero() {
			fmt.Fprintln(a.Stdout, wrap(say.Text(answer.Figure), 94, "  "))
		}
		fmt.Fprintln(a.Stdout, wrap(say.Text(answer.Why), 94, "  "))
		if answer.Caution.String() != "" {
			fmt.Fprintln(a.Stdout, wrap(say.Say("But:")+" "+say.Text(answer.Caution), 94, "  "))
		}
		fmt.Fprintln(a.Stdout)
	}
}
