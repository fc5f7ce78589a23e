package influx_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/storetest"
)

func newMirror(t testing.TB, dsn string) *influx.Mirror {
	t.Helper()
	m, err := influx.NewMirror(dsn, influx.Options{Token: "my secret"})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, m.Close()) })
	return m
}

func openShop(t testing.TB, dsn, shop string) *influx.Store {
	t.Helper()
	s, err := influx.Open(t.Context(), dsn, influx.Options{Shop: shop})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

const awkward = "Säge, \"Süd\" = 50%\n$(x)\\"

var diary = influx.Diary{
	Sensors: []dust.Sensor{{Name: awkward, Model: "sps30", Position: dust.BreathingZone}, {Name: "room"}},
	Tasks: []dust.Task{
		{ID: 1, Name: "sawing", Material: awkward, Start: start, Stop: start.Add(time.Hour)},
		{ID: 2, Name: "sanding", Person: "B", Start: start.Add(2 * time.Hour), Stop: start.Add(3 * time.Hour)},
		{ID: 3, Name: "sanding", Person: "A", Start: start.Add(2 * time.Hour)},
	},
	Setups:  []dust.Setup{{Name: "new"}, {Name: "old", Note: awkward}},
	Periods: []dust.SetupPeriod{{Setup: "old", From: start, To: start.Add(time.Hour)}, {Setup: "new", From: start.Add(time.Hour)}},
	// As the store counts: milliseconds of a day in 2026.
	Generation: 1_770_000_000_000,
}

func TestDiaryRoundTrip(t *testing.T) {
	dsn := newDatabase(t)
	require.NoError(t, newMirror(t, dsn+"?shop=north").WriteDiary(t.Context(), diary))
	require.NoError(t, newMirror(t, dsn+"?shop=%C3%B6st,%20a%3Db").WriteDiary(t.Context(), influx.Diary{
		Sensors: []dust.Sensor{{Name: "another"}}, Generation: 5}))
	s := openShop(t, dsn, "north")
	shops, err := s.Shops(t.Context())
	require.NoError(t, err)
	require.Equal(t, []string{"north", "öst, a=b"}, shops)
	sensors, err := s.Sensors(t.Context())
	require.NoError(t, err)
	require.ElementsMatch(t, diary.Sensors, sensors)
	tasks, err := s.Tasks(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, diary.Tasks, tasks)
	setups, err := s.Setups(t.Context())
	require.NoError(t, err)
	require.Equal(t, diary.Setups, setups)
	periods, err := s.SetupPeriods(t.Context())
	require.NoError(t, err)
	require.Equal(t, diary.Periods, periods)

	// As in the local store: from is exclusive of a task's end, to of its start.
	tasks, err = s.Tasks(t.Context(), start.Add(time.Hour), start.Add(2*time.Hour))
	require.NoError(t, err)
	require.Empty(t, tasks)
	tasks, err = s.Tasks(t.Context(), start.Add(48*time.Hour), time.Time{})
	require.NoError(t, err)
	require.Equal(t, diary.Tasks[2:], tasks)
}

// TestDiaryReplaced: what is no longer in the diary is not read any more, even
// though its points are still on the server, and a copy that was cut short
// before its end takes nothing away.
func TestDiaryReplaced(t *testing.T) {
	dsn := newDatabase(t) + "?shop=north"
	m := newMirror(t, dsn)
	require.NoError(t, m.WriteDiary(t.Context(), diary))
	changed := diary
	changed.Generation++
	changed.Tasks = diary.Tasks[1:]
	require.NoError(t, m.WriteDiary(t.Context(), changed))
	s := openShop(t, dsn, "")
	tasks, err := s.Tasks(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, diary.Tasks[1:], tasks)
}

func TestMirrorKeepsShopsApart(t *testing.T) {
	dsn := newDatabase(t)
	north, south := storetest.Readings("bench", start, 50), storetest.Readings("bench", start, 30)
	m := newMirror(t, dsn+"?shop=north")
	for range 2 { // twice is the same
		require.NoError(t, m.Write(t.Context(), north))
	}
	require.NoError(t, newMirror(t, dsn+"?shop=south").Write(t.Context(), south))
	storetest.Same(t, north, storetest.All(t, openShop(t, dsn, "north"), dust.Query{}))
	storetest.Same(t, south, storetest.All(t, openShop(t, dsn+"?shop=south", ""), dust.Query{}))
	spans, err := openShop(t, dsn, "south").Span(t.Context())
	require.NoError(t, err)
	require.Equal(t, int64(30), spans[0].Count)
}

func TestSeriesAgainstReadings(t *testing.T) {
	dsn := newDatabase(t) + "?shop=north"
	list := storetest.Readings("bench", start, 100)
	list = append(list, storetest.Readings("bench", start.Add(24*time.Hour-50*time.Second), 100)...) // over the edge of a day
	list = append(list, storetest.Readings("bench", start.AddDate(0, 3, 0), 100)...)
	list[5].Flags = dust.Humid | dust.Stuck
	list[6].Values.Unset(dust.PM25)
	m := newMirror(t, dsn)
	require.NoError(t, m.Write(t.Context(), list))
	require.NoError(t, m.Write(t.Context(), storetest.Readings("other", start, 100)))
	channels := []dust.Channel{dust.PM25, dust.N03, dust.Humidity}
	got, err := openShop(t, dsn, "").Series(t.Context(), dust.Sensor{Name: "bench"}, channels, start.Add(time.Second), time.Time{})
	require.NoError(t, err)
	for _, c := range channels {
		want := dust.NewSeries(dust.Sensor{Name: "bench"}, c)
		for _, r := range list[1:] {
			if x, ok := r.Values.Get(c); ok {
				require.NoError(t, want.Append(r.Time, x, r.Flags))
			}
		}
		require.Equal(t, want, got[c], c)
	}
}

func TestMirrorNeedsAName(t *testing.T) {
	_, err := influx.NewMirror("influx://host/dust", influx.Options{})
	require.ErrorContains(t, err, "shop has no name")
}

func TestMirrorNamesTheBadPoint(t *testing.T) {
	m := newMirror(t, newDatabase(t)+"?shop=north")
	list := storetest.Readings("bench", start, 3)
	list[1].Time = time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC)
	err := m.Write(t.Context(), list)
	var e *influx.WriteError
	require.ErrorAs(t, err, &e)
	require.True(t, e.Refused())
	require.ErrorContains(t, err, "time outside range")
}

// TestMirrorBelievesOnlyTheServer answers as servers, proxies and login pages do.
func TestMirrorBelievesOnlyTheServer(t *testing.T) {
	for name, test := range map[string]struct {
		status  int
		header  map[string]string
		body    string
		refused bool
		wait    time.Duration
		want    string
	}{
		"login page":     {200, nil, "<html>", false, 0, "not InfluxDB's 204"},
		"redirect":       {302, map[string]string{"Location": "/login"}, "", false, 0, "302"},
		"too many":       {429, map[string]string{"Retry-After": "17"}, "", false, 17 * time.Second, "try again later"},
		"overload":       {503, map[string]string{"Retry-After": "3"}, "", false, 3 * time.Second, "try again later"},
		"broken":         {500, nil, "boom\x00\x1b[31m", false, 0, "boom  [31m"},
		"garbled JSON":   {500, map[string]string{"Content-Type": "application/json"}, "{{{", false, 0, "invalid character"},
		"endless":        {500, nil, strings.Repeat("x", 1<<20), false, 0, "…"},
		"proxy's 400":    {400, nil, "Client sent an HTTP request to an HTTPS server.", false, 0, "HTTPS"},
		"its own 400":    {400, map[string]string{"X-Influxdb-Version": "1.8.10", "X-Influxdb-Error": "partial write: points beyond retention policy dropped=2"}, "", true, 0, "beyond retention"},
		"its own 413":    {413, map[string]string{"X-Influxdb-Version": "1.8.10"}, "", true, 0, "413"},
		"token repeated": {500, nil, "bad token my secret", false, 0, "(token)"},
		"wrong token":    {401, map[string]string{"X-Influxdb-Version": "1.8.10"}, "", false, 0, "DUSTLOG_INFLUX_TOKEN"},
	} {
		t.Run(name, func(t *testing.T) {
			fake := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				for k, v := range test.header {
					w.Header().Set(k, v)
				}
				w.WriteHeader(test.status)
				_, _ = w.Write([]byte(test.body))
			}))
			defer fake.Close()
			m := newMirror(t, strings.Replace(fake.URL, "http://", "influx://", 1)+"/dust?shop=north")
			err := m.Write(t.Context(), storetest.Readings("bench", start, 2))
			var e *influx.WriteError
			require.ErrorAs(t, err, &e)
			require.Equal(t, test.refused, e.Refused())
			require.Equal(t, test.wait, e.RetryAfter())
			require.ErrorContains(t, err, test.want)
			require.NotContains(t, err.Error(), "secret")
			require.Less(t, len(err.Error()), 2100)
		})
	}
}
