package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"maps"
	"math"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/dust"
)

//go:embed templates static
var files embed.FS

// pages are the parsed templates and the static files.
type pages struct {
	templates map[string]*template.Template
	static_   map[string]staticFile
}

type staticFile struct {
	content []byte
	kind    string
	tag     string
}

var kinds = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".json": "application/manifest+json"}

// pageNames are the templates that are pages; the other files are their parts.
var pageNames = []string{"now", "diary", "days", "day", "tasks", "setups", "clearance", "plan", "calibration", "limits", "report", "more", "problem", "login"}

func loadPages(zone *time.Location) (*pages, error) {
	p := &pages{templates: map[string]*template.Template{}, static_: map[string]staticFile{}}
	entries, err := files.ReadDir("static")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		content, err := files.ReadFile("static/" + e.Name())
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(content)
		p.static_[e.Name()] = staticFile{content, kinds[path.Ext(e.Name())], `"` + hex.EncodeToString(sum[:8]) + `"`}
	}
	parts, err := template.New("").Funcs(functions(zone)).ParseFS(files, "templates/frame.html", "templates/parts.html", "templates/dock.html", "templates/trace.html", "templates/stick.html")
	if err != nil {
		return nil, err
	}
	for _, name := range pageNames {
		own, err := parts.Clone()
		if err == nil {
			p.templates[name], err = own.ParseFS(files, "templates/"+name+".html")
		}
		if err != nil {
			return nil, err
		}
	}
	return p, nil
}

func functions(zone *time.Location) template.FuncMap {
	return template.FuncMap{
		"tab":   newTab,
		"clock": func(t time.Time) string { return t.In(zone).Format("15:04") },
		"clockp": func(t *time.Time) string {
			if t == nil {
				return ""
			}
			return "at " + t.In(zone).Format("15:04")
		},
		"day": func(t time.Time) string { return t.In(zone).Format("Mon 2 January 2006") },
		"weekday": func(date string) string {
			day, err := time.Parse(time.DateOnly, date)
			if err != nil {
				return date
			}
			return day.Format("Mon 2 Jan")
		},
		"place":   func(p dust.Position) string { return p.Label() },
		"metric":  metricWords,
		"minutes": func(x float64) string { return thousands(int64(math.Round(x))) },
		"ratio":   twoDecimals,
		"three": func(x *float64) string {
			return given(x, func(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) })
		},
		"whole": func(x *float64) string {
			return given(x, func(x float64) string { return thousands(int64(math.Round(x))) })
		},
		"interval": func(low, high *float64) string {
			if low == nil && high == nil {
				return none
			}
			return twoDecimals(low) + " to " + twoDecimals(high)
		},
		"add":      func(a, b int) int { return a + b },
		"excluded": func(flags map[string]float64) string { return minutesByFlag(flags) },
		"mg":       func(x *float64) string { return given(x, milligrams) },
		"percent":  func(x *float64) string { return given(x, percent) },
		"share":    shareOfLimit,
		"capital":  func(s any) string { return capital(fmt.Sprint(s)) },
		"full":     func(s any) string { return full(fmt.Sprint(s)) },
		"spaced":   spaced,
		"join":     func(s []string) string { return strings.Join(s, ", ") },
	}
}

// minutesByFlag says why time was left out.
func minutesByFlag(flags map[string]float64) string {
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(flags)) {
		parts = append(parts, spaced(name)+" "+strconv.FormatFloat(flags[name], 'f', 1, 64)+" min")
	}
	return strings.Join(parts, ", ")
}

// frame is what every page has around it.
type frame struct {
	Title, Page, Shop, Version string
	Clock                      string
	Role                       role
	Login                      bool // there is a session that can be ended
	Remarks                    []string
	Body                       any
}

// tab is a link to one of the pages.
type tab struct {
	Address, Label string
	Chosen         bool
	Far            bool // on a telephone under More
}

func newTab(f frame, page, address, label string) tab {
	far := slices.Contains(farPages, page)
	return tab{address, label, f.Page == page || page == "more" && slices.Contains(farPages, f.Page), far}
}

// farPages are those that a telephone's row of pages has no room for.
var farPages = []string{"clearance", "plan", "calibration", "limits"}

// show renders a page.
func (s *Server) show(w http.ResponseWriter, r *http.Request, code int, page, title string, body any) {
	now := s.o.Now().In(s.zone())
	f := frame{
		Title: title, Page: page, Shop: s.o.Shop, Version: s.o.Version, Clock: now.Format("15:04"),
		Role: roleOf(r), Login: s.guard.demands(), Remarks: s.o.Remarks, Body: body,
	}
	s.render(w, r, code, s.pages.templates[page], "frame", f)
}

// fragment renders a part of a page, for the script.
func (s *Server) fragment(w http.ResponseWriter, r *http.Request, name string, body any) {
	s.render(w, r, http.StatusOK, s.pages.templates["now"], name, body)
}

// render writes a page whole or not at all.
func (s *Server) render(w http.ResponseWriter, r *http.Request, code int, t *template.Template, name string, data any) {
	var page bytes.Buffer
	if err := t.ExecuteTemplate(&page, name, data); err != nil {
		s.o.Log.Error("a page could not be made", "path", r.URL.Path, "error", err)
		http.Error(w, "this page could not be made; the program's log says why", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	_, _ = w.Write(page.Bytes())
}

// fail says on a page what went wrong.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	code, text := s.explain(r, err)
	s.show(w, r, code, "problem", "That did not work", text)
}

// static serves a file that came with the program.
func (p *pages) static(w http.ResponseWriter, r *http.Request) {
	f, ok := p.static_[r.PathValue("name")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Content-Type", f.kind)
	w.Header().Set("ETag", f.tag)
	w.Header().Set("Cache-Control", "no-cache")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(f.content))
}
