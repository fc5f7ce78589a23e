package influx

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	influxdb "github.com/influxdata/influxdb-client-go/v2"
	"github.com/influxdata/influxdb-client-go/v2/api"
	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"

	"dustlog/internal/dust"
)

// Options are what a server may ask for beyond its address.
type Options struct {
	Token string // "" for a server without accounts; "user:password" on 1.8
	Org   string // only servers from 2 on have organisations
	Shop  string // of several in one database; ?shop= in the address beats it
}

// Store is a database on a server.
type Store struct {
	client   influxdb.Client
	query    api.QueryAPI
	close    func()
	name     string // for errors: server and database, never the token
	org      string
	database string
	near     bool   // the server runs on this computer
	shop     string // "" for readings without that tag, and for reading all
}

const (
	measurement = "dust_reading"
	sensorTag   = "sensor"
	shopTag     = "shop"
	flagsField  = "flags"
)

// Open connects to a database named as in influx://host:8086/database, or
// influxs:// for an encrypted line; ?shop=name chooses one of several shops in
// it. On servers from 2 on the database is a bucket. The error wraps
// dust.ErrNoStore if the server has no such database.
func Open(ctx context.Context, dsn string, o Options) (*Store, error) {
	s, err := connect(dsn, o)
	if err != nil {
		return nil, err
	}
	// Any answer shows that server, token and database are right.
	if _, _, err := s.edges(ctx, nil, flagsField, earliest, earliest.Add(time.Second)); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// connect prepares a connection without using it.
func connect(dsn string, o Options) (*Store, error) {
	a, err := parse(dsn)
	if err != nil {
		return nil, err
	}
	if a.shop == "" {
		a.shop = o.Shop
	}
	http, idle := newHTTPClient()
	settings := influxdb.DefaultOptions().SetHTTPClient(http).SetLogLevel(0)
	client := influxdb.NewClientWithOptions(a.server, o.Token, settings)
	return &Store{
		client:   client,
		query:    client.QueryAPI(o.Org),
		close:    idle,
		name:     a.server + "/" + a.database,
		org:      o.Org,
		database: a.database,
		near:     a.near,
		shop:     a.shop,
	}, nil
}

// address is a DSN in parts.
type address struct {
	server, database, shop string
	near                   bool
}

// parse splits a DSN. No error repeats what could be a secret.
func parse(dsn string) (a address, err error) {
	u, err := url.Parse(dsn)
	if err != nil {
		// The error of url.Parse repeats the DSN, which may hold a password.
		return a, errors.New("InfluxDB store: the address cannot be read; write it as in influx://host:8086/database")
	}
	scheme, known := map[string]string{"influx": "http", "influxs": "https"}[u.Scheme]
	query, queryErr := url.ParseQuery(u.RawQuery)
	a.shop = query.Get(shopTag)
	query.Del(shopTag)
	a.database = strings.Trim(u.Path, "/")
	shown := u.Scheme + "://" + u.Host + u.Path
	switch {
	case u.User != nil:
		return a, errors.New("InfluxDB store: the address must not hold a password or token; put the token into DUSTLOG_INFLUX_TOKEN")
	case !known || u.Host == "" || a.database == "" || u.Fragment != "":
		return a, fmt.Errorf("InfluxDB store %q: write it as in influx://host:8086/database", shown)
	case queryErr != nil || len(query) > 0:
		return a, fmt.Errorf("InfluxDB store %q: write it as in influx://host:8086/database; only ?shop=name may follow", shown)
	case strings.ContainsAny(a.database, `/"\$`) || hasControl(a.database):
		return a, fmt.Errorf("InfluxDB store %q: the database's name has a character that is not allowed", shown)
	}
	a.server, a.near = scheme+"://"+u.Host, isNear(u.Hostname())
	return a, nil
}

// Close lets go of the connections.
func (s *Store) Close() error {
	s.client.Close()
	s.close()
	return nil
}

// explain says what was tried, where, and what can be done.
func (s *Store) explain(ctx context.Context, doing string, err error) error {
	if err == nil {
		return nil
	}
	if ctx.Err() != nil {
		return fmt.Errorf("%s at %s: %w", doing, s.name, ctx.Err())
	}
	status := 0
	var e *influxhttp.Error
	if errors.As(err, &e) {
		status = e.StatusCode
	}
	switch {
	case status == http.StatusNotFound || status == http.StatusInternalServerError && strings.Contains(err.Error(), "no database"):
		return fmt.Errorf("%s at %s: %w: make the database on the server first: %w", doing, s.name, dust.ErrNoStore, err)
	case status == http.StatusUnauthorized:
		return fmt.Errorf("%s at %s: the server refuses the token; set DUSTLOG_INFLUX_TOKEN: %w", doing, s.name, err)
	case status == http.StatusForbidden:
		return fmt.Errorf("%s at %s: the server forbids it; check the token's rights and that Flux is enabled: %w", doing, s.name, err)
	case status == http.StatusTooManyRequests || status == http.StatusServiceUnavailable:
		return fmt.Errorf("%s at %s: %w: try again later: %w", doing, s.name, dust.ErrStoreBusy, err)
	case status == 0:
		return fmt.Errorf("%s at %s: no proper answer; check that the server runs and the address is right: %w", doing, s.name, err)
	}
	return fmt.Errorf("%s at %s: %w", doing, s.name, err)
}

// Shop is the shop that is read and written, "" for readings without that tag.
func (s *Store) Shop() string { return s.shop }

// SetShop chooses another shop. It must not be called while the store is in use.
func (s *Store) SetShop(name string) { s.shop = name }
