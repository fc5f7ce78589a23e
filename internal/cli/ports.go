package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

func newPorts(a *app) *cobra.Command {
	var o portsOptions
	cmd := &cobra.Command{
		Use:   "ports [PATH…]",
		Short: "List the serial ports and which sensor speaks there",
		Long: `List the serial ports of this computer, the USB adapter behind each, and which
sensor speaks there. It listens at 9600 8N1, 9600 8E1 and 115200 8N1, up to 12
seconds a port, all ports at once. Two valid frames are needed for a guess. Models
that send frames of the same form are named side by side: the label decides.

Nothing is sent to a sensor unless --ask is given. Then sensors that are silent get
questions that change no setting: product type, mode, read. An SPS30 speaks only when
asked.

With PATH, only these ports are looked at.`,
		Example: "  dustlog ports\n  dustlog ports --ask /dev/ttyUSB0\n  dustlog ports --no-listen --json",
		Args:    cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.ask && o.noListen {
				return usage(cmd, errors.New("--ask and --no-listen exclude each other"))
			}
			o.paths = args
			return runPorts(cmd.Context(), a, o, sensor.ListPorts)
		},
	}
	cmd.Flags().BoolVar(&o.ask, "ask", false, "also send questions that change no setting")
	cmd.Flags().BoolVar(&o.noListen, "no-listen", false, "only list the ports, open none")
	a.addJSON(cmd)
	return cmd
}

type portsOptions struct {
	ask, noListen bool
	paths         []string
}

// portJSON is a port as printed by --json.
type portJSON struct {
	Port      string      `json:"port"`
	USB       string      `json:"usb"`
	Serial    string      `json:"usb_serial"`
	USBPath   string      `json:"usb_path"`
	Listened  bool        `json:"listened"`
	Line      string      `json:"line"`
	Bytes     int         `json:"bytes_heard"`
	Asked     bool        `json:"spoke_only_when_asked"`
	Guesses   []guessJSON `json:"guesses"`
	Ambiguous bool        `json:"ambiguous"`
	Error     string      `json:"error"`
	Config    string      `json:"config"`
}

type guessJSON struct {
	Model     string `json:"model"`
	Certainty string `json:"certainty"`
	Frames    int    `json:"frames"`
	Why       string `json:"why"`
}

// lookedAt is a port and what came of it.
type lookedAt struct {
	port  sensor.PortInfo
	found sensor.Found
	err   error
}

func runPorts(ctx context.Context, a *app, o portsOptions, list func() ([]sensor.PortInfo, error)) error {
	ports, err := list()
	if err != nil && len(o.paths) == 0 {
		return err
	}
	ports = chosenPorts(ports, o.paths)
	if len(ports) == 0 && !a.json {
		fmt.Fprintln(a.Stdout, "No serial port. Plug a sensor's USB adapter in; on Linux `dmesg` tells whether the system saw it.")
		return nil
	}
	looked := make([]lookedAt, len(ports))
	for i, p := range ports {
		looked[i].port = p
	}
	if !o.noListen {
		listen(ctx, a, looked, o.ask)
		if err := ctx.Err(); err != nil {
			return err
		}
	}
	if err := printPorts(a, looked, o); err != nil {
		return err
	}
	var failed error // the caller named these ports, so that one cannot be opened is a failure
	for _, l := range looked {
		if len(o.paths) > 0 {
			failed = errors.Join(failed, l.err)
		}
	}
	return failed
}

// chosenPorts are the ports asked for, known to the system or not; all without names.
func chosenPorts(ports []sensor.PortInfo, paths []string) []sensor.PortInfo {
	if len(paths) == 0 {
		return ports
	}
	var chosen []sensor.PortInfo
	for _, path := range paths {
		p := sensor.PortInfo{Path: path}
		for _, known := range ports {
			if known.Path == path {
				p = known
			}
		}
		chosen = append(chosen, p)
	}
	return chosen
}

// listen fills in what is heard on each port, on all of them at the same time.
func listen(ctx context.Context, a *app, looked []lookedAt, ask bool) {
	shown := newStatusLine(a)
	var wait sync.WaitGroup
	for i := range looked {
		one := &looked[i]
		wait.Go(func() {
			l := sensor.Listener{Ask: ask, Progress: func(what string) { shown.set(one.port.Path, what) }}
			one.found, one.err = l.Listen(ctx, one.port.Path)
			shown.set(one.port.Path, "done")
		})
	}
	if len(looked) > 0 {
		a.remark("listening on %d port(s), at most %s", len(looked), sensor.ListenTime(ask).Round(time.Second))
	}
	wait.Wait()
	shown.done()
}

// statusLine is one line on a terminal that says what is being done on each port.
type statusLine struct {
	mu    sync.Mutex
	out   io.Writer // nil: not a terminal
	order []string
	what  map[string]string
}

func newStatusLine(a *app) *statusLine {
	s := &statusLine{what: map[string]string{}}
	if !a.quiet && isTerminal(a.Stderr) {
		s.out = a.Stderr
	}
	return s
}

func (s *statusLine) set(port, what string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.out == nil {
		return
	}
	if _, known := s.what[port]; !known {
		s.order = append(s.order, port)
	}
	s.what[port] = what
	var parts []string
	for _, p := range s.order {
		parts = append(parts, p+" "+s.what[p])
	}
	fmt.Fprintf(s.out, "\r\x1b[K%s", strings.Join(parts, "  ·  "))
}

func (s *statusLine) done() {
	if s.out != nil {
		fmt.Fprint(s.out, "\r\x1b[K")
	}
}

func printPorts(a *app, looked []lookedAt, o portsOptions) error {
	if a.json {
		rows := []portJSON{}
		for _, l := range looked {
			rows = append(rows, l.json(o))
		}
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "ports": rows})
	}
	t := newTable(a.Stdout, "PORT", "USB ID", "USB SERIAL", "USB PATH", "SENSOR")
	for _, l := range looked {
		t.row(l.port.Path, dash(l.port.USB()), dash(l.port.Serial), dash(l.port.USBPath), l.says(o))
	}
	t.flush()
	for _, l := range looked {
		if len(l.found.Guesses) > 0 {
			fmt.Fprintf(a.Stdout, "\n%s: %s\n\n%s", l.port.Path, sensor.Told(l.found.Guesses), l.config())
		}
	}
	return nil
}

func dash(text string) string {
	if text == "" {
		return "–"
	}
	return text
}

// says is the sensor column.
func (l lookedAt) says(o portsOptions) string {
	switch {
	case errors.Is(l.err, dust.ErrPortBusy):
		return "in use by another program"
	case l.err != nil:
		return l.err.Error()
	case o.noListen:
		return "–"
	case len(l.found.Guesses) > 0:
		var names []string
		for _, g := range l.best() {
			names = append(names, string(g.Model))
		}
		return fmt.Sprintf("%s (%s, %s)", strings.Join(names, " or "), l.best()[0].Certainty, l.found.Line)
	case l.found.Bytes > 0:
		return fmt.Sprintf("%d bytes came, but no two valid frames of a sensor known here", l.found.Bytes)
	case o.ask:
		return "silent, and no answer to any question: check power, and that TX and RX are crossed"
	}
	return "silent: an SPS30, or a sensor that sleeps or waits for questions; try --ask"
}

// best are the guesses that are as good as the first.
func (l lookedAt) best() (best []sensor.Guess) {
	for _, g := range l.found.Guesses {
		if g.Certainty == l.found.Guesses[0].Certainty {
			best = append(best, g)
		}
	}
	return best
}

// config is what to write into the configuration file.
func (l lookedAt) config() string {
	if len(l.found.Guesses) == 0 {
		return ""
	}
	var b strings.Builder
	best := l.best()
	note := ""
	if len(best) > 1 {
		note = "  # or another of those named above: see the label"
	}
	fmt.Fprintf(&b, "[[sensor]]\nname     = \"bench\"\nmodel    = %q%s\nport     = %q\n", best[0].Model, note, l.port.Path)
	switch {
	case l.port.Serial != "":
		fmt.Fprintf(&b, "usb_serial = %q\n", l.port.Serial)
	case l.port.USBPath != "":
		fmt.Fprintf(&b, "usb_path = %q  # the adapter has no serial number: this is the socket\n", l.port.USBPath)
	}
	fmt.Fprintf(&b, "position = \"breathing_zone\"\n")
	return b.String()
}

func (l lookedAt) json(o portsOptions) portJSON {
	row := portJSON{
		Port: l.port.Path, USB: l.port.USB(), Serial: l.port.Serial, USBPath: l.port.USBPath,
		Listened: !o.noListen && l.err == nil, Bytes: l.found.Bytes, Asked: l.found.Asked,
		Guesses: []guessJSON{}, Config: l.config(),
	}
	if l.err != nil {
		row.Error = l.err.Error()
	}
	for _, g := range l.found.Guesses {
		row.Guesses = append(row.Guesses, guessJSON{string(g.Model), g.Certainty.String(), g.Frames, g.Why})
	}
	if len(l.found.Guesses) > 0 {
		row.Line, row.Ambiguous = l.found.Line.String(), len(l.best()) > 1
	}
	return row
}
