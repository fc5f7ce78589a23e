package report

import (
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// CheckItem is something that a measurement report is expected to hold.
type CheckItem struct {
	Item words.Text
	Has  bool
	Note words.Text // where it stands, or what is missing
}

// Checklist compares the report with what EN 689:2018 asks of one (its clause on
// the report, from memory). What a program cannot know is missing, and said to be.
func Checklist(in Input) []CheckItem {
	var items []CheckItem
	add := func(item words.Text, has bool, yes, no words.Text) {
		note := no
		if has {
			note = yes
		}
		items = append(items, CheckItem{item, has, note})
	}
	materials, runs := map[string]bool{}, map[string]bool{}
	for _, t := range in.Exposure.Tasks { // one for each sensor
		runs[t.Task+"\x00"+t.Material+"\x00"+t.Start.String()] = true
		if m := strings.TrimSpace(t.Material); m != "" {
			materials[m] = true
		}
	}
	person, calibrated, days := 0, false, map[string]bool{}
	for _, s := range in.Exposure.Shifts {
		if s.Position == dust.BreathingZone {
			person++
			days[s.Date] = true
		}
		calibrated = calibrated || s.WithFactor != nil
	}
	add(words.Of("Who measured, and in whose name"), false, words.Text{}, words.Of("Missing: write it here by hand."))
	add(words.Of("Purpose of the measurement"), in.Compare != nil, words.Of("Limit, respirator, and a change of the dust collection: see the answers."), words.Of("Limit and respirator only: no change was compared."))
	add(words.Of("Workplace and its address"), in.Shop != "" && in.Shop != "Workshop", words.Of("Name on the first page; the address is missing."), words.Of("Missing: set shop.name, and write the address by hand."))
	add(words.Of("Materials worked"), len(materials) > 0, words.Of("%s (diary).", strings.Join(sortedKeys(materials), ", ")), words.Of("Missing: the diary names none."))
	add(words.Of("Tasks, and when"), len(runs) > 0, words.Of("%d runs in the diary; the appendix lists the sessions they make.", len(runs)), words.Of("Missing: without a diary nothing is explained."))
	add(words.Of("Ventilation, extraction, doors, weather"), false, words.Text{}, words.Of("Missing, apart from the setups' names: write down what was open, on and running."))
	add(words.Of("Personal samples in the breathing zone"), person > 0, words.Of("%d shifts on %d days, by an optical sensor, which is no sampler.", person, len(days)), words.Of("Missing: area readings speak for places."))
	add(words.Of("Three days or more; six for statistics"), len(days) >= 3, words.Of("%d days.", len(days)), words.Of("Missing: %d days.", len(days)))
	add(words.Of("Sampling and analysis by a validated method (EN 482)"), false, words.Text{}, words.Of("Missing: an optical sensor is none. A hygienist's gravimetric samples are."))
	add(words.Of("Calibration against filter samples of the limit's fraction"), calibrated, words.Of("A factor was used; see the shifts' reasons."), words.Of("Missing: readings are the sensor's own."))
	add(words.Of("Duration of each measurement, and what was not measured"), len(in.Exposure.Shifts) > 0, words.Of("Minutes measured of each shift, three assumptions on the rest."), words.Of("Missing."))
	add(words.Of("Limit, its status and source"), in.Exposure.Limit.ID != "", words.Of("%s.", in.Exposure.Limit.Label()), words.Of("Missing."))
	add(words.Of("Uncertainty"), in.Compare != nil || calibrated, words.Of("Intervals of the comparison; the factor's uncertainty where one was used."), words.Of("Missing: nothing is known of a plain reading's error."))
	add(words.Of("Result against the limit"), len(in.Exposure.Shifts) > 0, words.Of("A finding with its reason for every shift."), words.Of("Missing."))
	add(words.Of("When to measure again"), false, words.Text{}, words.Of("Missing: after any change, and as your code asks."))
	return items
}
