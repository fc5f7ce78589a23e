package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/report"
)

// The exit codes. Scripts should take one they do not know for a failure.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitIncomplete  = 3  // finished, but data are incomplete or a sensor was lost
	exitOverLimit   = 4  // a limit was exceeded; only with --fail-over
	exitNoStore     = 10 // no store, or nothing in it
	exitStoreBusy   = 11
	exitPort        = 12 // port missing or refused
	exitInterrupted = 130
)

const exitCodesHelp = `Exit codes:
  0  done (Ctrl-C on collect included)
  1  failed
  2  wrong usage or configuration
  3  finished, but data are incomplete or a sensor was lost
  4  a limit was exceeded, only with --fail-over
  10 no store, or no readings in it
  11 store busy
  12 port missing or refused
  130 interrupted otherwise`

// usageError is a mistake in how the command was called.
type usageError struct {
	err     error
	command string
}

func (e *usageError) Error() string { return e.err.Error() }
func (e *usageError) Unwrap() error { return e.err }

// errIncomplete and errOverLimit end a command that did its work.
var (
	errIncomplete = errors.New("data are incomplete")
	errOverLimit  = errors.New("a limit was exceeded")
)

// exitCode is the only place where an error becomes a number.
func exitCode(err error) int {
	var usage *usageError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &usage), errors.Is(err, config.ErrFile), errors.Is(err, config.ErrSetting), errors.Is(err, dust.ErrUnknownModel),
		errors.Is(err, dust.ErrUnknownSetup), errors.Is(err, dust.ErrUnknownLimit), errors.Is(err, dust.ErrUnknownSensor), errors.Is(err, dust.ErrUnknownCalibration), errors.Is(err, report.ErrNoResult):
		return exitUsage
	case errors.Is(err, errOverLimit):
		return exitOverLimit
	case errors.Is(err, errIncomplete), errors.Is(err, dust.ErrSilent), errors.Is(err, dust.ErrPortLost):
		return exitIncomplete
	case errors.Is(err, dust.ErrNoStore), errors.Is(err, dust.ErrNoReadings):
		return exitNoStore
	case errors.Is(err, dust.ErrStoreBusy):
		return exitStoreBusy
	case errors.Is(err, dust.ErrPortMissing), errors.Is(err, dust.ErrPortBusy), errors.Is(err, dust.ErrPortRefused):
		return exitPort
	case errors.Is(err, context.Canceled):
		return exitInterrupted
	}
	return exitFailed
}

// hints say what to do next, for errors whose text does not.
var hints = []struct {
	err  error
	hint string
}{
	{dust.ErrStoreBusy, "another program is writing to the store; try again, or stop it"},
	{dust.ErrPortMissing, "check the cable; list the ports with `dustlog ports`"},
	{dust.ErrPortBusy, "close the other program that reads this port"},
	{dust.ErrPortRefused, "on Linux, add yourself to the group that owns the port (often \"dialout\") and log in again"},
	{dust.ErrTaskOpen, "stop it with `dustlog task stop`; for something earlier use `dustlog task add`; if two people work, give each task a --person"},
	{dust.ErrUnknownLimit, "see `dustlog limits`"},
	{dust.ErrNewerSchema, "update dustlog on this machine"},
}

// report prints the error for a person, or as JSON for a script.
func printError(w io.Writer, err error, asJSON bool) {
	hint := ""
	for _, h := range hints {
		if errors.Is(err, h.err) {
			hint = h.hint
			break
		}
	}
	var usage *usageError
	if errors.As(err, &usage) {
		hint = fmt.Sprintf("see %s --help", usage.command)
	}
	if asJSON {
		_ = json.NewEncoder(w).Encode(map[string]any{"error": err.Error(), "hint": hint, "exit_code": exitCode(err)})
		return
	}
	fmt.Fprintf(w, "dustlog: %v\n", err)
	if hint != "" {
		fmt.Fprintf(w, "  %s\n", hint)
	}
}
