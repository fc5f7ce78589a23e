package web

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"time"

	"dustlog/internal/plots"
)

// drawing is a picture that package plots made; without one, why says why.
type drawing struct {
	svg      []byte
	alt, why string
}

// pictureView is a picture on a page. To its address theme and width are added.
type pictureView struct{ Title, Address, Alt, Caption string }

var keepPicture = keep{fresh: time.Minute, old: time.Hour}

// pictureOptions are what a request for a picture asks for.
func (s *Server) pictureOptions(r *http.Request) plots.Options {
	o := plots.Options{Zone: s.zone()}
	if r.URL.Query().Get("width") == "narrow" {
		o.Width = plots.Narrow
	}
	if r.URL.Query().Get("theme") == "dark" {
		o.Theme = plots.Dark
	}
	return o
}

// serve draws a picture, once for all who ask for it within a minute. The question
// names it; paint gets what it draws from the records.
func (s *Server) servePicture(w http.ResponseWriter, r *http.Request, question string, paint func(context.Context, io.Writer, plots.Options) error) {
	o := s.pictureOptions(r)
	key := fmt.Sprint(question, "\x00", o.Width, o.Theme)
	d, err := s.pictures.of(key).get(r.Context(), s.o.Now(), keepPicture, s.background, func(ctx context.Context) (drawing, error) {
		var svg bytes.Buffer
		err := paint(ctx, &svg, o)
		return drawing{svg: svg.Bytes()}, err
	})
	if err != nil {
		s.fail(w, r, err)
		return
	}
	sendSVG(w, d.svg)
}

func sendSVG(w http.ResponseWriter, svg []byte) {
	w.Header().Set("Content-Type", "image/svg+xml")
	w.Header().Set("Cache-Control", "private, max-age=20")
	_, _ = w.Write(svg)
}
