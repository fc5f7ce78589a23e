package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/report"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/web"
)

const serveHelp = `Offer the shop's page: what the sensors say now, the diary in two taps, and the
answers. It needs no network beyond this computer and the telephone.

It reads the store that a collector running as another program fills; "dustlog
collect --serve" does both. Without an address it can be reached from this
computer only. To listen elsewhere a password is needed: in the environment as
DUSTLOG_SERVE_PASSWORD, or in a file that [serve] password_file names, as it is
or as the hash that "dustlog serve hash" makes. A second one,
DUSTLOG_SERVE_LOOK_PASSWORD, is for those who look and do not write the diary.

Without TLS, everyone in the same network can read along. [serve] tls_certificate
and tls_key name the files that end that.`

func newServe(a *app) *cobra.Command {
	var address string
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "Offer the shop's page: levels now, the diary in two taps, the answers",
		Long:  serveHelp,
		Example: `  dustlog serve
  DUSTLOG_SERVE_PASSWORD=… dustlog serve --address 0.0.0.0:3878
  dustlog collect --serve 127.0.0.1:3878`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			cfg, err := a.load(given(map[string]string{"serve.address": address}))
			if err != nil {
				return err
			}
			return runServe(cmd.Context(), a, cfg)
		},
	}
	cmd.Flags().StringVar(&address, "address", "", "host:port to listen on (default "+config.DefaultServeAddress+"); port 0 takes a free one")
	cmd.AddCommand(newServeHash(a))
	return cmd
}

// runServe serves a store that another program may be writing.
func runServe(ctx context.Context, a *app, cfg config.Config) error {
	records, err := a.editable(ctx, cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	page, err := a.openPage(ctx, cfg, records, true, nil)
	if err != nil {
		return err
	}
	return page.run(ctx)
}

// shopPage is the page on its listener.
type shopPage struct {
	a      *app
	page   *web.Server
	http   *http.Server
	listen net.Listener
	cfg    config.Serve
}

// openPage makes the page and listens. With follow it reads new readings from the
// store, else they are to be offered.
func (a *app) openPage(ctx context.Context, cfg config.Config, records *sqlite.Store, follow bool, mask func() web.Mask) (*shopPage, error) {
	access, err := a.access(cfg)
	if err != nil {
		return nil, err
	}
	settings, err := studySettings(cfg)
	if err != nil {
		return nil, err
	}
	table, err := limitTable(cfg)
	if err != nil {
		return nil, err
	}
	o := web.Options{
		Shop: cfg.Shop.Name, Version: version(), Records: dailyRecords{records}, Diary: records, Settings: settings,
		Limits: table.All(), Follow: follow, Late: cfg.CommitEvery + 20*time.Second, Access: access,
		Report: a.pageReport(cfg), Now: a.Now, Log: a.log(), Newest: newestReading(records), Mask: mask,
		Calibrations: a.pageCalibrations(cfg, records),
	}
	if !follow {
		o.Late = 20 * time.Second
	}
	if cfg.Origin("shop.limit") == "default" {
		o.Remarks = []string{fmt.Sprintf("no limit was chosen, so %s is used, a recommendation; see Limits", cfg.Shop.Limit)}
	}
	page, err := web.New(o)
	if err != nil {
		return nil, err
	}
	var lc net.ListenConfig
	listen, err := lc.Listen(ctx, "tcp", cfg.Serve.Address)
	if err != nil {
		page.Close()
		return nil, fmt.Errorf("offering the page at %s (from %s): %w", cfg.Serve.Address, cfg.Origin("serve.address"), err)
	}
	return &shopPage{a: a, page: page, listen: listen, cfg: cfg.Serve, http: &http.Server{
		Handler: page.Handler(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second,
		WriteTimeout: 60 * time.Second, IdleTimeout: 90 * time.Second, MaxHeaderBytes: 16 << 10,
		ErrorLog: quietErrors(a),
	}}, nil
}

// pageCalibrations lists the calibrations in the words of `dustlog calibrate list`.
func (a *app) pageCalibrations(cfg config.Config, records *sqlite.Store) func(context.Context) ([]web.Calibration, error) {
	clock := func(t time.Time) string { return t.In(cfg.Shop.Zone).Format("2006-01-02 15:04") }
	return func(ctx context.Context) (rows []web.Calibration, err error) {
		list, err := records.Calibrations(ctx)
		if err != nil {
			return nil, err
		}
		for _, c := range list {
			result, err := calibrationResult(c)
			if err != nil {
				return nil, err
			}
			about := slices.DeleteFunc([]string{metricLabel(c.Metric), dustName(c)}, func(s string) bool { return s == "" })
			rows = append(rows, web.Calibration{
				Number: c.ID, Kind: string(c.Kind), Sensor: c.Sensor, For: strings.Join(about, ", "), From: clock(c.From), To: clock(c.To),
				Result: result, State: calibrationState(c, a.Now(), cfg.Shop.Zone),
			})
		}
		return rows, nil
	}
}

// newestReading tells the time of the newest reading of all.
func newestReading(records *sqlite.Store) func(context.Context) (time.Time, error) {
	return func(ctx context.Context) (newest time.Time, err error) {
		spans, err := records.Span(ctx)
		for _, one := range spans {
			if one.Last.After(newest) {
				newest = one.Last
			}
		}
		return newest, err
	}
}

// run serves until ctx ends.
func (p *shopPage) run(ctx context.Context) error {
	p.tell()
	running, stop := context.WithCancel(ctx)
	defer stop()
	var following sync.WaitGroup
	following.Go(func() { p.page.Run(running) })
	serving := make(chan error, 1)
	go func() {
		if p.cfg.TLSCertificate != "" {
			serving <- p.http.ServeTLS(p.listen, p.cfg.TLSCertificate, p.cfg.TLSKey)
			return
		}
		serving <- p.http.Serve(p.listen)
	}()
	var err error
	select {
	case <-ctx.Done():
	case err = <-serving:
	}
	stop()
	p.page.Close() // ends the streams, which Shutdown would wait for
	ending, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	shut := p.http.Shutdown(ending)
	if errors.Is(shut, context.DeadlineExceeded) {
		shut = p.http.Close()
	}
	following.Wait()
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return errors.Join(err, shut)
}

// pageBeside offers the page beside a collector, if an address is given: readings
// go to offer, which never waits. stop ends it.
func (a *app) pageBeside(ctx context.Context, cfg config.Config, records *sqlite.Store, wanted bool, mask func() web.Mask) (offer func(dust.Reading), stop func(), err error) {
	if !wanted {
		return func(dust.Reading) {}, func() {}, nil
	}
	page, err := a.openPage(ctx, cfg, records, false, mask)
	if err != nil {
		return nil, nil, err
	}
	ctx, cancel := context.WithCancel(context.WithoutCancel(ctx))
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := page.run(ctx); err != nil {
			a.log().Error("the page has ended, collecting goes on", "error", err)
		}
	}()
	return page.page.Offer, func() { cancel(); <-ended }, nil
}

// pageReport gathers a report for the page, from a reading of the store of its own.
func (a *app) pageReport(cfg config.Config) func(context.Context, web.ReportQuery) (report.Input, error) {
	return func(ctx context.Context, q web.ReportQuery) (report.Input, error) {
		silent := *a
		silent.quiet = true
		s, records, err := silent.openStudy(ctx, cfg)
		if err != nil {
			return report.Input{}, err
		}
		defer records.Close()
		return gather(ctx, &silent, cfg, s, records, reportOptions{before: q.Before, after: q.After}, q.Window)
	}
}

// newServeHash makes a hash of a password.
func newServeHash(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "hash",
		Short: "Turn a password into the hash that [serve] password_file may hold",
		Long: `Read a password from standard input, without showing it, and print its hash. A
file with the hash lets nobody in who reads it.`,
		Example: "  dustlog serve hash > page-password",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			text, err := a.readSecret("Password: ")
			if err != nil {
				return err
			}
			hash, err := web.NewPassword(text)
			if err != nil {
				return err
			}
			_, err = fmt.Fprintln(a.Stdout, hash)
			return err
		},
	}
}

// readSecret reads a line, on a terminal without showing it.
func (a *app) readSecret(prompt string) (string, error) {
	if f, ok := a.Stdin.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		fmt.Fprint(a.Stderr, prompt)
		text, err := term.ReadPassword(int(f.Fd()))
		fmt.Fprintln(a.Stderr)
		return string(text), err
	}
	text, err := io.ReadAll(io.LimitReader(a.Stdin, 4096))
	return strings.TrimRight(string(text), "\r\n"), err
}
