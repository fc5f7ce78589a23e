package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
)

func (s *shop) tasks() []dust.Task {
	s.t.Helper()
	tasks, err := s.store.Tasks(s.t.Context(), time.Time{}, time.Time{})
	require.NoError(s.t, err)
	return tasks
}

// millis is a moment by the telephone's clock.
func millis(t time.Time) string { return fmt.Sprint(t.UnixMilli()) }

func TestATapStartsAndAnotherStops(t *testing.T) {
	s := newShop(t, nil)
	answer := s.post(200, "/diary/enter", "kind", "start", "name", "sanding", "material", "oak", "id", "one")
	require.JSONEq(t, `{"id":"one","words":"12:00 sanding, oak started"}`, answer)
	require.Contains(t, s.get(200, "/"), "Sanding, oak")
	s.clock.add(time.Minute)
	s.post(200, "/diary/enter", "kind", "stop")
	tasks := s.tasks()
	require.Len(t, tasks, 1)
	require.Equal(t, noon.Add(time.Minute), tasks[0].Stop)
	require.Contains(t, s.get(200, "/dock"), "No task is running")
}

func TestAPlainFormWorksWithoutScript(t *testing.T) {
	s := newShop(t, nil)
	r := httptest.NewRequest(http.MethodPost, "/diary/enter", strings.NewReader("kind=start&name=sanding&minutes_ago=10"))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Accept", "text/html")
	s.ask(http.StatusSeeOther, r)
	require.Equal(t, noon.Add(-10*time.Minute), s.tasks()[0].Start)
}

// A tap that waited counts from when it was made. The telephone's clock is three
// days off: only its differences count.
func TestATapThatWaitedHasItsOwnTime(t *testing.T) {
	s := newShop(t, nil)
	theirs := noon.Add(-72 * time.Hour)
	tap := []string{"kind", "start", "name", "sanding", "id", "t1", "made_ms", millis(theirs), "sent_ms", millis(theirs.Add(25 * time.Minute))}
	s.post(200, "/diary/enter", tap...)
	require.Equal(t, noon.Add(-25*time.Minute), s.tasks()[0].Start)

	// The answer was lost, and it is sent again later.
	s.clock.add(time.Hour)
	tap[9] = "t1"
	tap = append(tap[:8], "sent_ms", millis(theirs.Add(85*time.Minute)))
	tap = append(tap, "id", "t1")
	s.post(200, "/diary/enter", tap...)
	require.Len(t, s.tasks(), 1)
	require.Equal(t, noon.Add(-25*time.Minute), s.tasks()[0].Start, "once, at its first time")
}

func TestTapsWithAnImpossibleTimeAreRefused(t *testing.T) {
	s := newShop(t, nil)
	for name, extra := range map[string][]string{
		"from the future": {"made_ms", millis(noon.Add(time.Minute)), "sent_ms", millis(noon)},
		"too old":         {"made_ms", millis(noon.Add(-8 * 24 * time.Hour)), "sent_ms", millis(noon)},
		"no number":       {"made_ms", "soon", "sent_ms", "later"},
		"ahead":           {"minutes_ago", "-5"},
		"suggested ahead": {"at_ms", millis(noon.Add(time.Second))},
		"overflow":        {"made_ms", "-9223372036854775808", "sent_ms", "9223372036854775807"},
	} {
		t.Run(name, func(t *testing.T) {
			var answer struct{ Error string }
			require.NoError(t, json.Unmarshal([]byte(s.post(422, "/diary/enter", append(extra, "kind", "start", "name", "x")...)), &answer))
			require.NotEmpty(t, answer.Error)
		})
	}
	require.Empty(t, s.tasks())
}

func TestWhatCannotBeEnteredIsExplained(t *testing.T) {
	s := newShop(t, nil)
	require.Contains(t, s.post(422, "/diary/enter", "kind", "stop"), "no task is running")
	require.Contains(t, s.post(422, "/diary/enter", "kind", "flarp"), "flarp")
	require.Contains(t, s.post(422, "/diary/enter", "kind", "undo", "undoes", "nothing"), "cannot be undone")
	require.Contains(t, s.post(422, "/diary/enter", "kind", "note", "text", strings.Repeat("x", 2000)), "at most")
	s.post(422, "/diary/enter", "kind", "note", "text", strings.Repeat("x", mostForm))
	require.Empty(t, s.tasks())
}

func TestUndoFromThePage(t *testing.T) {
	s := newShop(t, nil)
	s.post(200, "/diary/enter", "kind", "start", "name", "sanding", "id", "a")
	require.Contains(t, s.get(200, "/dock"), `name="undoes" value="a"`)
	s.post(200, "/diary/enter", "kind", "undo", "undoes", "a")
	require.Empty(t, s.tasks())
	require.NotContains(t, s.get(200, "/dock"), `value="undo"`)
}

func TestSetupsAndNotes(t *testing.T) {
	s := newShop(t, nil)
	s.post(200, "/diary/enter", "kind", "setup", "name", "old bag")
	s.clock.add(time.Minute)
	s.post(200, "/diary/enter", "kind", "setup", "name", "new bag")
	s.clock.add(time.Minute)
	s.post(200, "/diary/enter", "kind", "note", "text", "<b>bag</b> changed")
	dock := s.get(200, "/dock")
	require.Contains(t, dock, "Setup: new bag")
	require.Contains(t, dock, `value="old bag"`, "the other can be chosen")
	require.Contains(t, dock, "note: &lt;b&gt;bag&lt;/b&gt; changed", "what people write is text")
}

func TestTheLatestTasksAreOffered(t *testing.T) {
	s := newShop(t, nil)
	for i := range 12 {
		from := noon.Add(time.Duration(i-24) * time.Hour)
		_, err := s.store.AddTask(t.Context(), dust.Task{Name: fmt.Sprintf("task %c", 'a'+i%10), Material: "oak", Start: from, Stop: from.Add(time.Minute)})
		require.NoError(t, err)
	}
	dock := s.get(200, "/dock")
	require.Equal(t, mostChoices, strings.Count(dock, `data-tap="task`)-1, "and one form for another")
	require.Contains(t, dock, ">task b<", "the latest")
	require.NotContains(t, dock, ">task c<", "not the oldest")
}

// The diary's version changes with each entry, also one from another program.
func TestTheVersionTellsOfEveryChange(t *testing.T) {
	s := newShop(t, nil)
	version := func() string { s.diary.stale(); return s.view().Dock.Version }
	seen := map[string]bool{version(): true}
	for i, do := range []func(){
		func() { s.post(200, "/diary/enter", "kind", "start", "name", "sanding", "id", "a") },
		func() { s.post(200, "/diary/enter", "kind", "note", "text", "x") },
		func() { s.post(200, "/diary/enter", "kind", "setup", "name", "bag") },
		func() { s.post(200, "/diary/enter", "kind", "undo", "undoes", "a") },
		func() {
			_, err := s.store.StartTask(t.Context(), dust.Task{Name: "ripping", Start: noon})
			require.NoError(t, err)
		},
	} {
		do()
		now := version()
		require.False(t, seen[now], "change %d", i)
		seen[now] = true
	}
	require.Equal(t, version(), version())
}

func TestWithoutADiaryNothingCanBeEntered(t *testing.T) {
	s := newShop(t, func(o *Options) { o.Diary = nil })
	require.NotContains(t, s.get(200, "/"), "<button class=\"main\"")
	s.post(403, "/diary/enter", "kind", "start", "name", "x")
}

// 4.2 inches of water gauge are 1046 Pa, by 249.0889 Pa each (NIST SP 811, 2008, B.8).
func TestAReadingOffTheCollector(t *testing.T) {
	s := newShop(t, nil)
	s.post(200, "/diary/enter", "kind", "gauge", "gauge", "static-pressure", "figures", "-4.2 in. w.g.", "id", "g")
	require.Contains(t, s.get(200, "/diary"), "static pressure at the blower: -1046 Pa (-4.20 in. w.g.)")
	require.Contains(t, s.get(200, "/dock"), `value="static-pressure" selected`, "what was read off last is proposed")
	s.post(200, "/diary/enter", "kind", "gauge", "gauge", "current", "figures", "8.5 A", "id", "c")
	require.Contains(t, s.get(200, "/days/2026-03-04"), "motor current: 8.50 A")
	entries, err := s.store.Entries(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Len(t, entries, 2)
	require.Equal(t, dust.GaugeEntry, entries[0].Kind)

	s.post(200, "/diary/enter", "kind", "undo", "undoes", "g")
	require.Contains(t, s.get(200, "/diary"), "(taken back)")
	for _, bad := range [][2]string{{"static-pressure", "4.2"}, {"static-pressure", "lots of Pa"}, {"current", "8 Pa"}, {"thirst", "1 A"}, {"flow", ""}} {
		require.Contains(t, s.post(422, "/diary/enter", "kind", "gauge", "gauge", bad[0], "figures", bad[1]), "cannot be taken")
	}
}

// Everything that package airflow takes is offered in words.
func TestEveryGaugeHasItsWords(t *testing.T) {
	for _, k := range airflow.GaugeKinds {
		require.NotEmpty(t, gaugeWords[k.Kind], k.Kind)
	}
}

// An hour of quiet after half an hour at 400 µg/m³: the stop is proposed for the end of
// the dust, and one tap takes it.
func TestAForgottenStopIsProposedAndTaken(t *testing.T) {
	s := newShop(t, nil)
	require.NoError(t, s.store.PutSensor(t.Context(), dust.Sensor{Name: "bench", Model: "sps30", Position: dust.BreathingZone}))
	ended := noon.Add(-time.Hour)
	var batch []dust.Reading
	for at := noon.Add(-4 * time.Hour); at.Before(noon); at = at.Add(2 * time.Second) {
		level := 8.0
		if at.Before(ended) && !at.Before(ended.Add(-30*time.Minute)) {
			level = 400
		}
		batch = append(batch, reading("bench", at, level))
	}
	_, err := s.store.Append(t.Context(), batch)
	require.NoError(t, err)
	_, err = s.store.StartTask(t.Context(), dust.Task{Name: "sanding", Start: ended.Add(-30 * time.Minute)})
	require.NoError(t, err)

	dock := s.get(200, "/dock")
	require.Contains(t, dock, "Was sanding over at 11:00?")
	require.Contains(t, dock, "At bench the dust fell at 11:00")
	at := regexp.MustCompile(`name="at_ms" value="(\d+)"`).FindStringSubmatch(dock)
	require.NotNil(t, at)
	require.True(t, s.tasks()[0].Running(), "nothing is entered unasked")
	s.post(200, "/diary/enter", "kind", "stop", "at_ms", at[1])
	require.WithinDuration(t, ended, s.tasks()[0].Stop, time.Minute)
	require.NotContains(t, s.get(200, "/dock"), "Was sanding over")
}
