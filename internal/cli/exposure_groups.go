package cli

import (
	"cmp"
	"fmt"
	"strings"

	"dustlog/internal/exposure"
	exposuregroup "dustlog/internal/exposure/group"
	"dustlog/internal/words"
)

// printGroups shows what the shifts of each group say about other days.
func printGroups(a *app, groups []exposure.GroupResult) {
	if len(groups) == 0 {
		fmt.Fprintln(a.Stdout, wrap("No sensor is at a place where someone breathes, so no shift stands for a person's exposure.", 98, ""))
		fmt.Fprintln(a.Stdout)
	}
	for _, g := range groups {
		fmt.Fprintf(a.Stdout, "%s (%s), setup %s: %d days\n", g.Sensor, g.Position.Label(), cmp.Or(g.Setup, "not declared"), g.Days)
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("%s: %s", capital(string(g.Finding)), g.Why), 98, "  "))
		t := newTable(a.Stdout, "  NUMBER", "VALUE", "MEANS")
		row := func(name string, x *float64, format, means string) {
			if x != nil {
				t.row("  "+name, fmt.Sprintf(format, *x), means)
			}
		}
		row("GM", g.GM, "%.3g mg/m³", "geometric mean of the shifts")
		row("GSD", g.GSD, "%.2f", "geometric standard deviation, from day to day")
		row("mean", g.MeanUnbiased, "%.3g mg/m³", "arithmetic mean, unbiased (Finney)")
		row("mean, at most", g.MeanHigh, "%.3g mg/m³", "95 % upper limit of the mean (Land)")
		row("95th percentile", g.P95, "%.3g mg/m³", "19 of 20 shifts are estimated to lie below")
		row("UTL95,70", g.UTL95_70, "%.3g mg/m³", "the same with 70 % confidence")
		row("UTL95,95", g.UTL95_95, "%.3g mg/m³", "the same with 95 % confidence")
		share := func(name string, x *float64, means string) {
			if x != nil && g.Finding != exposuregroup.CannotTell { // of values that are only "at least" it says nothing
				t.row("  "+name, smallPercent(*x), means)
			}
		}
		share("exceedance", g.Exceedance, "estimated share of shifts above the limit")
		share("exceedance, at least", g.ExceedanceLow, "95 % lower limit")
		share("exceedance, at most", g.ExceedanceHigh, "95 % upper limit")
		t.flush()
		for _, s := range g.Statements {
			fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("%s: %s", s.Method, s.Text), 98, "  "))
		}
		for _, x := range g.Excluded {
			fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Left out: %s, %s", x.Label, x.Why), 98, "  "))
		}
		for _, warning := range words.Strings(g.Warnings) {
			fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
		}
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Values: %s. Method: %s", g.Values, g.Method), 98, "  "))
		fmt.Fprintln(a.Stdout)
	}
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// smallPercent prints a share without digits that nothing supports.
func smallPercent(share float64) string {
	if share < 0.0001 {
		return "below 0.01 %"
	}
	return fmt.Sprintf("%.2g %%", 100*share)
}
