package web

import (
	"context"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// falling gives a sensor in the room a task that ends an hour before now at 400 µg/m³,
// and a fall of four air changes an hour down to 5 µg/m³ from then on.
func falling(t *testing.T, s *shop) {
	require.NoError(t, s.store.PutSensor(t.Context(), dust.Sensor{Name: "room", Model: "sps30", Position: dust.Room}))
	end := noon.Add(-time.Hour)
	var batch []dust.Reading
	for i := -1800; i < 3600; i++ {
		level := 400.0
		switch {
		case i < -1200:
			level = 5
		case i >= 0:
			level = 5 + 395*math.Exp(-4*float64(i)/3600)
		}
		batch = append(batch, reading("room", end.Add(time.Duration(i)*time.Second), level))
	}
	_, err := s.store.Append(t.Context(), batch)
	require.NoError(t, err)
	_, err = s.store.AddTask(t.Context(), dust.Task{Name: "sanding", Start: end.Add(-20 * time.Minute), Stop: end})
	require.NoError(t, err)
}

// A fall of λ = 4 an hour: half is gone after 60·ln 2/4 = 10.4 min, 99 % after
// 60·ln 100/4 = 69 min, and 120 m³ are cleaned by 4·120 = 480 m³/h. Arithmetic.
func TestClearanceIsShown(t *testing.T) {
	s := newShop(t, nil)
	falling(t, s)
	page := s.get(200, "/clearance?volume=120+m3&level=50+ug/m3")
	for _, text := range []string{"PM2.5 at room", "sanding", "4.0", ">10<", ">69<", "clean air,<br>m³/h", "the dustiest start seen, until 50 µg/m³", "Method: "} {
		require.Contains(t, page, text)
	}
	require.Regexp(t, `>4(79|80|81)<`, page)
	s.get(422, "/clearance?volume=120")
	s.get(422, "/clearance?level=lots")
	s.get(200, "/clearance?sensor=nobody")
}

func TestAPlanKeepsTheOrderThatWasDrawn(t *testing.T) {
	s := newShop(t, nil)
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/plan?before=old+bag&after=new+bag&reduction=50&first=2026-03-09", nil))
	require.Equal(t, http.StatusSeeOther, w.Code)
	address, err := url.Parse(w.Header().Get("Location"))
	require.NoError(t, err)
	require.NotEmpty(t, address.Query().Get("seed"))
	page := s.get(200, address.String())
	require.Equal(t, page, s.get(200, address.String()))
	for _, text := range []string{"true reduction of 50 %", "Mon 9 Mar", "old bag", "nothing measured yet", "seed " + address.Query().Get("seed")} {
		require.Contains(t, page, text)
	}
	for _, bad := range []string{"reduction=120", "reduction=x", "first=soon", "after=old+bag", "seed=x", "after=" + strings.Repeat("x", 200)} {
		f, err := url.ParseQuery(bad)
		require.NoError(t, err)
		q := address.Query()
		for name, values := range f {
			q[name] = values
		}
		s.get(422, "/plan?"+q.Encode())
	}
}

func TestCalibrationsAreListedNewestFirst(t *testing.T) {
	require.Contains(t, newShop(t, nil).get(200, "/calibration"), "not shown here")
	rows := []Calibration{{Number: 1, Kind: "zero", Result: "offset 0.40, floor 1.10 µg/m³"}, {Number: 2, Kind: "factor", State: "expired after 2026-01-01"}}
	s := newShop(t, func(o *Options) {
		o.Calibrations = func(context.Context) ([]Calibration, error) { return rows, nil }
	})
	page := s.get(200, "/calibration")
	require.Contains(t, page, "offset 0.40, floor 1.10 µg/m³")
	require.Less(t, strings.Index(page, "expired after"), strings.Index(page, "offset"))
	rows = nil
	require.Contains(t, s.get(200, "/calibration"), "No calibration is on record")
}

func TestAWayToTheNewestReadings(t *testing.T) {
	newest := noon.Add(-100 * 24 * time.Hour)
	s := newShop(t, func(o *Options) { o.Newest = func(context.Context) (time.Time, error) { return newest, nil } })
	require.Contains(t, s.get(200, "/days"), `href="/days?to=2025-11-24"`)
	require.NotContains(t, s.get(200, "/days?to=2025-11-30"), "To the newest", "those days are on the page")
	newest = time.Time{}
	require.NotContains(t, s.get(200, "/days"), "To the newest")
}
