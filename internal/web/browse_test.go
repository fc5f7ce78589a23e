package web

import (
	"context"
	"encoding/xml"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/report"
)

// worked is a shop with an hour of work at 400 µg/m³ up to noon.
func worked(t *testing.T, change func(*Options)) *shop {
	s := newShop(t, change)
	s.sensor("bench", dust.BreathingZone, 3600, 400, 0)
	_, err := s.store.AddTask(t.Context(), dust.Task{Name: "sanding", Material: "oak", Start: noon.Add(-50 * time.Minute), Stop: noon.Add(-10 * time.Minute)})
	require.NoError(t, err)
	return s
}

// 400 µg/m³ for one hour: 0.050 mg/m³ over 8 h, 0.400 over any 15 minutes, 40 min
// of task give 16 mg·min/m³: arithmetic.
func TestDaysAndADay(t *testing.T) {
	s := worked(t, nil)
	days := s.get(200, "/days")
	for _, text := range []string{"/days/2026-03-04", "0.050", "0.400", "60 of 60", "5.0 %", "cannot tell", "mean over<br>8 h, mg/m³", "PM2.5"} {
		require.Contains(t, days, text)
	}
	day := s.get(200, "/days/2026-03-04")
	for _, text := range []string{"sanding", "40 of 40", "16.0", "mg·min/m³", "trace.svg?sensor=bench"} {
		require.Contains(t, day, text)
	}
	require.Contains(t, s.get(200, "/days/2026-03-03"), "no usable reading on this day")
	require.Contains(t, s.get(200, "/days?to=2025-01-31"), "no usable reading in these days")
	s.get(422, "/days?to=yesterday")
	s.get(422, "/days/2026-13-01")
}

func TestTasksShowWhatTheyRaised(t *testing.T) {
	s := worked(t, nil)
	page := s.get(200, "/tasks")
	for _, text := range []string{"sanding", "0.400", "keep it on", "dose.svg"} {
		require.Contains(t, page, text)
	}
}

func TestPicturesAreWellFormed(t *testing.T) {
	s := worked(t, nil)
	for _, path := range []string{
		"/trace.svg", "/trace.svg?hours=24&theme=dark&width=narrow", "/days/2026-03-04/trace.svg?sensor=bench", "/tasks/dose.svg?theme=dark",
	} {
		svg := s.get(200, path)
		d := xml.NewDecoder(strings.NewReader(svg))
		for {
			_, err := d.Token()
			if err == io.EOF {
				break
			}
			require.NoError(t, err, path)
		}
		require.Contains(t, svg, "<svg", path)
	}
	s.get(422, "/trace.svg?sensor=nobody")
	s.get(422, "/trace.svg?hours=7")
	s.get(422, "/days/2026-03-04/trace.svg?sensor=nobody")
}

func TestSetupsAreComparedWhenAsked(t *testing.T) {
	s := worked(t, nil)
	require.Contains(t, s.get(200, "/setups"), "needs two setups")
	for i, name := range []string{"old", "new"} {
		require.NoError(t, s.store.UseSetup(t.Context(), name, "", noon.Add(time.Duration(i-2)*24*time.Hour)))
	}
	require.Contains(t, s.get(200, "/setups"), "in use")
	s.get(422, "/setups?before=old&after=old")
	s.get(422, "/setups?before=old&after=flarp")
	page := s.get(200, "/setups?before=old&after=new")
	require.Contains(t, strings.ToLower(page), "too little data", "one day decides nothing")
}

func TestLimitsHaveTheirSource(t *testing.T) {
	s := newShop(t, func(o *Options) { o.Limits = exposure.Limits() })
	page := s.get(200, "/limits")
	require.Contains(t, page, "us-acgih-other")
	require.Contains(t, page, "Source: ")
	require.Equal(t, len(exposure.Limits()), strings.Count(page, "<tr>")-1)
}

func TestTheReportIsShownOrTakenAlong(t *testing.T) {
	var asked ReportQuery
	s := worked(t, func(o *Options) {
		o.Report = func(_ context.Context, q ReportQuery) (report.Input, error) {
			asked = q
			return report.Input{Shop: "Test shop", Zone: time.UTC, From: q.Window.From, To: q.Window.To}, nil
		}
	})
	require.Contains(t, s.get(200, "/report"), `action="/report/view"`)
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/report/view?from=2026-03-02&to=2026-03-04&as=file", nil))
	require.Equal(t, 200, w.Code)
	require.Equal(t, time.Date(2026, time.March, 5, 0, 0, 0, 0, time.UTC), asked.Window.To, "the last day is in it")
	require.Contains(t, w.Header().Get("Content-Disposition"), "dust-report-2026-03-04.html")
	require.Contains(t, w.Header().Get("Content-Security-Policy"), "sandbox")
	require.NotContains(t, w.Header().Get("Content-Security-Policy"), "script-src")
	require.Contains(t, w.Body.String(), "Test shop")
	s.get(422, "/report/view?from=2026-03-04&to=2026-03-02")
}

func TestTheDiaryPage(t *testing.T) {
	s := worked(t, nil)
	s.post(200, "/diary/enter", "kind", "note", "text", "bag changed", "id", "n")
	page := s.get(200, "/diary")
	for _, text := range []string{"11:10–11:50", "sanding, oak", "40 min", "note: bag changed", `value="n"`} {
		require.Contains(t, page, text)
	}
	s.post(200, "/diary/enter", "kind", "undo", "undoes", "n")
	require.Contains(t, s.get(200, "/diary"), "(taken back)")
}

// Every page a link in the frame leads to is there, whatever the store holds.
func TestEveryTabLeadsSomewhere(t *testing.T) {
	for _, s := range []*shop{newShop(t, nil), worked(t, nil)} {
		for _, path := range []string{"/", "/diary", "/days", "/tasks", "/setups", "/clearance", "/plan", "/calibration", "/limits", "/report", "/more", "/login"} {
			page := s.get(map[bool]int{true: 303, false: 200}[path == "/login"], path)
			for _, not := range []string{" style=", "<style", "http://", "https://", "ZgotmplZ"} {
				require.NotContains(t, page, not, path)
			}
		}
	}
}
