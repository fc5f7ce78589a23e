package cli

import (
	"io"
	"os"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// isTerminal reports whether w is a terminal that understands cursor moves.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb"
}

// progress shows how far long work has come; silent unless on a terminal.
type progress struct{ bar *progressbar.ProgressBar }

func (a *app) progress(steps int, what string) *progress {
	if a.quiet || !isTerminal(a.Stderr) {
		return &progress{}
	}
	return &progress{bar: progressbar.NewOptions(steps,
		progressbar.OptionSetWriter(a.Stderr),
		progressbar.OptionSetDescription(what),
		progressbar.OptionSetWidth(30),
		progressbar.OptionClearOnFinish(),
		progressbar.OptionSetPredictTime(false),
	)}
}

func (p *progress) step(what string) {
	if p.bar != nil {
		p.bar.Describe(what)
		_ = p.bar.Add(1)
	}
}

func (p *progress) done() {
	if p.bar != nil {
		_ = p.bar.Finish()
	}
}
