package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"dustlog/internal/airflow"
	"dustlog/internal/units"
)

type airflowPointsOptions struct {
	diameter, width, height, rule string
	perDiameter                   int
}

func newAirflowPoints(a *app) *cobra.Command {
	var o airflowPointsOptions
	cmd := &cobra.Command{
		Use:   "points",
		Short: "Where in a duct to measure velocity",
		Long: `Where in a duct to put the probe, as distances from the wall. In a round duct
measure along two diameters at right angles; in a rectangular one at each crossing.
Choose a straight run, eight diameters behind and two before any bend, gate or
branch if there is one (EPA method 1, from memory); less gives a worse mean.`,
		Example: `  dustlog airflow points --diameter "6 in"
  dustlog airflow points --width "12 in" --height "8 in" --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runAirflowPoints(cmd, a, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.diameter, "diameter", "", "of a round duct, inside, as in \"6 in\" or \"150 mm\"")
	f.StringVar(&o.width, "width", "", "of a rectangular duct")
	f.StringVar(&o.height, "height", "", "of a rectangular duct")
	f.StringVar(&o.rule, "rule", string(airflow.LogLinear), "of a round duct: log-linear, log-tchebycheff or equal-area")
	f.IntVar(&o.perDiameter, "per-diameter", 6, "points along each diameter of a round duct")
	a.addJSON(cmd)
	return cmd
}

// pointsJSON are the distances along one line.
type pointsJSON struct {
	Along string         `json:"along"`
	Lines int            `json:"lines"`
	At    []units.Length `json:"from_the_wall"`
}

func runAirflowPoints(cmd *cobra.Command, a *app, o airflowPointsOptions) error {
	lines, err := o.lines()
	if err != nil {
		return usage(cmd, err)
	}
	if a.json {
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "points": lines})
	}
	for _, l := range lines {
		fmt.Fprintf(a.Stdout, "Along the %s, %d lines:\n", l.Along, l.Lines)
		t := newTable(a.Stdout, "  POINT", "FROM THE WALL mm", "in")
		for i, at := range l.At {
			t.row(fmt.Sprintf("  %d", i+1), fmt.Sprintf("%.0f", at.MM()), fmt.Sprintf("%.2f", at.Inches()))
		}
		t.flush()
	}
	return nil
}

func (o airflowPointsOptions) lines() ([]pointsJSON, error) {
	switch {
	case o.diameter != "" && o.width == "" && o.height == "":
		d, err := units.ParseLength(o.diameter)
		if err != nil {
			return nil, fmt.Errorf("--diameter: %w", err)
		}
		shares, err := airflow.RoundPoints(airflow.Rule(o.rule), o.perDiameter)
		return []pointsJSON{{"diameter", 2, distances(shares, d)}}, err
	case o.diameter == "" && o.width != "" && o.height != "":
		w, err1 := units.ParseLength(o.width)
		h, err2 := units.ParseLength(o.height)
		if err := errors.Join(err1, err2); err != nil {
			return nil, err
		}
		across, err1 := airflow.SidePoints(airflow.SideLines(w))
		up, err2 := airflow.SidePoints(airflow.SideLines(h))
		return []pointsJSON{{"width", len(up), distances(across, w)}, {"height", len(across), distances(up, h)}}, errors.Join(err1, err2)
	}
	return nil, errors.New("give --diameter, or --width and --height")
}

func distances(shares []float64, of units.Length) (list []units.Length) {
	for _, x := range shares {
		list = append(list, units.Length(x)*of)
	}
	return list
}
