package web

import (
	"net/http"

	"dustlog/internal/exposure"
)

// limitsView is the limits in use, and all that could be.
type limitsView struct {
	Chosen []exposure.Limit
	All    []exposure.Limit
}

func (s *Server) showLimits(w http.ResponseWriter, r *http.Request) {
	v := limitsView{Chosen: append([]exposure.Limit{s.o.Settings.Limit}, s.o.Settings.Also...), All: s.o.Limits}
	s.show(w, r, http.StatusOK, "limits", "Limits", v)
}
