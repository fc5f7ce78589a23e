package web

import (
	"net/http"
	"slices"
)

// Calibration is one calibration on record, in words.
type Calibration struct {
	Number   int64
	Kind     string // zero, collocation, filter or factor
	Sensor   string
	For      string // metric, material, task
	From, To string
	Result   string // with its units
	State    string // in use, expired, retired, not used, and why
}

// calibrationView is what is known of how true the sensors are.
type calibrationView struct {
	Available bool
	Rows      []Calibration // newest first
}

func (s *Server) showCalibrations(w http.ResponseWriter, r *http.Request) {
	v := calibrationView{Available: s.o.Calibrations != nil}
	if v.Available {
		rows, err := s.o.Calibrations(r.Context())
		if err != nil {
			s.fail(w, r, err)
			return
		}
		slices.Reverse(rows)
		v.Rows = rows
	}
	s.show(w, r, http.StatusOK, "calibration", "Calibration", v)
}

func (s *Server) showMore(w http.ResponseWriter, r *http.Request) {
	s.show(w, r, http.StatusOK, "more", "More", nil)
}
