package web

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

func (s *shop) view() nowView {
	s.t.Helper()
	v, err := s.now(s.t.Context())
	require.NoError(s.t, err)
	return v
}

func TestAnEmptyStoreHasAPage(t *testing.T) {
	s := newShop(t, nil)
	page := s.get(200, "/")
	require.Contains(t, page, "No sensor has been recorded yet")
	require.Contains(t, page, "No task is running")
	require.Contains(t, page, "Cannot tell, so keep it on")
}

// A constant level has that level for its 15-minute mean, and an hour of it is an
// eighth of it over 8 hours: arithmetic.
func TestLevelsMeansAndTheDaySoFar(t *testing.T) {
	s := newShop(t, nil)
	s.sensor("bench", dust.BreathingZone, 3600, 400, 0)
	v := s.view().Sensors[0]
	require.Equal(t, "400", v.Level)
	require.Equal(t, "at 11:59:59", v.LevelNote)
	require.Equal(t, "0.400", v.Mean15)
	require.Equal(t, "15 min: 15 measured", v.Mean15Note)
	require.Equal(t, "0.050", v.Today)
	require.Equal(t, "8 h: 60 of 60 min measured so far, ≥ 5.0 % of the limit", v.TodayNote)
	require.Equal(t, "ok", v.State)

	page := s.get(200, "/")
	for _, text := range []string{"0.400", "0.050", "µg/m³", "mg/m³", "PM2.5", "1 mg/m³ inhalable, mean over 8 h"} {
		require.Contains(t, page, text)
	}
}

func TestWhatIsWrongWithALevelIsSaid(t *testing.T) {
	for name, test := range map[string]struct {
		flags             dust.Flags
		later             time.Duration
		level, note, mean string
		state             string
		marked            bool
	}{
		"warming up": {flags: dust.WarmUp, level: "50", note: "11:59:59, not counted: warm up", mean: none, state: "odd"},
		"at its top": {flags: dust.Saturated, level: "50", note: "11:59:59, at least: the sensor is at its top", mean: "0.050", state: "odd", marked: true},
		"humid":      {flags: dust.Humid, level: "50", note: "at 11:59:59", mean: "0.050", state: "odd", marked: true},
		"silent":     {later: 5 * time.Minute, level: none, note: "no reading for 5 min, the last at 11:59:59", mean: none, state: "lost"},
		"long gone":  {later: time.Hour, level: none, note: "no reading for 60 min, the last at 11:59:59", mean: none, state: "lost"},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, nil)
			s.sensor("bench", dust.BreathingZone, 1000, 50, test.flags)
			s.clock.add(test.later)
			v := s.view()
			one := v.Sensors[0]
			require.Equal(t, []string{test.level, test.note, test.mean, test.state}, []string{one.Level, one.LevelNote, one.Mean15, one.State})
			require.Equal(t, test.marked, v.Stick.Levels[0].Shown == "visible", "a level that does not count has no mark")
		})
	}
}

func TestASensorThatIsKnownButSilent(t *testing.T) {
	s := newShop(t, nil)
	require.NoError(t, s.store.PutSensor(t.Context(), dust.Sensor{Name: "bench", Position: dust.Room}))
	v := s.view().Sensors[0]
	require.Equal(t, "lost", v.State)
	require.Equal(t, none, v.Level, "missing is not zero")
	require.Contains(t, v.LevelNote, "no reading")
}

// Few readings in a quarter of an hour give no mean: 75 % must be measured.
func TestAMeanNeedsItsQuarterOfAnHour(t *testing.T) {
	s := newShop(t, nil)
	s.sensor("bench", dust.BreathingZone, 600, 400, 0)
	v := s.view().Sensors[0]
	require.Equal(t, none, v.Mean15)
	require.Equal(t, "15 min: 10 measured", v.Mean15Note)
}

func TestWhereSomeoneBreathesComesFirst(t *testing.T) {
	s := newShop(t, nil)
	s.sensor("a outlet", dust.Exhaust, 10, 5, 0)
	s.sensor("z bench", dust.BreathingZone, 10, 5, 0)
	v := s.view()
	require.Equal(t, "z bench", v.Sensors[0].Name)
	require.Equal(t, "z bench", v.Stick.Whose)
}

// The script puts texts and attributes where the page has them by id.
func TestEveryEventFitsThePage(t *testing.T) {
	s := newShop(t, nil)
	s.sensor("bench", dust.BreathingZone, 3600, 400, 0)
	s.sensor("outlet", dust.Exhaust, 10, 30, 0)
	s.post(200, "/diary/enter", "kind", "start", "name", "sanding")
	page := s.get(200, "/")
	state := newState(s.view())
	require.NotEmpty(t, state.Text)
	for id, text := range state.Text {
		found := regexp.MustCompile(`id="` + id + `"[^>]*>([^<]*)<`).FindStringSubmatch(page)
		require.NotNil(t, found, id)
		require.Equal(t, text, unescape(found[1]), id)
	}
	for id, attributes := range state.Attr {
		for name, value := range attributes {
			require.Regexp(t, `id="`+id+`"[^>]* `+name+`="`+regexp.QuoteMeta(value)+`"|`+name+`="`+regexp.QuoteMeta(value)+`"[^>]* id="`+id+`"`, page, id)
		}
	}
}

func unescape(s string) string {
	return strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(s)
}

func TestTheStickIsLogarithmicAndItsLabelsStandApart(t *testing.T) {
	for v := 1.0; v < 9999; v *= 10 {
		require.InDelta(t, (stickBottom-stickTop)/4, height(v)-height(10*v), 1e-9, "decades are equally long")
	}
	require.InDelta(t, stickBottom, height(0), 0)
	require.InDelta(t, stickBottom, height(-3), 0)
	require.InDelta(t, stickTop, height(1e9), 0)
	for n := 1; n <= 12; n++ {
		var marks []stickMark
		for i := range n {
			x := 100 + float64(i%3)
			marks = append(marks, newStickMark(fmt.Sprint(i), "x", "x", &x))
		}
		place(marks, labelGap, leadLong)
		for i, a := range marks {
			require.GreaterOrEqual(t, a.labelY, stickTop-1e-9)
			require.LessOrEqual(t, a.labelY, stickBottom+1e-9)
			for _, b := range marks[:i] {
				apart := math.Min(labelGap, (stickBottom-stickTop)/float64(max(1, n-1)))
				require.GreaterOrEqual(t, math.Abs(a.labelY-b.labelY), apart-1e-9, "%d labels", n)
			}
		}
	}
}

func TestTheMaskIsTheStrictestOfTheRunningTasks(t *testing.T) {
	past := exposure.Result{Masks: []exposure.MaskResult{
		{Task: "planing", Material: "oak", State: exposure.NotShownNeeded, Why: words.Literal("low")},
		{Task: "sanding", Material: "oak", State: exposure.KeepOn, Why: words.Literal("dusty")},
	}}
	task := func(name, material string) dust.Task { return dust.Task{Name: name, Material: material} }
	require.Equal(t, exposure.NotShownNeeded, maskOf(past, []dust.Task{task("planing", "Oak")}).State)
	require.Equal(t, exposure.KeepOn, maskOf(past, []dust.Task{task("planing", "oak"), task("sanding", "oak")}).State)
	unknown := maskOf(past, []dust.Task{task("planing", "oak"), task("turning", "ash")})
	require.Equal(t, exposure.MaskCannotTell, unknown.State)
	require.Contains(t, unknown.Why, "Turning")
	require.Equal(t, "Cannot tell, so keep it on", newMaskView(unknown, time.UTC).Short)
	require.Equal(t, exposure.KeepOn, maskOf(past, nil).State, "without a task, that for all work seen")
}

// Past runs tell nothing of this moment: without a sensor that is heard, under another
// setup or after work the page never says that it is not shown to be needed.
func TestPastRunsAloneNeverTakeItOff(t *testing.T) {
	level := 12.0
	ok := sensorView{position: dust.BreathingZone, State: "ok", level: &level}
	low := Mask{State: exposure.NotShownNeeded, Why: "low"}
	task := []dust.Task{{Name: "planing", Material: "oak"}}
	require.Equal(t, exposure.NotShownNeeded, unwatched(low, task, []sensorView{ok}).State)
	require.Equal(t, exposure.MaskCannotTell, unwatched(low, nil, []sensorView{ok}).State)
	room, odd, mute := ok, ok, ok
	room.position, odd.State, mute.level = dust.Room, "odd", nil
	for _, v := range []sensorView{room, odd, mute} {
		require.Equal(t, exposure.KeepOn, unwatched(low, task, []sensorView{v}).State)
	}
	require.Equal(t, exposure.KeepOn, unwatched(low, task, nil).State)
	for _, m := range []Mask{{State: exposure.KeepOn}, {State: exposure.MaskCannotTell}} {
		require.Equal(t, m, unwatched(m, task, []sensorView{ok}), "nothing is relaxed")
	}
	past := exposure.Result{Masks: []exposure.MaskResult{{Task: "planing", Material: "oak", Setup: "hood", State: exposure.NotShownNeeded}}}
	require.Equal(t, exposure.NotShownNeeded, underSetup(past, "hood").Masks[0].State)
	require.Equal(t, exposure.MaskCannotTell, underSetup(past, "no hood").Masks[0].State)
	require.Equal(t, exposure.NotShownNeeded, past.Masks[0].State, "what is kept is not written to")
}

func TestAnAnswerFromElsewhereIsShown(t *testing.T) {
	s := newShop(t, func(o *Options) {
		o.Mask = func() Mask { return Mask{exposure.KeepOn, "the air clears", noon.Add(12 * time.Minute)} }
	})
	require.Equal(t, maskView{"keep", "Keep it on, at most until 12:12", "The air clears."}, s.view().Mask)
}

func TestRecordsThatCannotBeReadAreSaid(t *testing.T) {
	s := newShop(t, func(o *Options) { o.Records = broken{o.Records, errors.New("disk on fire")} })
	page := s.get(500, "/")
	require.Contains(t, page, "the program&#39;s log says why")
	require.NotContains(t, page, "disk on fire", "what is inside stays inside")
}

func TestNothingClaimsThatAirIsHarmless(t *testing.T) {
	s := newShop(t, nil)
	s.sensor("bench", dust.BreathingZone, 3600, 1, 0)
	page := strings.ToLower(s.get(200, "/"))
	for _, claim := range []string{"is safe", "safe level", "compliant", "compliance", "no risk", "harmless"} {
		require.NotContains(t, page, claim)
	}
}

func TestWords(t *testing.T) {
	for x, want := range map[float64]string{0: "0.0", 0.04: "0.0", 7.26: "7.3", 9.949: "9.9", 9.96: "10", 412.4: "412", 12345: "12\u2009345", -3.2: "-3.2"} {
		require.Equal(t, want, micrograms(x))
	}
	for x, want := range map[float64]string{0: "0.000", 0.0004: "< 0.001", 0.1234: "0.123", 0.9996: "1.00", 2.345: "2.35", 12.34: "12.3"} {
		require.Equal(t, want, milligrams(x))
	}
	for d, want := range map[time.Duration]string{90 * time.Second: "90 s", 5 * time.Minute: "5 min", 3*time.Hour + 7*time.Minute: "3 h 7 min", 72 * time.Hour: "3 days"} {
		require.Equal(t, want, ago(d))
	}
	require.Equal(t, "0.5 %", percent(0.005))
	require.Equal(t, "1\u2009234 %", percent(12.34))
}
