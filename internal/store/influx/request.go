package influx

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/url"
	"sync"
)

// Writes, and queries whose answer is long, go to the v2 API as it is on both
// kinds of server, /api/v2/write and /api/v2/query: the client's own calls take
// most of the time for compressing, and for a map for each row.

// writeLines sends lines of line protocol, times in milliseconds.
func (s *Store) writeLines(ctx context.Context, lines []byte) error {
	if !s.near {
		var packed bytes.Buffer
		if err := compress(&packed, lines); err != nil {
			return err
		}
		lines = packed.Bytes()
	}
	target := url.Values{"org": {s.org}, "bucket": {s.database}, "precision": {"ms"}}
	return s.post(ctx, "write", target, lines, func(h http.Header) {
		h.Set("Content-Type", "text/plain; charset=utf-8")
		if !s.near {
			h.Set("Content-Encoding", "gzip")
		}
	}, func(io.Reader) error { return nil })
}

// ask runs a query and hands the answer to read: CSV with a row of names before
// each table.
func (s *Store) ask(ctx context.Context, flux string, read func(csv io.Reader) error) error {
	body, err := json.Marshal(map[string]any{
		"query": flux, "type": "flux",
		"dialect": map[string]any{"header": true, "delimiter": ",", "annotations": []string{}},
	})
	if err != nil {
		return err
	}
	return s.post(ctx, "query", url.Values{"org": {s.org}}, body, func(h http.Header) {
		h.Set("Content-Type", "application/json")
		if s.near {
			h.Set("Accept-Encoding", "identity")
		}
	}, read)
}

func (s *Store) post(ctx context.Context, path string, query url.Values, body []byte, header func(http.Header), read func(io.Reader) error) error {
	ctx, cancel := context.WithTimeout(ctx, requestTimeout)
	defer cancel()
	api := s.client.HTTPService()
	err := api.DoPostRequest(ctx, api.ServerAPIURL()+path+"?"+query.Encode(), bytes.NewReader(body),
		func(r *http.Request) { header(r.Header) },
		func(a *http.Response) error {
			defer a.Body.Close()
			return read(a.Body)
		})
	if err != nil { // a nil *Error must not become an error that is not nil
		return err
	}
	return nil
}

// isNear reports whether a server runs on this computer, where compressing costs
// more than it saves.
func isNear(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// packers are kept: each needs a megabyte.
var packers = sync.Pool{New: func() any {
	w, _ := gzip.NewWriterLevel(nil, gzip.BestSpeed) // a level that there is
	return w
}}

func compress(to io.Writer, text []byte) error {
	w := packers.Get().(*gzip.Writer)
	defer packers.Put(w)
	w.Reset(to)
	if _, err := w.Write(text); err != nil {
		return err
	}
	return w.Close()
}
