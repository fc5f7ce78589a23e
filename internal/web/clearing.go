package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/study"
)

// clearDays is how far back decays are looked for.
const clearDays = 90

// clearing is a question about how fast the air clears.
type clearing struct {
	sensor   string
	volumeM3 float64 // 0: not known
	level    float64 // µg/m³; 0: none
}

// clearanceView is how fast dust leaves the air after work.
type clearanceView struct {
	Days          int
	Sensors       []string
	Sensor        string
	Volume, Level string // as they were written
	Result        *clearance.Result
	Decays        []clearance.Decay        // newest first, the latest unless all were asked for
	Emissions     []clearance.TaskEmission // as well
	All           string                   // address of all of them; "" if they are here
	Why           string                   // there is no answer
}

// showClearance answers how fast the air clears at one sensor.
func (s *Server) showClearance(w http.ResponseWriter, r *http.Request) {
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(reportWithin))
	v, q, err := s.readClearing(r)
	if err == nil && q.sensor == "" {
		v.Why = "no sensor has been recorded yet"
	} else if err == nil {
		var result clearance.Result
		switch result, err = s.cleared(r.Context(), q); {
		case told(err):
			v.Why, err = strings.ReplaceAll(err.Error(), "`", "\""), nil
		case err == nil:
			v.list(r, result)
		}
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "clearance", "Clearance", v)
}

// newestFalls is how many falls the page lists unless asked for all.
const newestFalls = 12

// list takes the result with its newest falls first.
func (v *clearanceView) list(r *http.Request, result clearance.Result) {
	v.Result, v.Decays, v.Emissions = &result, slices.Clone(result.Decays), slices.Clone(result.Emissions)
	slices.Reverse(v.Decays)
	slices.Reverse(v.Emissions)
	f := r.URL.Query()
	if f.Get("all") != "" || len(v.Decays) <= newestFalls {
		return
	}
	v.Decays, v.Emissions = v.Decays[:newestFalls], v.Emissions[:min(newestFalls, len(v.Emissions))]
	f.Set("all", "1")
	v.All = "/clearance?" + f.Encode()
}

// readClearing reads the question; without a sensor, that of the room's air.
func (s *Server) readClearing(r *http.Request) (v clearanceView, q clearing, err error) {
	f := r.URL.Query()
	v = clearanceView{Days: clearDays, Sensor: f.Get("sensor"), Volume: f.Get("volume"), Level: f.Get("level")}
	if v.Volume != "" {
		if q.volumeM3, err = clearance.ParseVolume(v.Volume); err != nil {
			return v, q, fmt.Errorf("%w: %w", errNotUnderstood, err)
		}
	}
	if v.Level != "" {
		level, err := dust.ParseConcentration(v.Level)
		if err == nil && !(level > 0) {
			err = fmt.Errorf("the level %q must be above zero", v.Level)
		}
		if err != nil {
			return v, q, fmt.Errorf("%w: %w", errNotUnderstood, err)
		}
		q.level = float64(level)
	}
	sensors, err := s.o.Records.Sensors(r.Context())
	slices.SortStableFunc(sensors, func(a, b dust.Sensor) int { return airRank(a.Position) - airRank(b.Position) })
	for _, one := range sensors {
		v.Sensors = append(v.Sensors, one.Name)
	}
	if v.Sensor == "" && len(sensors) > 0 {
		v.Sensor = sensors[0].Name
	}
	q.sensor = v.Sensor
	return v, q, err
}

// airRank puts the room first, since its air is what clears.
func airRank(p dust.Position) int {
	if p == dust.Room {
		return -1
	}
	return rank(p)
}

func (s *Server) cleared(ctx context.Context, q clearing) (clearance.Result, error) {
	held := keep{fresh: 2 * time.Minute, old: 24 * time.Hour}
	now := s.o.Now()
	return s.clearings.of(q).get(ctx, now, held, s.background, func(ctx context.Context) (clearance.Result, error) {
		st, err := s.study(ctx)
		if err != nil {
			return clearance.Result{}, err
		}
		return st.Clearance(ctx, study.Clearing{
			Metric: dust.PM25, Sensor: q.sensor, VolumeM3: q.volumeM3, Level: q.level, Window: study.Window{From: now.AddDate(0, 0, -clearDays)},
		})
	})
}
