package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"github.com/adrg/xdg"
	"github.com/spf13/cobra"

	"dustlog/internal/config"
)

// Env is what the program gets from outside. Tests give their own.
type Env struct {
	Stdin     io.Reader
	Stdout    io.Writer
	Stderr    io.Writer
	LookupEnv func(string) (string, bool)
	Now       func() time.Time
}

// System is the real environment.
func System() Env {
	return Env{Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, LookupEnv: os.LookupEnv, Now: time.Now}
}

// Version is set by release builds; else the build information tells it.
var Version = ""

func version() string {
	if Version != "" {
		return Version
	}
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "(devel)"
}

// app is one run of the program.
type app struct {
	Env
	configPath string
	storePath  string
	quiet      bool
	logJSON    bool
	json       bool // set by commands that have --json, for how errors are printed
}

// Main runs the command line and returns the exit code.
func Main(ctx context.Context, args []string, env Env) int {
	a := &app{Env: env}
	root := newRoot(a)
	root.SetArgs(args)
	root.SetIn(env.Stdin)
	root.SetOut(env.Stdout)
	root.SetErr(env.Stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	if !errors.Is(err, errOverLimit) || !a.json {
		printError(env.Stderr, err, a.json)
	}
	return exitCode(err)
}

func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "dustlog",
		Short: "Evidence of the fine dust in a woodshop",
		Long: `dustlog reads low-cost particle sensors, keeps every reading, and answers three
questions: is fine dust captured and not just chips, is a respirator still
needed, and did a change of the dust collection really help.

` + cautionShort,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          noArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	flags := root.PersistentFlags()
	flags.StringVar(&a.configPath, "config", "", "configuration file (default ./dustlog.toml, then $XDG_CONFIG_HOME/dustlog/config.toml)")
	flags.StringVar(&a.storePath, "store", "", "store of readings and diary (default $XDG_DATA_HOME/dustlog/dustlog.db)")
	flags.BoolVarP(&a.quiet, "quiet", "q", false, "no progress and no remarks on standard error")
	flags.BoolVar(&a.logJSON, "log-json", false, "log as JSON lines")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return usage(cmd, err) })
	root.SetHelpTemplate(`{{with (or .Long .Short)}}{{. | trimTrailingWhitespaces}}

{{end}}{{if or .Runnable .HasSubCommands}}{{.UsageString}}{{end}}
` + exitCodesHelp + "\n")
	root.AddCommand(
		newDemo(a), newInit(a), newCollect(a), newServe(a), newReplay(a), newPorts(a), newDecode(a), newImport(a), newSensors(a),
		newTask(a), newSetup(a), newCalibrate(a),
		newStore(a), newBackup(a), newRestore(a), newForward(a), newExport(a),
		newExposure(a), newSizes(a), newCompare(a), newPlan(a), newClearance(a), newRespirator(a), newEfficiency(a), newAirflow(a), newReport(a), newVerify(a), newExplain(a), newPlot(a),
		newLimits(a), newConfig(a), newVersion(a),
	)
	return root
}

// usage marks err as a mistake in the call of cmd.
func usage(cmd *cobra.Command, err error) error {
	return &usageError{err: err, command: cmd.CommandPath()}
}

// noArgs refuses arguments; at the root they are unknown commands.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if cmd.HasSubCommands() {
		var names []string
		for _, c := range cmd.Commands() {
			if c.IsAvailableCommand() {
				names = append(names, c.Name())
			}
		}
		return usage(cmd, fmt.Errorf("unknown command %q: there are %s", args[0], strings.Join(names, ", ")))
	}
	return usage(cmd, fmt.Errorf("unexpected argument %q", args[0]))
}

// exactArgs wants as many arguments as names.
func exactArgs(names ...string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == len(names) {
			return nil
		}
		return usage(cmd, fmt.Errorf("want %s, got %d argument(s)", strings.Join(names, " "), len(args)))
	}
}

// group makes a command that only holds others.
func group(use, short string, commands ...*cobra.Command) *cobra.Command {
	cmd := &cobra.Command{Use: use, Short: short, Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() }}
	cmd.AddCommand(commands...)
	return cmd
}

func userConfig() string { return filepath.Join(xdg.ConfigHome, "dustlog", "config.toml") }
func userStore() string  { return filepath.Join(xdg.DataHome, "dustlog", "dustlog.db") }

// load reads the settings. flags holds those given on the command line.
func (a *app) load(flags map[string]string) (config.Config, error) {
	fallback := userConfig()
	if _, err := os.Stat("dustlog.toml"); err == nil {
		fallback = "dustlog.toml"
	}
	if flags == nil {
		flags = map[string]string{}
	}
	if a.storePath != "" {
		flags["store"] = a.storePath
	}
	return config.Load(config.Sources{
		Path: a.configPath, DefaultPath: fallback, LookupEnv: a.LookupEnv, Flags: flags, Store: userStore(),
	})
}

func (a *app) log() *slog.Logger {
	switch {
	case a.quiet:
		return slog.New(slog.DiscardHandler)
	case a.logJSON:
		return slog.New(slog.NewJSONHandler(a.Stderr, nil))
	}
	return slog.New(slog.NewTextHandler(a.Stderr, nil))
}

// called is how the program was started, for advice that can be pasted.
func (a *app) called() string {
	if path, err := os.Executable(); err == nil && strings.Contains(path, "go-build") {
		return "go run ./cmd/dustlog"
	}
	return "dustlog"
}

// remark prints a line for the person at the terminal.
func (a *app) remark(format string, args ...any) {
	if !a.quiet {
		fmt.Fprintf(a.Stderr, format+"\n", args...)
	}
}
