package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"sync"
	"sync/atomic"
	"time"
)

// viewers are telephones that look at the page.
type viewers struct {
	page   string
	pages  atomic.Int64
	empty  atomic.Int64 // answers that there is no reading to draw yet
	failed atomic.Int64 // answers other than these and 200; where nobody listens is no answer
	why    sync.Map     // the first of each kind
	all    sync.WaitGroup
}

func (v *viewers) look(ctx context.Context, n int) {
	for i := range n {
		v.all.Go(func() { v.one(ctx, i) })
	}
}

// one asks for a page every two seconds, from an address of its own.
func (v *viewers) one(ctx context.Context, i int) {
	dialer := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 1, byte(i>>8), byte(i+2))}, Timeout: 3 * time.Second}
	client := &http.Client{Transport: &http.Transport{DialContext: dialer.DialContext}, Timeout: 20 * time.Second}
	defer client.CloseIdleConnections()
	v.all.Go(func() { v.listen(ctx, dialer) })
	paths := []string{"/", "/trace.svg?hours=1", "/dock", "/diary", "/static/page.css", "/days", "/tasks", "/setups"}
	for n := i; ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-time.After(2 * time.Second):
		}
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, fmt.Sprintf("http://%s%s", v.page, paths[n%len(paths)]), nil)
		if err != nil {
			return
		}
		answer, err := client.Do(r)
		if err != nil {
			continue
		}
		body, _ := io.ReadAll(answer.Body)
		answer.Body.Close()
		v.pages.Add(1)
		switch answer.StatusCode {
		case http.StatusOK:
		case http.StatusUnprocessableEntity: // while sensors warm up
			v.empty.Add(1)
		default:
			v.failed.Add(1)
			v.why.LoadOrStore(fmt.Sprintf("%s: %s", r.URL.Path, answer.Status), string(body[:min(len(body), 1500)]))
		}
	}
}

// listen keeps the stream of events open, and opens it again.
func (v *viewers) listen(ctx context.Context, dialer *net.Dialer) {
	client := &http.Client{Transport: &http.Transport{DialContext: dialer.DialContext, DisableKeepAlives: true}}
	for ctx.Err() == nil {
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+v.page+"/live", nil)
		if err != nil {
			return
		}
		if answer, err := client.Do(r); err == nil {
			_, _ = io.Copy(io.Discard, answer.Body)
			answer.Body.Close()
		}
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
}
