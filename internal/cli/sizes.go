package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

func newSizes(a *app) *cobra.Command {
	var win windowFlags
	var p exposure.Particles
	cmd := &cobra.Command{
		Use:   "sizes",
		Short: "What the size bins weigh as inhalable, thoracic and respirable dust",
		Long: `What each sensor's size bins weigh, in all and under the inhalable, thoracic and
respirable conventions of EN 481/ISO 7708, for a density and a shape that you
assume; and what the sensor's own masses may stand for, and in which direction
they err. Coarse dust, most of the mass of wood dust, is not in it.

` + cautionShort,
		Example: "  dustlog sizes --from 2026-03-02 --density 0.7\n  dustlog sizes --density 1.5 --shape-factor 1.3 --json",
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := p.Check(); err != nil {
				return usage(cmd, err)
			}
			return a.inStudy(cmd, nil, win, func(s *study.Study, _ config.Config, w study.Window) error {
				result, err := s.Sizes(cmd.Context(), p, w)
				if err != nil {
					return err
				}
				if a.json {
					return writeJSON(a.Stdout, result)
				}
				printSizes(a, result)
				return nil
			})
		},
	}
	win.add(cmd)
	cmd.Flags().Float64Var(&p.DensityGCm3, "density", 1, "density of the particles, g/cm³ (wood: cell wall 1.5, whole dry wood 0.35 to 0.9)")
	cmd.Flags().Float64Var(&p.ShapeFactor, "shape-factor", 1, "dynamic shape factor: 1 for spheres, about 1.3 for splinters")
	a.addJSON(cmd)
	return cmd
}

func printSizes(a *app, r study.SizesResult) {
	fmt.Fprintf(a.Stdout, "Assumed: density %g g/cm³, shape factor %g\n", r.Particles.DensityGCm3, r.Particles.ShapeFactor)
	for _, s := range r.Sensors {
		fmt.Fprintf(a.Stdout, "\n%s (%s, %s), mean of %.0f min measured\n", s.Sensor, s.Model, s.Position.Label(), s.Minutes)
		t := newTable(a.Stdout, "  SIZE µm", "NUMBER 1/cm³", "MASS µg/m³", "INHALABLE µg/m³", "THORACIC µg/m³", "RESPIRABLE µg/m³")
		for _, b := range append(s.Bins, s.Sum) {
			t.row(fmt.Sprintf("  %g–%g", b.FromUm, b.ToUm), fmt.Sprintf("%.4g", b.PerCm3), fmt.Sprintf("%.1f", b.All),
				fmt.Sprintf("%.1f", b.Inhalable), fmt.Sprintf("%.1f", b.Thoracic), fmt.Sprintf("%.1f", b.Respirable))
		}
		t.flush()
		t = newTable(a.Stdout, "  OWN MASS", "MEAN µg/m³", "AS RESPIRABLE", "AS INHALABLE")
		for _, c := range s.Channels {
			t.row("  "+c.Channel, fmt.Sprintf("%.1f", c.MeanUgM3), "errs "+c.Respirable.Errs, "errs "+c.Inhalable.Errs)
		}
		t.flush()
		for _, c := range s.Channels {
			fmt.Fprintln(a.Stdout, wrap(c.Respirable.Why.String(), 98, "  "))
		}
	}
	fmt.Fprintln(a.Stdout)
	for _, note := range r.Notes {
		fmt.Fprintln(a.Stdout, wrap("Note: "+note, 98, "  "))
	}
}
