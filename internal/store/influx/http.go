package influx

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"time"
)

const (
	// requestTimeout is how long one request may take. A day of readings of one
	// sensor from a busy server needs a few seconds.
	requestTimeout = time.Minute
	// errorBytes is how much is read of an answer that is no success.
	errorBytes = 16 << 10
)

// newHTTPClient returns a client that takes nothing but the server's own yes for
// one. close lets go of idle connections.
func newHTTPClient() (client *http.Client, closeIdle func()) {
	transport := http.DefaultTransport.(*http.Transport).Clone()
	transport.DialContext = (&net.Dialer{Timeout: 10 * time.Second, KeepAlive: 30 * time.Second}).DialContext
	return &http.Client{ // without a Timeout: every request's context has one
		Transport: strict{transport},
		// A redirected write could end at a page that says 200 to anything.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}, transport.CloseIdleConnections
}

// strict refuses answers that the client library would take for success: a
// write is confirmed by 204 alone (by the manuals of 1.8 and 2), while a proxy or
// a login page in between says 200.
type strict struct{ http.RoundTripper }

func (s strict) RoundTrip(r *http.Request) (*http.Response, error) {
	answer, err := s.RoundTripper.RoundTrip(r)
	if err != nil {
		return nil, err
	}
	good := answer.StatusCode >= 200 && answer.StatusCode < 300
	if strings.HasSuffix(r.URL.Path, "/write") && good && answer.StatusCode != http.StatusNoContent {
		_ = answer.Body.Close() // thrown away
		return nil, fmt.Errorf("the answer is %q, not InfluxDB's 204; something else answers at this address", answer.Status)
	}
	if !good {
		answer.Body = limited{io.LimitReader(answer.Body, errorBytes), answer.Body}
	}
	return answer, nil
}

// limited bounds what an error's text may take of memory.
type limited struct {
	io.Reader
	io.Closer
}
