package cli

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"os"
	"strings"
	"time"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
)

// records is what can be read of a shop, from its own store or from a server's
// copy.
type records interface {
	study.Records
	Readings(ctx context.Context, q dust.Query) iter.Seq2[dust.Reading, error]
	Span(ctx context.Context) ([]influx.SensorSpan, error)
	Setups(ctx context.Context) ([]dust.Setup, error)
	LineQuality(ctx context.Context, from, to time.Time) ([]dust.LineQuality, error)
	Events(ctx context.Context, from, to time.Time) ([]dust.Event, error)
	Close() error
}

const tokenVariable = "DUSTLOG_INFLUX_TOKEN"

// onServer reports whether a store is named by the address of a server.
func onServer(store string) bool { return strings.Contains(store, "://") }

// localOnly refuses a server where a command needs the shop's own store.
func localOnly(cfg config.Config) error {
	if !onServer(cfg.Store) {
		return nil
	}
	return &usageError{err: errors.New("this command needs the shop's own store, a file; a server holds a copy that can only be read"), command: "dustlog"}
}

// records opens what --store names, for reading.
func (a *app) records(ctx context.Context, cfg config.Config) (records, error) {
	if !onServer(cfg.Store) {
		s, err := sqlite.Open(ctx, cfg.Store, sqlite.Options{ReadOnly: true})
		if err != nil {
			return nil, err
		}
		return dailyRecords{s}, nil
	}
	o, err := a.influxOptions(cfg)
	if err != nil {
		return nil, err
	}
	s, err := influx.Open(ctx, cfg.Store, o)
	if err != nil {
		return nil, err
	}
	if err := chooseShop(ctx, s); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	a.remark("read from InfluxDB; line quality and events are only in the shop's own store")
	return dailyCopy{s}, nil
}

// chooseShop makes sure that it is clear which shop is asked about.
func chooseShop(ctx context.Context, s *influx.Store) error {
	shops, err := s.Shops(ctx)
	if err != nil {
		return err
	}
	listed := strings.Join(shops, ", ")
	switch {
	case s.Shop() == "" && len(shops) == 1:
		s.SetShop(shops[0])
	case s.Shop() == "" && len(shops) > 1:
		return fmt.Errorf("%w: the database holds %d shops; add ?shop=name to the address; there are: %s", errNoShop, len(shops), listed)
	case s.Shop() != "" && !strings.Contains("\x00"+strings.Join(shops, "\x00")+"\x00", "\x00"+s.Shop()+"\x00"):
		return fmt.Errorf("%w: the database holds no shop %q; there are: %s", errNoShop, s.Shop(), listed)
	}
	return nil
}

var errNoShop = fmt.Errorf("%w for that shop", dust.ErrNoReadings)

// influxOptions finds token and organisation. The token comes from the
// environment, else from the file that the settings name.
func (a *app) influxOptions(cfg config.Config) (influx.Options, error) {
	o := influx.Options{Org: cfg.Forward.Org}
	if token, ok := a.LookupEnv(tokenVariable); ok {
		o.Token = strings.TrimSpace(token)
		return o, nil
	}
	if cfg.Forward.TokenFile == "" {
		return o, nil
	}
	text, err := os.ReadFile(cfg.Forward.TokenFile)
	if err != nil {
		return o, fmt.Errorf("forward.token_file (from %s): %w", cfg.Origin("forward.token_file"), err)
	}
	o.Token = strings.TrimSpace(string(text))
	return o, nil
}
