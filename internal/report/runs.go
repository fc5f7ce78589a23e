package report

import (
	"fmt"
	"time"

	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

func runID(r exposure.TaskResult, zone *time.Location) string {
	return "run/" + r.Sensor + "/" + r.Start.In(zone).Format("2006-01-02T15:04")
}

// allRuns lists every run of a task for the appendix, where someone breathes.
func allRuns(in Input) grid {
	g := grid{Caption: words.Of("All runs of tasks, where someone breathes"), Columns: []gridColumn{
		texts(words.Of("from"), 1.6), texts(words.Of("sensor"), 1), texts(words.Of("setup"), 1.5), texts(words.Of("task"), 1.2), texts(words.Of("material"), 1), numbers(words.Of("minutes"), "minutes", 0.8),
		numbers(words.Of("of them measured"), "measured", 0.9), numbers(words.Of("mean, mg/m³"), "mean", 0.9), numbers(words.Of("dose, mg·min/m³"), "dose", 1), texts(words.Of("remark"), 2)}}
	for _, r := range in.Exposure.Tasks {
		if !breathed(r) {
			continue
		}
		g.Rows = append(g.Rows, gridRow{runID(r, in.Zone), []any{stamp(r.Start, in.Zone), r.Sensor, setupText(r.Setup), r.Task, r.Material,
			fmt.Sprintf("%.0f", r.Minutes), fmt.Sprintf("%.0f", r.MinutesMeasured), sig(r.MeanMgM3), sig(r.DoseMgMinM3), r.Why}})
	}
	return g
}

func explainRuns(in Input) []exposure.Explanation {
	const source = "definition of this program, package exposure"
	var out []exposure.Explanation
	for _, r := range in.Exposure.Tasks {
		if !breathed(r) {
			continue
		}
		x := explainer{row: runID(r, in.Zone), base: exposure.Explanation{Sensor: r.Sensor, Metric: in.Exposure.Metric, From: r.Start, To: r.Stop}}
		measured := given(x.row+"/measured", &r.MinutesMeasured, "min")
		x.add("minutes", "how long it took", "min", &r.Minutes, "stop − start, by the diary", source)
		x.add("measured", "usable time of it", "min", &r.MinutesMeasured, "ΣΔt of usable readings", source)
		x.add("mean", "mean while it ran", "mg/m³", r.MeanMgM3, "ΣC·Δt / ΣΔt over the measured time", source, measured)
		x.add("dose", "dose of it", "mg·min/m³", r.DoseMgMinM3, "ΣC·Δt over the measured time", source, given(x.row+"/mean", r.MeanMgM3, "mg/m³"), measured)
		out = append(out, x.out...)
	}
	return out
}
