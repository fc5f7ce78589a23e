package influx

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	influxhttp "github.com/influxdata/influxdb-client-go/v2/api/http"

	"dustlog/internal/dust"
)

// Mirror writes one shop's records to a database, without asking first what is
// there: the same reading sent twice is the same point.
type Mirror struct {
	s     *Store
	token string
}

// NewMirror prepares a mirror of the shop named in the address or in o. The
// server need not be there yet.
func NewMirror(dsn string, o Options) (*Mirror, error) {
	s, err := connect(dsn, o)
	if err != nil {
		return nil, err
	}
	if s.shop == "" {
		return nil, errors.Join(errors.New("the shop has no name; readings of two shops would mix in one database: set [shop] name in the configuration, or add ?shop=name to the address"), s.Close())
	}
	return &Mirror{s: s, token: o.Token}, nil
}

// Name says where the mirror is: server, database and shop, never the token.
func (m *Mirror) Name() string { return m.s.name + " shop " + strconv.Quote(m.s.shop) }

// Close lets go of the connections.
func (m *Mirror) Close() error { return m.s.Close() }

// Write sends readings in one request. An error is a *WriteError.
func (m *Mirror) Write(ctx context.Context, readings []dust.Reading) error {
	const perLine = 200 // bytes, about
	text := make([]byte, 0, len(readings)*perLine)
	for i := range readings {
		text = append(AppendLine(text, m.s.shop, &readings[i]), '\n')
	}
	return m.send(ctx, text)
}

func (m *Mirror) send(ctx context.Context, text []byte) error {
	if len(text) == 0 {
		return ctx.Err()
	}
	err := m.s.writeLines(ctx, text)
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		return ctx.Err()
	}
	return m.explain(err)
}

// WriteError says why a write failed, and what helps.
type WriteError struct {
	text    string
	refused bool
	dropped int
	wait    time.Duration
}

func (e *WriteError) Error() string { return e.text }

// Refused reports that the server itself found fault with what was sent, so
// that the same again would fare no better.
func (e *WriteError) Refused() bool { return e.refused }

// Dropped is how many of the points the server says it left out while it kept
// the others; 0 if it does not say.
func (e *WriteError) Dropped() int { return e.dropped }

// RetryAfter is how long the server asks to be left alone; 0 if it does not ask.
func (e *WriteError) RetryAfter() time.Duration { return e.wait }

var droppedCount = regexp.MustCompile(`partial write:.* dropped=(\d+)`)

func (m *Mirror) explain(err error) error {
	e := &WriteError{}
	var answer *influxhttp.Error
	if errors.As(err, &answer) {
		e.wait = time.Duration(answer.RetryAfter) * time.Second
		said := answer.Header.Get("X-Influxdb-Error") + " " + answer.Error()
		switch answer.StatusCode {
		case http.StatusBadRequest, http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge:
			// Only the server's own word counts: something in between that
			// says 400 to everything must not make readings pass for refused.
			e.refused = fromServer(answer.Header)
			if found := droppedCount.FindStringSubmatch(said); found != nil {
				e.dropped, _ = strconv.Atoi(found[1]) // digits, or far too many
			}
			err = fmt.Errorf("%d %s: %s", answer.StatusCode, http.StatusText(answer.StatusCode), strings.TrimSpace(said))
		}
	}
	text := m.s.explain(context.Background(), "copy readings", err).Error()
	e.text = m.tidy(text)
	return e
}

func fromServer(h http.Header) bool {
	return h.Get("X-Influxdb-Version") != "" || h.Get("X-Influxdb-Build") != ""
}

// tidy keeps a strange answer from filling the log, and the token out of it.
func (m *Mirror) tidy(text string) string {
	if m.token != "" {
		text = strings.ReplaceAll(text, m.token, "(token)")
	}
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
	const most = 500
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most]) + " …"
	}
	return text
}
