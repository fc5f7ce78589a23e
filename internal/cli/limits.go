package cli

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"dustlog/internal/exposure"
)

func newLimits(a *app) *cobra.Command {
	var id string
	cmd := &cobra.Command{
		Use:   "limits",
		Short: "The exposure limits that dustlog knows, with source and date",
		Long: `The exposure limits that dustlog knows: value, size fraction, averaging time,
legal status, source. Ambient values are listed apart: they were not set for a
work shift. The table is dated; the issuing body's text is what counts. Limits of
your own, [[limit]] in the configuration with their source, stand beside them.`,
		Example: "  dustlog limits\n  dustlog limits --id uk-hard --json",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			cfg, err := a.load(nil)
			if err != nil {
				return err
			}
			table, err := limitTable(cfg)
			if err != nil {
				return err
			}
			if id != "" {
				l, err := table.Find(id)
				if err != nil {
					return err
				}
				return printLimits(a, []exposure.Limit{l})
			}
			return printLimits(a, table.All())
		},
	}
	cmd.Flags().StringVar(&id, "id", "", "only this limit")
	a.addJSON(cmd)
	_ = cmd.RegisterFlagCompletionFunc("id", completeLimits)
	return cmd
}

func printLimits(a *app, limits []exposure.Limit) error {
	if a.json {
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "limits": limits})
	}
	for _, ambient := range []bool{false, true} {
		title := "Occupational limits"
		if ambient {
			title = "Ambient values, for comparison only: not set for a work shift"
		}
		t := newTable(a.Stdout, "ID", "WHERE", "BODY", "WOOD", "VALUE", "FRACTION", "AVERAGING", "STATUS", "MARK")
		rows := 0
		for _, l := range limits {
			if l.Ambient == ambient {
				rows++
				t.row(l.ID, l.Jurisdiction, l.Body, l.Species, l.ValuePrinted, l.FractionPrinted, l.AveragingPrinted, l.LegalStatus, limitMark(l))
			}
		}
		if rows > 0 {
			fmt.Fprintln(a.Stdout, title)
			t.flush()
			fmt.Fprintln(a.Stdout)
		}
	}
	fmt.Fprintln(a.Stdout, "Source, edition and notes of each: dustlog limits --json")
	return nil
}

// limitMark warns of values that must be looked up before they are relied on.
func limitMark(l exposure.Limit) string {
	status := strings.ToLower(l.LegalStatus)
	switch {
	case l.Own:
		return "your own"
	case strings.Contains(status, "historic"):
		return "no longer in force"
	case strings.Contains(status, "proposal"):
		return "a proposal"
	case l.Doubtful:
		return "doubtful: check with the issuing body"
	case l.FromMemory:
		return "not checked against the document"
	case status == "recommendation":
		return "recommended, not law"
	}
	return ""
}
