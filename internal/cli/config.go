package cli

import (
	"cmp"
	"fmt"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
)

func newConfig(a *app) *cobra.Command {
	show := &cobra.Command{
		Use: "show", Short: "Print every setting and where it came from",
		Example: "  dustlog config show\n  dustlog config show --config dustlog.toml", Args: noArgs,
		RunE: func(*cobra.Command, []string) error { return runConfigShow(a) },
	}
	return group("config", "The settings", show)
}

func runConfigShow(a *app) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	t := newTable(a.Stdout, "SETTING", "VALUE", "FROM", "VARIABLE", "MEANING")
	for _, s := range cfg.Scalars() {
		t.row(s.Name, s.Value, s.Origin, s.Variable, s.Help)
	}
	t.flush()
	if len(cfg.Sensors) > 0 {
		fmt.Fprintln(a.Stdout)
		sensors := newTable(a.Stdout, "SENSOR", "MODEL", "PORT", "POSITION", "FACTOR")
		for _, s := range cfg.Sensors {
			factor := "none"
			if s.Factor != nil {
				factor = fmt.Sprintf("× %g to %s ±%g %% (%s, %s)", s.Factor.Factor, s.Factor.Fraction, s.Factor.SpreadPercent, s.Factor.Date, s.Factor.Source)
			}
			sensors.row(s.Name, s.Model, s.Port, s.Position, factor)
		}
		sensors.flush()
	}
	printCollectorTables(a, cfg)
	return nil
}

// printCollectorTables lists the setups whose collector is described; all of it stands
// in `dustlog airflow --json`.
func printCollectorTables(a *app, cfg config.Config) {
	if len(cfg.Collectors) == 0 {
		return
	}
	fmt.Fprintln(a.Stdout)
	t := newTable(a.Stdout, "COLLECTOR UNDER SETUP", "LIKE", "SEPARATOR", "BLOWERS", "DUCTS", "ROOM")
	for _, c := range cfg.Collectors {
		room := "–"
		if c.Room > 0 {
			room = c.Room.String()
		}
		t.row(c.Setup, cmp.Or(c.Like, "–"), cmp.Or(c.Separator, "–"), len(c.Blowers), len(c.Ducts), room)
	}
	t.flush()
}

func newVersion(a *app) *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Print the version", Example: "  dustlog version\n  dustlog --help", Args: noArgs,
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprintln(a.Stdout, "dustlog", version())
			return err
		},
	}
}
