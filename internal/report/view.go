package report

import (
	"fmt"
	"html/template"
	"io"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
)

// Input is everything a report shows.
type Input struct {
	Shop      string
	Invented  bool // the data come from the demo
	Zone      *time.Location
	From, To  time.Time
	Generated time.Time
	Version   string

	Exposure   exposure.Result
	Compare    *compare.Result // nil: no comparison
	NoCompare  string          // why there is none
	Sensors    []Sensor
	Setups     []dust.SetupPeriod
	Quality    []dust.LineQuality // one total per sensor
	Events     []dust.Event
	Traces     []plots.TraceData
	MassScale  string
	Commitment string // how readings were kept
}

// Sensor is a sensor with what is known about what it can see.
type Sensor struct {
	dust.Sensor
	Title string
	Sees  string
}

// Answer is one of the three questions of the first screen.
type Answer struct {
	Question string
	Short    string // the answer in a few words
	Tone     string // "yes", "no" or "open": picks the mark beside it, never colour alone
	Figure   string // the number that carries it, with unit
	Why      string
	Caution  string // what a reader must know beside it; "" for nothing
}

// figure is a picture in the page.
type figure struct {
	ID, Title, Caption, Alt string
	Wide, Narrow            template.HTML // for a desk and for a telephone
	paint                   func(io.Writer, plots.Options) error
}

// view is what the template renders.
type view struct {
	Input
	Answers   []Answer
	Evidence  []figure
	Traces    []figure
	Person    []exposure.ShiftResult // shifts of the breathing zone
	Elsewhere []exposure.ShiftResult
	Reasons   []exposure.Reason
	Limits    []limitRow // every limit asked about, if there are several
	Groups    []exposure.GroupResult
	Data      []dataRow
	Cautions  []string
	CannotSee []string
	Settle    []string
	Sources   []string
	Checklist []CheckItem
}

// dataRow is one sensor's data quality.
type dataRow struct {
	Sensor, Model, Position  string
	Minutes, Measured        float64
	Excluded                 []string
	Frames, Checksum, Others int64
	Skipped                  int64
}

func buildView(in Input) (view, error) {
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
	var err error
	if v.Evidence, err = evidence(in); err != nil {
		return v, err
	}
	v.Traces, err = traces(in)
	return v, err
}

func dataRows(in Input) []dataRow {
	var rows []dataRow
	for _, s := range in.Sensors {
		row := dataRow{Sensor: s.Name, Model: s.Model, Position: s.Position.Label()}
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
		for _, flag := range sortedKeys(excluded) {
			row.Excluded = append(row.Excluded, fmt.Sprintf("%s %.1f min", spaced(flag), excluded[flag]))
		}
		rows = append(rows, row)
	}
	return rows
}
