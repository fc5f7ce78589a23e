package cli

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/study"
)

const whenHelp = `"14:30" (today), "2026-03-02 14:30", RFC 3339, or "20m ago"`

// parseWhen reads a moment as people write it, in the shop's time zone.
func parseWhen(s string, now time.Time, zone *time.Location) (time.Time, error) {
	text := strings.TrimSpace(s)
	if text == "" || text == "now" {
		return now.UTC(), nil
	}
	if ago, ok := strings.CutSuffix(text, "ago"); ok {
		d, err := time.ParseDuration(strings.ReplaceAll(strings.TrimSpace(ago), " ", ""))
		if err == nil && d >= 0 {
			return now.Add(-d).UTC(), nil
		}
	}
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return t.UTC(), nil
	}
	for _, layout := range []string{"2006-01-02 15:04:05", "2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02"} {
		if t, err := time.ParseInLocation(layout, text, zone); err == nil {
			return t.UTC(), nil
		}
	}
	for _, layout := range []string{"15:04:05", "15:04"} {
		if t, err := time.Parse(layout, text); err == nil {
			y, m, d := now.In(zone).Date()
			return time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), 0, zone).UTC(), nil
		}
	}
	return time.Time{}, fmt.Errorf("%q is not a time: write %s", s, whenHelp)
}

// windowFlags are --from and --to.
type windowFlags struct{ from, to string }

func (f *windowFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.from, "from", "", "first day or moment, as in 2026-03-02 (default: the first reading)")
	cmd.Flags().StringVar(&f.to, "to", "", "last day (included) or moment (default: the last reading)")
}

func (f windowFlags) window(cmd *cobra.Command, now time.Time, zone *time.Location) (study.Window, error) {
	var w study.Window
	var err error
	if f.from != "" {
		if w.From, err = parseWhen(f.from, now, zone); err != nil {
			return w, usage(cmd, fmt.Errorf("--from: %w", err))
		}
	}
	if f.to != "" {
		if w.To, err = parseWhen(f.to, now, zone); err != nil {
			return w, usage(cmd, fmt.Errorf("--to: %w", err))
		}
		if day, err := time.ParseInLocation(time.DateOnly, strings.TrimSpace(f.to), zone); err == nil {
			w.To = day.AddDate(0, 0, 1).UTC()
		}
	}
	if !w.To.IsZero() && !w.To.After(w.From) {
		return w, usage(cmd, fmt.Errorf("--to %s does not come after --from %s", f.to, f.from))
	}
	return w, nil
}
