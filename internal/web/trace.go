package web

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

// traceHours are the stretches of time on offer.
var traceHours = []int{1, 3, 8, 24}

const usualHours = 3

// traceQuery is one picture of the last hours.
type traceQuery struct {
	sensor string
	hours  int
	end    int64 // Unix seconds
	dark   bool
	narrow bool
}

// traceView is the trace with what there is to choose.
type traceView struct {
	Sensor  string
	Hours   int
	Sensors []choice
	Ranges  []choice
	Alt     string
	Why     string // there is no picture
	Picture string // address, to which theme and width are added
}

type choice struct {
	Label, Address string
	Chosen         bool
}

// traceFor makes the view that a request asks for.
func (s *Server) traceFor(r *http.Request) (traceView, error) {
	q, err := s.readTraceQuery(r)
	if err != nil || q.sensor == "" {
		return traceView{Why: "no sensor has been recorded yet"}, err
	}
	q.narrow = true // the alternative text is the same for all
	picture, err := s.trace(r.Context(), q)
	if err != nil {
		return traceView{}, err
	}
	v := traceView{Sensor: q.sensor, Hours: q.hours, Alt: picture.alt, Why: picture.why}
	v.Picture = fmt.Sprintf("/trace.svg?%s&t=%d", q.address(q.sensor, q.hours), q.end)
	for _, h := range traceHours {
		v.Ranges = append(v.Ranges, choice{fmt.Sprintf("%d h", h), "/?" + q.address(q.sensor, h) + "#trace", h == q.hours})
	}
	sensors, err := s.o.Records.Sensors(r.Context())
	for _, one := range sensors {
		v.Sensors = append(v.Sensors, choice{one.Name, "/?" + q.address(one.Name, q.hours) + "#trace", one.Name == q.sensor})
	}
	return v, err
}

func (q traceQuery) address(sensor string, hours int) string {
	return url.Values{"sensor": {sensor}, "hours": {strconv.Itoa(hours)}}.Encode()
}

// readTraceQuery reads sensor and hours; without a sensor, that of the person.
func (s *Server) readTraceQuery(r *http.Request) (traceQuery, error) {
	f := r.URL.Query()
	q := traceQuery{sensor: f.Get("sensor"), hours: usualHours, dark: f.Get("theme") == "dark", narrow: f.Get("width") == "narrow"}
	if text := f.Get("hours"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || !slices.Contains(traceHours, n) {
			return q, fmt.Errorf("%w: hours=%q: there are 1, 3, 8 and 24", errNotUnderstood, text)
		}
		q.hours = n
	}
	sensors, err := s.o.Records.Sensors(r.Context())
	if err != nil {
		return q, err
	}
	known := slices.ContainsFunc(sensors, func(one dust.Sensor) bool { return one.Name == q.sensor })
	if q.sensor != "" && !known {
		return q, fmt.Errorf("%w %q", dust.ErrUnknownSensor, q.sensor)
	}
	if q.sensor == "" && len(sensors) > 0 {
		q.sensor = slices.MinFunc(sensors, func(a, b dust.Sensor) int { return rank(a.Position) - rank(b.Position) }).Name
	}
	// All who look within this time get the same picture.
	step := int64(30)
	if q.hours > usualHours {
		step = int64(20 * q.hours)
	}
	q.end = s.o.Now().Unix() / step * step
	return q, nil
}

// showTrace serves the view alone, for the script.
func (s *Server) showTrace(w http.ResponseWriter, r *http.Request) {
	v, err := s.traceFor(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.fragment(w, r, "trace", v)
}

// drawTrace serves the picture.
func (s *Server) drawTrace(w http.ResponseWriter, r *http.Request) {
	q, err := s.readTraceQuery(r)
	if err == nil && q.sensor == "" {
		err = dust.ErrNoReadings
	}
	var picture drawing
	if err == nil {
		picture, err = s.trace(r.Context(), q)
	}
	if err == nil && picture.svg == nil {
		err = fmt.Errorf("%w: %s", dust.ErrNoReadings, picture.why)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	sendSVG(w, picture.svg)
}

// trace draws a picture, once for all who ask.
func (s *Server) trace(ctx context.Context, q traceQuery) (drawing, error) {
	forever := keep{fresh: time.Hour, old: time.Hour} // the question names its moment
	return s.traces.of(q).get(ctx, s.o.Now(), forever, s.background, func(ctx context.Context) (drawing, error) {
		st, err := s.study(ctx)
		if errors.Is(err, dust.ErrNoReadings) {
			return drawing{why: "no reading has been stored yet"}, nil
		}
		if err != nil {
			return drawing{}, err
		}
		sensor, err := st.Sensor(q.sensor)
		if err != nil {
			return drawing{}, err
		}
		return s.paintTrace(ctx, st, sensor, q)
	})
}

func (s *Server) paintTrace(ctx context.Context, st *study.Study, sensor dust.Sensor, q traceQuery) (drawing, error) {
	to := time.Unix(q.end, 0).UTC()
	from := to.Add(-time.Duration(q.hours) * time.Hour)
	before := from.Add(-15 * time.Minute) // for the first mean
	series, err := st.Series(ctx, sensor, dust.PM25, study.Window{From: before, To: to})
	if err != nil {
		return drawing{}, err
	}
	tasks, err := s.o.Records.Tasks(ctx, from, to)
	if err != nil {
		return drawing{}, err
	}
	limit := s.o.Settings.Limit
	d := plots.TraceData{
		Title:  words.Of("%s, last %d h", sensor.Name, q.hours),
		Shift:  exposure.ShiftResult{Start: from, End: to},
		Series: series, Mean15: exposure.Mean15Curve(series, before, to), Tasks: tasks,
		LimitLabel: words.Of("limit %s", limit.ID), LimitAveraging: string(limit.Averaging),
	}
	if sensor.Position == dust.BreathingZone || sensor.Position == dust.Room {
		d.LimitMgM3 = limit.MgM3 // a filter or the outdoors has no limit
	}
	o := plots.Options{Zone: s.zone()}
	if q.narrow {
		o.Width = plots.Narrow
	}
	if q.dark {
		o.Theme = plots.Dark
	}
	var svg bytes.Buffer
	if err := plots.ShiftTrace(&svg, d, o); errors.Is(err, dust.ErrNoReadings) {
		return drawing{why: fmt.Sprintf("%s has no reading in the last %d h", sensor.Name, q.hours)}, nil
	} else if err != nil {
		return drawing{}, err
	}
	return drawing{svg: svg.Bytes(), alt: plots.AltTextShiftTrace(d, o)}, nil
}
