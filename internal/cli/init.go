package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	tzlocal "github.com/thlib/go-timezone-local/tzlocal"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/sensor"
	"dustlog/internal/units"
)

func newInit(a *app) *cobra.Command {
	o := initOptions{list: sensor.ListPorts, listen: 15 * time.Second}
	cmd := &cobra.Command{
		Use:   "init",
		Short: "Ask a few questions, write the configuration, and prove that data flow",
		Long: `The first run. It asks for the shop's hours, the limit that holds there, the room
and the sensors it finds on the serial ports; writes a configuration file with
comments; and reads each sensor to prove that data flow. An empty answer takes
what stands in brackets. Nothing that is there already is changed.`,
		Example: "  dustlog init\n  dustlog init --out /etc/dustlog/dustlog.toml\n  dustlog init --defaults --port /dev/ttyUSB0",
		Args:    noArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return runInit(cmd.Context(), a, o) },
	}
	cmd.Flags().StringVarP(&o.path, "out", "o", "dustlog.toml", "file to write")
	cmd.Flags().StringArrayVar(&o.ports, "port", nil, "look only at this serial port (may be given again)")
	cmd.Flags().BoolVar(&o.defaults, "defaults", false, "ask nothing, take what stands in brackets")
	cmd.Flags().BoolVar(&o.ask, "ask", false, "also send silent sensors questions that change no setting")
	return cmd
}

type initOptions struct {
	path          string
	ports         []string
	defaults, ask bool

	list   func() ([]sensor.PortInfo, error)
	listen time.Duration // for the proof that data flow
}

// firstAnswers is what the interview brought.
type firstAnswers struct {
	Shop, Zone, Shift string
	Limit             exposure.Limit
	Setup             string // how the dust collection is now
	Room              string // volume with its unit, "" if it was not given
	Sensors           []firstSensor
}

// firstSensor is a sensor that was found, named and placed.
type firstSensor struct {
	Name, Model, Position string
	Others                []sensor.Model // that send the same frames
	Port                  sensor.PortInfo
}

func runInit(ctx context.Context, a *app, o initOptions) error {
	if _, err := os.Stat(o.path); err == nil {
		return fmt.Errorf("%s is there already and stays as it is: give another file with --out, or look at it with `dustlog config show --config %s`", o.path, o.path)
	}
	i := &interview{in: bufio.NewScanner(a.Stdin), out: a.Stderr, defaults: o.defaults}
	var f firstAnswers
	if err := f.askShop(i); err != nil {
		return err
	}
	if err := f.askSensors(ctx, a, i, o); err != nil {
		return err
	}
	if err := writeWhole(o.path, []byte(f.file())); err != nil {
		return err
	}
	fmt.Fprintf(a.Stdout, "Written: %s\n", o.path)
	cfg, err := config.Load(config.Sources{Path: o.path, Store: userStore()})
	if err != nil {
		return err
	}
	flow := f.prove(ctx, a, cfg, o.listen)
	f.next(a, o.path)
	return flow
}

func (f *firstAnswers) askShop(i *interview) (err error) {
	filled := func(what string) func(string) error {
		return func(s string) error {
			if strings.TrimSpace(s) == "" {
				return fmt.Errorf("give %s", what)
			}
			return nil
		}
	}
	if f.Shop, err = i.ask("Name of the shop, for reports", "My shop", filled("a name")); err != nil {
		return err
	}
	if f.Zone, err = i.ask("Time zone (IANA name)", localZone(), knownZone); err != nil {
		return err
	}
	f.Shift, err = i.ask("Working hours, or none: a shift then lasts from the day's first reading to its last", "08:00-16:30", func(s string) error {
		if s == "none" {
			return nil
		}
		_, err := dust.ParseShiftHours(s, time.UTC)
		return err
	})
	if err != nil {
		return err
	}
	if f.Shift == "none" {
		f.Shift = ""
	}
	if err := f.askLimit(i); err != nil {
		return err
	}
	if f.Setup, err = i.ask("What shall the dust collection as it is now be called, to compare with later", "as it was", filled("a name")); err != nil {
		return err
	}
	f.Room, err = i.ask("Volume of the room, as in 120 m3 or 4200 ft3, or none", "none", func(s string) error {
		if s == "none" {
			return nil
		}
		_, err := units.ParseVolume(s)
		return err
	})
	if f.Room == "none" {
		f.Room = ""
	}
	return err
}

func knownZone(s string) error {
	if _, err := time.LoadLocation(s); err != nil || s == "" || s == "Local" {
		return fmt.Errorf("%q is not in the IANA time zone database; UTC always works", s)
	}
	return nil
}

// localZone is this computer's zone, UTC if it does not tell.
func localZone() string {
	name, err := tzlocal.RuntimeTZ()
	if err != nil || knownZone(name) != nil {
		return "UTC"
	}
	return name
}

// askLimit asks where the shop is and which of the limits there holds.
func (f *firstAnswers) askLimit(i *interview) error {
	table, err := exposure.BuiltInLimits()
	if err != nil {
		return err
	}
	var places [][]string
	byPlace := map[string][]exposure.Limit{}
	for _, l := range table.All() {
		if l.Ambient || l.MgM3 == 0 || limitMark(l) == "no longer in force" {
			continue
		}
		if byPlace[l.Jurisdiction] == nil {
			places = append(places, []string{l.Jurisdiction})
		}
		byPlace[l.Jurisdiction] = append(byPlace[l.Jurisdiction], l)
	}
	usual := 0
	for k, p := range places {
		for _, l := range byPlace[p[0]] {
			if l.ID == config.DefaultLimit {
				usual = k
			}
		}
	}
	place, err := i.choose("Whose exposure limits hold in the shop", places, usual)
	if err != nil {
		return err
	}
	limits := byPlace[places[place][0]]
	var rows [][]string
	usual = 0
	for k, l := range limits {
		if l.ID == config.DefaultLimit {
			usual = k
		}
		rows = append(rows, []string{l.ID, l.Species, l.ValuePrinted + " " + l.FractionPrinted + ", " + l.LegalStatus})
	}
	chosen, err := i.choose("Which limit", rows, usual)
	if err != nil {
		return err
	}
	f.Limit = limits[chosen]
	return nil
}

// askSensors listens on the ports and asks what each sensor found is to be.
func (f *firstAnswers) askSensors(ctx context.Context, a *app, i *interview, o initOptions) error {
	ports, err := o.list()
	if err != nil && len(o.ports) == 0 {
		return err
	}
	ports = chosenPorts(ports, o.ports)
	looked := make([]lookedAt, len(ports))
	for k, p := range ports {
		looked[k].port = p
	}
	listen(ctx, a, looked, o.ask)
	if !o.ask && !o.defaults {
		if err := askSilent(ctx, a, i, looked); err != nil {
			return err
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, l := range looked {
		if len(l.found.Guesses) == 0 {
			a.remark("%s: %s", l.port.Path, l.says(portsOptions{ask: o.ask}))
			continue
		}
		if err := f.askSensor(i, l); err != nil {
			return err
		}
	}
	return nil
}

// askSilent offers to send the silent ports a question, which some sensors wait for.
func askSilent(ctx context.Context, a *app, i *interview, looked []lookedAt) error {
	var silent []int
	var names []string
	for k, l := range looked {
		if l.err == nil && l.found.Bytes == 0 {
			silent, names = append(silent, k), append(names, l.port.Path)
		}
	}
	if len(silent) == 0 {
		return nil
	}
	ask, err := i.yes(fmt.Sprintf("Nothing came from %s. An SPS30 speaks only when asked. Send questions that change no setting", strings.Join(names, ", ")), true)
	if err != nil || !ask {
		return err
	}
	again := make([]lookedAt, len(silent))
	for n, k := range silent {
		again[n].port = looked[k].port
	}
	listen(ctx, a, again, true)
	for n, k := range silent {
		looked[k] = again[n]
	}
	return nil
}

func (f *firstAnswers) askSensor(i *interview, l lookedAt) (err error) {
	best := l.best()
	s := firstSensor{Port: l.port, Model: string(best[0].Model)}
	take, err := i.yes(fmt.Sprintf("%s: %s. Use it", l.port.Path, sensor.Told(l.found.Guesses)), true)
	if err != nil || !take {
		return err
	}
	if len(best) > 1 {
		var rows [][]string
		for _, g := range best {
			rows = append(rows, []string{string(g.Model)})
		}
		k, err := i.choose("Which of them does its label say", rows, 0)
		if err != nil {
			return err
		}
		s.Model = rows[k][0]
		for _, g := range best {
			if string(g.Model) != s.Model {
				s.Others = append(s.Others, g.Model)
			}
		}
	}
	usual := min(len(f.Sensors), len(places)-1)
	var rows [][]string
	for _, p := range places {
		rows = append(rows, []string{string(p.position), p.speaks})
	}
	k, err := i.choose("Where does it sit", rows, usual)
	if err != nil {
		return err
	}
	s.Position = string(places[k].position)
	s.Name, err = i.ask("Name of the sensor", f.freeName(places[k].name), func(name string) error {
		if strings.TrimSpace(name) == "" || f.taken(name) {
			return fmt.Errorf("%q: give a name that no other sensor has", name)
		}
		return nil
	})
	if err == nil {
		f.Sensors = append(f.Sensors, s)
	}
	return err
}

// places are where a sensor can sit, the most telling first.
var places = []struct {
	position     dust.Position
	name, speaks string
}{
	{dust.BreathingZone, "bench", "at the collar, within 30 cm of the nose: speaks for the person"},
	{dust.Room, "room", "a fixed place in the room"},
	{dust.Background, "background", "outdoors or a closed next room: is subtracted in comparisons"},
	{dust.Exhaust, "exhaust", "the collector's outlet or returned air: speaks for the filter"},
	{dust.Upstream, "upstream", "before a separator, outside the duct"},
	{dust.Downstream, "downstream", "behind it"},
}

func (f *firstAnswers) taken(name string) bool {
	return slices.ContainsFunc(f.Sensors, func(s firstSensor) bool { return s.Name == name })
}

func (f *firstAnswers) freeName(name string) string {
	for k := 2; f.taken(name); k++ {
		name = fmt.Sprintf("%s %d", strings.TrimRight(name, " 0123456789"), k)
	}
	return name
}

// errNoFlow says that a sensor that was just found gave no reading.
var errNoFlow = errors.New("no reading came")
