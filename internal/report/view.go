package report

import (
	"html/template"
	"io"
	"time"

	"dustlog/internal/airflow"
	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

// Input is everything a report shows.
type Input struct {
	Shop      string
	Invented  bool // the data come from the demo
	Zone      *time.Location
	From, To  time.Time
	Generated time.Time
	Version   string
	Words     *words.Printer // nil: English

	Exposure   exposure.Result
	Compare    *compare.Result // nil: no comparison
	NoCompare  words.Text      // why there is none
	Sensors    []Sensor
	Setups     []dust.SetupPeriod
	Quality    []dust.LineQuality // one total per sensor
	Events     []dust.Event
	Traces     []plots.TraceData
	Weeks      []plots.WeekData
	MassScale  string
	Commitment string // how readings were kept

	Airflow             *airflow.Result // nil: the records hold none
	Cleared             []study.Cleared
	Respirator          *study.PastRespirator // nil: not worked out
	Calibrations        []dust.Calibration
	CalibrationPictures study.CalibrationPictures

	Settings    []Setting // that results depend on
	Fingerprint string    // SHA-256 of the results as an evidence bundle holds them; "" if not worked out
}

// Setting is one that results depend on, with where it came from.
type Setting struct{ Name, Value, Origin string }

// Sensor is a sensor with what is known about what it can see.
type Sensor struct {
	dust.Sensor
	Title string
	Sees  string
}

// Answer is one of the three questions of the first screen.
type Answer struct {
	Question words.Text
	Short    words.Text // the answer in a few words
	Tone     string     // "yes", "no" or "open": picks the mark beside it, never colour alone
	Figure   words.Text // the number that carries it, with unit
	Why      words.Text
	Caution  words.Text // what a reader must know beside it; "" for nothing
}

// figure is a picture in the page.
type figure struct {
	ID, Alt        string
	Title, Caption words.Text
	Wide, Narrow   template.HTML // for a desk and for a telephone
	paint          func(io.Writer, plots.Options) error
}

// view is what the template renders.
type view struct {
	Input
	Answers   []Answer
	Next      []words.Text
	Checks    []words.Text
	Evidence  []figure
	Traces    []figure
	Person    []exposure.ShiftResult // shifts of the breathing zone
	Elsewhere []exposure.ShiftResult
	Reasons   []exposure.Reason
	Limits    []limitRow // every limit asked about, if there are several
	Groups    []exposure.GroupResult
	Days      []figure // probability plots of the groups

	OtherLooks, Uncertainty, Clearance, Collector, Respirators, LimitStatus, Calibration part

	Falls     grid // of the appendix
	Runs      grid // of the appendix
	Data      []dataRow
	Cautions  []words.Text
	CannotSee []words.Text
	Settle    []words.Text
	Sources   []words.Text
	Checklist []CheckItem
}

// dataRow is one sensor's data quality.
type dataRow struct {
	Sensor, Model            string
	Position                 words.Text
	Minutes, Measured        float64
	Excluded                 words.Text
	Frames, Checksum, Others int64
	Skipped                  int64
}

func buildView(in Input) (view, error) {
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	v := view{Input: in, Cautions: cautions, CannotSee: cannotSee(in), Settle: settle, Sources: sources(in)}
	v.Answers = Answers(in)
	for _, s := range in.Exposure.Shifts {
		if s.Position == dust.BreathingZone {
			v.Person = append(v.Person, s)
		} else {
			v.Elsewhere = append(v.Elsewhere, s)
		}
	}
	v.Reasons = in.Exposure.Reasons()
	v.Limits = limitRows(v.Person)
	v.Groups = in.Exposure.Groups()
	v.Data = dataRows(in)
	v.Checklist = Checklist(in)
	v.Next, v.Uncertainty, v.Respirators, v.LimitStatus, v.Falls, v.Runs = next(in), uncertaintyPart(in), respiratorPart(in), limitsPart(in), allFalls(in), allRuns(in)
	v.OtherLooks, v.Checks = otherLooks(in.Compare), checks(in)
	for _, step := range []func() error{
		func() (err error) { v.Evidence, err = evidence(in); return err },
		func() (err error) { v.Traces, err = traces(in); return err },
		func() (err error) { v.Days, err = days(in, v.Groups); return err },
		func() (err error) { v.Clearance, err = clearancePart(in); return err },
		func() (err error) { v.Collector, err = airflowPart(in); return err },
		func() (err error) { v.Calibration, err = calibrationPart(in); return err },
	} {
		if err := step(); err != nil {
			return v, err
		}
	}
	return v, nil
}

// pictures are all figures of the report.
func (v *view) pictures() (all []figure) {
	for _, list := range [][]figure{v.Evidence, v.Traces, v.Days, v.Clearance.Figures, v.Collector.Figures, v.Calibration.Figures} {
		all = append(all, list...)
	}
	return all
}

func dataRows(in Input) []dataRow {
	var rows []dataRow
	for _, s := range in.Sensors {
		row := dataRow{Sensor: s.Name, Model: s.Model, Position: exposure.PositionText(s.Position)}
		excluded := map[string]float64{}
		for _, shift := range in.Exposure.Shifts {
			if shift.Sensor != s.Name {
				continue
			}
			row.Minutes += shift.Minutes
			row.Measured += shift.MinutesMeasured
			for flag, minutes := range shift.MinutesExcluded {
				excluded[flag] += minutes
			}
		}
		for _, q := range in.Quality {
			if q.Sensor == s.Name {
				row.Frames, row.Checksum, row.Others, row.Skipped = q.Frames, q.ChecksumErrors, q.OtherErrors, q.BytesSkipped
			}
		}
		var out []words.Text
		for _, flag := range sortedKeys(excluded) {
			out = append(out, words.Of("%s %s min", exposure.FlagWords(flag), words.Fixed(excluded[flag], 1)))
		}
		row.Excluded = words.Join(", ", out...)
		rows = append(rows, row)
	}
	return rows
}
