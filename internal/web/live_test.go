package web

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func reading(name string, at time.Time, ugM3 float64) dust.Reading {
	r := dust.Reading{Sensor: name, Time: at}
	r.Values.Set(dust.PM25, ugM3)
	return r
}

// Nobody takes readings here: offering more than there is room for must return.
func TestOfferNeverWaits(t *testing.T) {
	s := newShop(t, nil)
	for i := range 3000 {
		s.Offer(reading("bench", noon.Add(time.Duration(i)*time.Second), 1))
	}
	require.EqualValues(t, 3000-cap(s.recent.queue), s.recent.missed.Load())
}

func TestReadingsInOrderAndOnce(t *testing.T) {
	l := newRecent(false)
	for _, second := range []int{0, 1, 1, 5, 3, 6} {
		l.take(reading("bench", noon.Add(time.Duration(second)*time.Second), float64(second)))
	}
	newest, spacing, series := l.snapshot(dust.Sensor{Name: "bench"})
	require.Equal(t, noon.Add(6*time.Second), newest.Time)
	require.Equal(t, time.Second, spacing)
	ms, values, _ := series.Columns()
	require.Len(t, ms, 4)
	require.Equal(t, []float64{0, 1, 5, 6}, values)
}

func TestOnlyTheLastMinutesAreHeld(t *testing.T) {
	l := newRecent(false)
	for i := range 24 * 3600 {
		l.take(reading("bench", noon.Add(time.Duration(i)*time.Second), 1))
	}
	require.Less(t, cap(l.sensors["bench"].ms), 4000)
	_, _, series := l.snapshot(dust.Sensor{Name: "bench"})
	require.GreaterOrEqual(t, series.Len(), int(remembered/time.Second))
}

func TestTheMassScaleIsThatOfTheSettings(t *testing.T) {
	r := reading("bench", noon, 300)
	r.Values.Set(dust.PM25Atm, 200)
	for atmospheric, want := range map[bool]float64{false: 300, true: 200} {
		l := newRecent(atmospheric)
		l.take(r)
		_, _, series := l.snapshot(dust.Sensor{Name: "bench"})
		_, got, _ := series.At(0)
		require.InDelta(t, want, got, 0)
	}
}

// stream opens the events of a page.
func stream(t *testing.T, s *shop) (next func() state, end func()) {
	t.Helper()
	server := httptest.NewServer(s.Handler())
	ctx, cancel := context.WithCancel(t.Context())
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, server.URL+"/live", nil)
	require.NoError(t, err)
	answer, err := server.Client().Do(r)
	require.NoError(t, err)
	require.Equal(t, "text/event-stream", answer.Header.Get("Content-Type"))
	lines := bufio.NewScanner(answer.Body)
	lines.Buffer(nil, 1<<20)
	next = func() (s state) {
		for lines.Scan() {
			if text, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
				require.NoError(t, json.Unmarshal([]byte(text), &s))
				return s
			}
		}
		return s
	}
	return next, func() { cancel(); answer.Body.Close(); server.Close() }
}

func TestALevelArrives(t *testing.T) {
	s := newShop(t, nil)
	s.sensor("bench", dust.BreathingZone, 10, 20, 0)
	next, end := stream(t, s)
	defer end()
	require.Equal(t, "20", next().Text["s0-level"])
	s.recent.take(reading("bench", noon, 999))
	s.tell(t.Context())
	require.Equal(t, "999", next().Text["s0-level"])
}

func TestWithFollowTheStoreIsRead(t *testing.T) {
	s := newShop(t, func(o *Options) { o.Follow = true })
	s.sensor("bench", dust.BreathingZone, 10, 20, 0)
	// Another program commits a reading, and later an older one of another sensor.
	for _, r := range []dust.Reading{reading("bench", noon, 70), reading("outlet", noon.Add(-time.Second), 5)} {
		_, err := s.store.Append(t.Context(), []dust.Reading{r})
		require.NoError(t, err)
		require.NoError(t, s.follow(t.Context()))
	}
	s.clock.add(time.Second)
	levels := map[string]string{}
	for _, v := range s.view().Sensors {
		levels[v.Name] = v.Level
	}
	require.Equal(t, map[string]string{"bench": "70", "outlet": "5.0"}, levels)
}

// A viewer that takes nothing for a while gets the newest event next, not all.
func TestASlowViewerIsGivenTheNewest(t *testing.T) {
	v := newViewers()
	one := v.add()
	for _, text := range []string{"a", "b", "c"} {
		v.tell([]byte(text), noon)
	}
	require.Equal(t, "c", string(<-one.next))
	v.tell([]byte("c"), noon.Add(time.Second))
	require.Empty(t, one.next, "nothing new")
	v.tell([]byte("c"), noon.Add(heartbeat))
	require.Len(t, one.next, 1, "but a sign of life")
	v.closeAll()
	require.Nil(t, v.add())
}

func TestViewersAreBounded(t *testing.T) {
	s := newShop(t, nil)
	for range mostViewer {
		require.NotNil(t, s.viewers.add())
	}
	s.get(http.StatusServiceUnavailable, "/live")
}

func TestClosingEndsTheStreams(t *testing.T) {
	s := newShop(t, nil)
	next, end := stream(t, s)
	defer end()
	next()
	s.Close()
	require.Empty(t, next().Text, "the stream has ended")
}
