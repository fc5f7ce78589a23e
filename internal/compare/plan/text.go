package plan

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// WriteChecklist writes the plan as a list for the wall.
func WriteChecklist(w io.Writer, p Plan) error {
	var b strings.Builder
	unit := "sessions under each setup, one setup a day"
	if p.Paired {
		unit = "days, every setup on each"
	}
	fmt.Fprintf(&b, "PLAN: %s\n%d %s; order drawn by seed %d\n\n", strings.Join(p.Setups, " / "), p.Sessions, unit, p.Seed)
	for _, s := range p.Order {
		fmt.Fprintf(&b, "[ ] %3d  %s%s\n", s.Day, dated(s.Date), strings.Join(s.Setups, ", then "))
	}
	fmt.Fprintf(&b, "\nEvery day: the same tasks, wood, grit and minutes; note each task in the diary,\nand what was unlike: door, fan, filter, other work.\nNo verdict before the last line is ticked.\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// dated is the date as a column, with its weekday; "" without one.
func dated(date string) string {
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return ""
	}
	return day.Format("Mon 2006-01-02") + "  "
}
