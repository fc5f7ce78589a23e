package cli

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/forward"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/sqlite"
)

type forwardOptions struct {
	to, shop, every      string
	once, forget, status bool
}

func newForward(a *app) *cobra.Command {
	var o forwardOptions
	cmd := &cobra.Command{
		Use:   "forward --to influx://HOST:8086/DATABASE",
		Short: "Copy the store to an InfluxDB server, and keep the copy up to date",
		Long: `Copy everything in the store to a database on an InfluxDB server, then whatever
is added, until Ctrl-C. The store stays the primary one and keeps a list of what
the server lacks, so nothing is lost if the server, the network or this program
stops for hours or weeks, and readings that come late are copied too. Run it
beside the collector.

The token comes from DUSTLOG_INFLUX_TOKEN or the file named by [forward]
token_file. Shops share a database under their names: [shop] name, or --shop.`,
		Example: `  dustlog forward --to influx://server:8086/dust --once
  dustlog forward --to influxs://server:8086/dust --shop "North shop"
  dustlog forward --status`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runForward(cmd, a, o) },
	}
	f := cmd.Flags()
	f.StringVar(&o.to, "to", "", "server and database (default: [forward] to)")
	f.StringVar(&o.shop, "shop", "", "name of this shop in the database (default: [shop] name)")
	f.StringVar(&o.every, "every", "", "time between looks for new readings (default 1m)")
	f.BoolVar(&o.once, "once", false, "end when everything is copied")
	f.BoolVar(&o.forget, "forget", false, "forget this server and what it lacks; its data stay there")
	f.BoolVar(&o.status, "status", false, "only say what has been copied so far")
	a.addJSON(cmd)
	return cmd
}

func runForward(cmd *cobra.Command, a *app, o forwardOptions) error {
	cfg, err := a.load(given(map[string]string{"forward.to": o.to, "forward.every": o.every}))
	if err != nil {
		return err
	}
	if err := localOnly(cfg); err != nil {
		return err
	}
	ctx := cmd.Context()
	store, err := a.editable(ctx, cfg)
	if err != nil {
		return err
	}
	defer store.Close()
	if o.status {
		return a.forwardStatus(ctx, cfg, store)
	}
	if cfg.Forward.To == "" {
		return usage(cmd, errors.New("--to is needed, as in influx://server:8086/dust"))
	}
	mirror, err := a.mirror(cfg, o.shop)
	if err != nil {
		return err
	}
	defer mirror.Close()
	if o.forget {
		known, err := store.DropForwardTarget(ctx, mirror.Name())
		if err == nil && !known {
			err = fmt.Errorf("nothing was ever copied to %s; `dustlog forward --status` lists what was", mirror.Name())
		}
		return err
	}
	options := forward.Options{Once: o.once, Every: cfg.Forward.Every, Log: a.log(), Now: a.Now}
	sum, err := forward.Run(ctx, store, mirror, options)
	return a.printForwarded(mirror.Name(), sum, err)
}

// mirror prepares the copy that the settings name.
func (a *app) mirror(cfg config.Config, shop string) (*influx.Mirror, error) {
	o, err := a.influxOptions(cfg)
	if err != nil {
		return nil, err
	}
	if o.Shop = shop; shop == "" {
		o.Shop = cfg.Shop.Name
	}
	return influx.NewMirror(cfg.Forward.To, o)
}

func (a *app) printForwarded(name string, sum forward.Summary, err error) error {
	if a.json {
		return errors.Join(err, writeJSON(a.Stdout, map[string]any{"schema": 1, "target": name, "readings_sent": sum.Sent,
			"readings_refused": sum.Refused, "requests": sum.Requests, "retries": sum.Retries}))
	}
	fmt.Fprintf(a.Stdout, "%s: %d readings sent in %d requests, %d refused, %d retries\n", name, sum.Sent, sum.Requests, sum.Refused, sum.Retries)
	return err
}

func (a *app) forwardStatus(ctx context.Context, cfg config.Config, store *sqlite.Store) error {
	states, err := store.ForwardStates(ctx)
	if err != nil {
		return err
	}
	type row struct {
		Target  string     `json:"target"`
		Sensor  string     `json:"sensor"`
		Last    *time.Time `json:"last"`
		Refused int64      `json:"readings_refused"`
		Pending int        `json:"stretches_pending"`
	}
	rows := []row{}
	for _, s := range states {
		r := row{Target: s.Target, Sensor: s.Sensor, Refused: s.Refused, Pending: s.Pending}
		if !s.Last.IsZero() {
			r.Last = &s.Last
		}
		rows = append(rows, r)
	}
	if a.json {
		return writeJSON(a.Stdout, map[string]any{"schema": 1, "forwarded": rows})
	}
	t := newTable(a.Stdout, "TARGET", "SENSOR", "COPIED UP TO", "REFUSED", "STRETCHES PENDING")
	for _, r := range rows {
		t.row(r.Target, r.Sensor, moment(r.Last, cfg.Shop.Zone), r.Refused, r.Pending)
	}
	t.flush()
	return nil
}

// forwardBeside copies the store to the server that the settings name, if any,
// until stop is called, which waits for the last request. A server that is away
// or full never disturbs the caller.
func (a *app) forwardBeside(ctx context.Context, cfg config.Config, store *sqlite.Store) (stop func(), err error) {
	if cfg.Forward.To == "" {
		return func() {}, nil
	}
	mirror, err := a.mirror(cfg, "")
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		sum, err := forward.Run(ctx, store, mirror, forward.Options{Every: cfg.Forward.Every, Log: a.log(), Now: a.Now})
		if err != nil {
			a.log().Error("readings are no longer copied", "target", mirror.Name(), "error", err)
		}
		a.remark("%s: %d readings copied; what it lacks is noted", mirror.Name(), sum.Sent)
	}()
	return func() {
		cancel()
		<-ended
		_ = mirror.Close() // only lets go of connections
	}, nil
}
