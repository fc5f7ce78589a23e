package report

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/words"
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
	t, err := template.New("report.html").Funcs(functions(in)).ParseFS(templates, "templates/*")
	if err != nil {
		return err
	}
	return t.ExecuteTemplate(w, "report.html", v)
}

func functions(in Input) template.FuncMap {
	say := in.Words
	return template.FuncMap{
		"say":   say.InTemplate,
		"cell":  say.Value,
		"lang":  say.Tag,
		"date":  func(t time.Time) string { return say.Moment(words.Time(t.In(in.Zone), "2 January 2006")) },
		"clock": func(t time.Time) string { return say.Moment(words.Clock(t.In(in.Zone))) },
		"stamp": func(t time.Time) string { return say.Moment(words.Time(t.In(in.Zone), "2006-01-02 15:04")) },
		"day":   words.Day,
		"clockp": func(t *time.Time) string {
			if t == nil {
				return ""
			}
			return say.Say("at %s", words.Clock(t.In(in.Zone)))
		},
		"num":       func(format string, x *float64) string { return say.Number(num(format, x)) },
		"groupid":   groupID,
		"sessionid": func(s compare.Session) string { return sessionID(s, in.Zone) },
		"sig":       func(x *float64) string { return say.Number(sig(x)) },
		"pvalue":    func(p *float64) string { return say.Number(pText(p)) },
		"share":     func(x *float64, atLeast bool) string { return say.Number(shareText(x, atLeast)) },
		"ratio":     func(x *float64) string { return say.Number(num("%.2f", x)) },
		"units":     func(r compare.Result) words.Text { return r.UnitsText() },
		"unit":      func(r compare.Result) words.Text { return r.UnitText() },
		"mean":      compare.MeanText,
		"placeof":   placeText,
		"sentence":  words.Text.Sentence,
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
