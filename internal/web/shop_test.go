package web

import (
	"context"
	"io"
	"iter"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// noon is the moment at which the tests' page is looked at.
var noon = time.Date(2026, time.March, 4, 12, 0, 0, 0, time.UTC)

// clock is a clock that a test moves.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// shop is a page over a real store.
type shop struct {
	*Server
	store *sqlite.Store
	clock *clock
	t     testing.TB
}

// records lets the tests' store be read by a study. It has no columns by day, so
// that the study takes its other way.
type records struct{ *sqlite.Store }

// newShop makes a page over an empty store, with options changed by change.
func newShop(t testing.TB, change func(*Options)) *shop {
	t.Helper()
	c := &clock{at: noon}
	store, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "s.db"), sqlite.Options{Create: true, Now: c.now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, store.Close()) })
	limit, err := exposure.ChooseLimit("us-acgih-other")
	require.NoError(t, err)
	o := Options{
		Shop: "Test shop", Records: records{store}, Diary: store, Now: c.now,
		Settings: study.Settings{Zone: time.UTC, Limit: limit},
	}
	if change != nil {
		change(&o)
	}
	s, err := New(o)
	require.NoError(t, err)
	t.Cleanup(s.Close)
	return &shop{Server: s, store: store, clock: c, t: t}
}

// sensor declares a sensor and gives it a reading a second that ends before now,
// all of one level in µg/m³.
func (s *shop) sensor(name string, place dust.Position, seconds int, ugM3 float64, flags dust.Flags) {
	s.t.Helper()
	require.NoError(s.t, s.store.PutSensor(s.t.Context(), dust.Sensor{Name: name, Model: "sps30", Position: place}))
	var batch []dust.Reading
	for i := range seconds {
		r := dust.Reading{Sensor: name, Time: s.clock.now().Add(time.Duration(i-seconds) * time.Second), Flags: flags}
		r.Values.Set(dust.PM25, ugM3)
		batch = append(batch, r)
	}
	_, err := s.store.Append(s.t.Context(), batch)
	require.NoError(s.t, err)
	require.NoError(s.t, s.remember(s.t.Context()))
}

// get asks for a page and wants the code.
func (s *shop) get(code int, path string) string {
	s.t.Helper()
	return s.ask(code, httptest.NewRequest(http.MethodGet, path, nil))
}

// post sends a form.
func (s *shop) post(code int, path string, pairs ...string) string {
	s.t.Helper()
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form(pairs...).Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Accept", "application/json")
	return s.ask(code, r)
}

func (s *shop) ask(code int, r *http.Request) string {
	s.t.Helper()
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	body, err := io.ReadAll(w.Body)
	require.NoError(s.t, err)
	require.Equal(s.t, code, w.Code, "%s %s: %s", r.Method, r.URL, body)
	return string(body)
}

func form(pairs ...string) url.Values {
	v := url.Values{}
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v
}

// broken are records of which one thing cannot be read.
type broken struct {
	Records
	err error
}

func (b broken) Readings(context.Context, dust.Query) iter.Seq2[dust.Reading, error] {
	return func(yield func(dust.Reading, error) bool) { yield(dust.Reading{}, b.err) }
}

func (b broken) SetupPeriods(context.Context) ([]dust.SetupPeriod, error) { return nil, b.err }
