package report

import (
	"fmt"
	"time"

	"dustlog/internal/exposure"
)

func runID(r exposure.TaskResult, zone *time.Location) string {
	return "run/" + r.Sensor + "/" + r.Start.In(zone).Format("2006-01-02T15:04")
}

// allRuns lists every run of a task for the appendix, where someone breathes.
func allRuns(in Input) grid {
	g := grid{Caption: "All runs of tasks, where someone breathes", Columns: []gridColumn{
		texts("from", 1.6), texts("sensor", 1), texts("setup", 1.5), texts("task", 1.2), texts("material", 1), numbers("minutes", "minutes", 0.8),
		numbers("of them measured", "measured", 0.9), numbers("mean, mg/m³", "mean", 0.9), numbers("dose, mg·min/m³", "dose", 1), texts("remark", 2)}}
	for _, r := range in.Exposure.Tasks {
		if !breathed(r) {
			continue
		}
		g.Rows = append(g.Rows, gridRow{runID(r, in.Zone), []string{r.Start.In(in.Zone).Format("2006-01-02 15:04"), r.Sensor, orNotDeclared(r.Setup), r.Task, r.Material,
			fmt.Sprintf("%.0f", r.Minutes), fmt.Sprintf("%.0f", r.MinutesMeasured), sig(r.MeanMgM3), sig(r.DoseMgMinM3), r.Why.String()}})
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
