package report

import (
	"fmt"
	"strings"

	"dustlog/internal/dust"
)

// CheckItem is something that a measurement report is expected to hold.
type CheckItem struct {
	Item string
	Has  bool
	Note string // where it stands, or what is missing
}

// Checklist compares the report with what EN 689:2018 asks of one (its clause on
// the report, from memory). What a program cannot know is missing, and said to be.
func Checklist(in Input) []CheckItem {
	var items []CheckItem
	add := func(item string, has bool, yes, no string) {
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
	add("Who measured, and in whose name", false, "", "Missing: write it here by hand.")
	add("Purpose of the measurement", in.Compare != nil, "Limit, respirator, and a change of the dust collection: see the answers.", "Limit and respirator only: no change was compared.")
	add("Workplace and its address", in.Shop != "" && in.Shop != "Workshop", "Name on the first page; the address is missing.", "Missing: set shop.name, and write the address by hand.")
	add("Materials worked", len(materials) > 0, strings.Join(sortedKeys(materials), ", ")+" (diary).", "Missing: the diary names none.")
	add("Tasks, and when", len(runs) > 0, fmt.Sprintf("%d runs in the diary; the appendix lists the sessions they make.", len(runs)), "Missing: without a diary nothing is explained.")
	add("Ventilation, extraction, doors, weather", false, "", "Missing, apart from the setups' names: write down what was open, on and running.")
	add("Personal samples in the breathing zone", person > 0, fmt.Sprintf("%d shifts on %d days, by an optical sensor, which is no sampler.", person, len(days)), "Missing: area readings speak for places.")
	add("Three days or more; six for statistics", len(days) >= 3, fmt.Sprintf("%d days.", len(days)), fmt.Sprintf("Missing: %d days.", len(days)))
	add("Sampling and analysis by a validated method (EN 482)", false, "", "Missing: an optical sensor is none. A hygienist's gravimetric samples are.")
	add("Calibration against filter samples of the limit's fraction", calibrated, "A factor was used; see the shifts' reasons.", "Missing: readings are the sensor's own.")
	add("Duration of each measurement, and what was not measured", len(in.Exposure.Shifts) > 0, "Minutes measured of each shift, three assumptions on the rest.", "Missing.")
	add("Limit, its status and source", in.Exposure.Limit.ID != "", in.Exposure.Limit.Label()+".", "Missing.")
	add("Uncertainty", in.Compare != nil || calibrated, "Intervals of the comparison; the factor's uncertainty where one was used.", "Missing: nothing is known of a plain reading's error.")
	add("Result against the limit", len(in.Exposure.Shifts) > 0, "A finding with its reason for every shift.", "Missing.")
	add("When to measure again", false, "", "Missing: after any change, and as your code asks.")
	return items
}
