package cli

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"time"

	"dustlog/internal/exposure"
)

// writeExposureCSV prints one row for each shift and limit, or for each total or
// group. Missing numbers are empty cells.
func writeExposureCSV(w io.Writer, r exposureAnswer) error {
	out := csv.NewWriter(w)
	rows := shiftRows
	switch r.By {
	case exposure.ByTask, exposure.ByMaterial, exposure.ByPosition:
		rows = totalRows
	case exposure.ByGroup:
		rows = groupRows
	}
	for _, row := range rows(r) {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = cell(c)
		}
		if err := out.Write(cells); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func cell(x any) string {
	switch x := x.(type) {
	case *float64:
		if x == nil {
			return ""
		}
		return strconv.FormatFloat(*x, 'g', -1, 64)
	case float64:
		return strconv.FormatFloat(x, 'g', -1, 64)
	case time.Time:
		return x.UTC().Format(time.RFC3339)
	}
	return fmt.Sprint(x)
}

func shiftRows(r exposureAnswer) [][]any {
	rows := [][]any{anySlice([]string{"date", "start_utc", "end_utc", "sensor", "position", "setup", "metric", "fraction", "shift_min", "measured_min",
		"twa_8h_mg_m3", "twa_8h_if_unmeasured_like_measured_mg_m3", "twa_8h_if_unmeasured_like_worst_task_mg_m3", "twa_shift_mg_m3", "mean_measured_mg_m3",
		"max_15min_mg_m3", "limit_id", "limit_mg_m3", "averaging", "bearing", "governs", "compared_over_min", "compared_mg_m3", "compared_with_factor_mg_m3",
		"share_of_limit", "finding", "why"})}
	for _, s := range r.Shifts {
		for _, l := range s.Limits {
			rows = append(rows, []any{s.Date, s.Start, s.End, s.Sensor, s.Position, s.Setup, r.Metric, l.Fraction, s.Minutes, s.MinutesMeasured,
				s.TWA8h, s.TWA8hFilled, s.TWA8hWorst, s.TWAShift, s.MeasuredMean,
				s.Max15min, l.LimitID, l.LimitMgM3, l.Averaging, l.Bearing, l.Governs, l.ComparedOverMinutes, l.ComparedMgM3, l.WithFactor,
				l.ShareOfLimit, l.Finding, l.Why})
		}
	}
	return rows
}

func totalRows(r exposureAnswer) [][]any {
	rows := [][]any{anySlice([]string{string(r.By), "sensor", "position", "count", "without_reading", "measured_min", "mean_measured_mg_m3",
		"lowest_mean_mg_m3", "highest_mean_mg_m3", "dose_mg_min_m3"})}
	for _, t := range r.Totals {
		rows = append(rows, []any{t.Key, t.Sensor, t.Position, t.Count, t.Empty, t.MinutesMeasured, t.MeanMgM3, t.LowestMgM3, t.HighestMgM3, t.DoseMgMinM3})
	}
	return rows
}

func groupRows(r exposureAnswer) [][]any {
	rows := [][]any{anySlice([]string{"sensor", "position", "setup", "days", "limit_mg_m3", "finding", "mean_mg_m3", "gm_mg_m3", "gsd", "p95_mg_m3",
		"utl95_95_mg_m3", "utl95_70_mg_m3", "exceedance_share", "exceedance_share_low95", "exceedance_share_high95", "why"})}
	for _, g := range r.Groups {
		rows = append(rows, []any{g.Sensor, g.Position, g.Setup, g.Days, g.LimitMgM3, g.Finding, g.Mean, g.GM, g.GSD, g.P95,
			g.UTL95_95, g.UTL95_70, g.Exceedance, g.ExceedanceLow, g.ExceedanceHigh, g.Why})
	}
	return rows
}
