package report

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
)

//go:embed templates
var templates embed.FS

// WriteHTML renders the report as one HTML file that needs nothing else.
func WriteHTML(w io.Writer, in Input) error {
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	v, err := buildView(in)
	if err != nil {
		return err
	}
	t, err := template.New("report.html").Funcs(functions(in.Zone)).ParseFS(templates, "templates/*")
	if err != nil {
		return err
	}
	return t.ExecuteTemplate(w, "report.html", v)
}

func functions(zone *time.Location) template.FuncMap {
	return template.FuncMap{
		"date":  func(t time.Time) string { return t.In(zone).Format("2 January 2006") },
		"clock": func(t time.Time) string { return t.In(zone).Format("15:04") },
		"stamp": func(t time.Time) string { return t.In(zone).Format("2006-01-02 15:04") },
		"clockp": func(t *time.Time) string {
			if t == nil {
				return ""
			}
			return "at " + t.In(zone).Format("15:04")
		},
		"num":       num,
		"groupid":   groupID,
		"sessionid": func(s compare.Session) string { return sessionID(s, zone) },
		"sig":       sig,
		"pvalue":    pText,
		"percent":   percentText,
		"share":     shareText,
		"ratio": func(x *float64) string {
			if x == nil {
				return "–"
			}
			return fmt.Sprintf("%.2f", *x)
		},
		"place":     func(p dust.Position) string { return p.Label() },
		"spaced":    spaced,
		"metric":    metricLabel,
		"capital":   func(s any) string { return capital(fmt.Sprint(s)) },
		"join":      func(s []string) string { return strings.Join(s, ", ") },
		"thousands": thousands,
		"style": func() (template.CSS, error) {
			css, err := templates.ReadFile("templates/report.css")
			return template.CSS(css), err
		},
	}
}
