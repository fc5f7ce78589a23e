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
}

// Store is a database on a server.
type Store struct {
	client influxdb.Client
	write  api.WriteAPIBlocking
	query  api.QueryAPI
	name   string // for errors: server and database, never the token
	bucket string // quoted for Flux
}

const (
	measurement = "dust_reading"
	sensorTag   = "sensor"
	flagsField  = "flags"
)

// requestSeconds is how long one request may take. An hour of readings from a
// busy server needs a few seconds.
const requestSeconds = 60

// Open connects to a database named as in influx://host:8086/database, or
// influxs:// for an encrypted line. On servers from 2 on the database is a
// bucket. The error wraps dust.ErrNoStore if the server has no such database.
func Open(ctx context.Context, dsn string, o Options) (*Store, error) {
	server, database, err := parse(dsn)
	if err != nil {
		return nil, err
	}
	settings := influxdb.DefaultOptions().SetPrecision(time.Millisecond).SetUseGZip(true).SetHTTPRequestTimeout(requestSeconds)
	client := influxdb.NewClientWithOptions(server, o.Token, settings)
	s := &Store{
		client: client,
		write:  client.WriteAPIBlocking(o.Org, database),
		query:  client.QueryAPI(o.Org),
		name:   server + "/" + database,
		bucket: `"` + database + `"`,
	}
	// Any answer shows that server, token and database are right.
	if _, _, err := s.edges(ctx, nil, earliest, earliest.Add(time.Second)); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

// parse splits a DSN into the server's address and the database.
func parse(dsn string) (server, database string, err error) {
	u, err := url.Parse(dsn)
	if err != nil {
		// The error of url.Parse repeats the DSN, which may hold a password.
		return "", "", errors.New("InfluxDB store: the address cannot be read; write it as in influx://host:8086/database")
	}
	scheme, known := map[string]string{"influx": "http", "influxs": "https"}[u.Scheme]
	database = strings.Trim(u.Path, "/")
	switch {
	case u.User != nil:
		return "", "", errors.New("InfluxDB store: the address must not hold a password or token; put the token into DUSTLOG_INFLUX_TOKEN")
	case !known || u.Host == "" || database == "" || u.RawQuery != "" || u.Fragment != "":
		return "", "", fmt.Errorf("InfluxDB store %q: write it as in influx://host:8086/database", dsn)
	case strings.ContainsAny(database, `/"\$`) || hasControl(database):
		return "", "", fmt.Errorf("InfluxDB store %q: the database's name has a character that is not allowed", dsn)
	}
	return scheme + "://" + u.Host, database, nil
}

// Close lets go of the connections.
func (s *Store) Close() error {
	s.client.Close()
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
