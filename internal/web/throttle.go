package web

import (
	"math"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// throttle lets each address do something so often: a bucket that holds some and
// is filled again at a steady rate.
type throttle struct {
	holds  float64
	every  time.Duration // one comes back
	now    func() time.Time
	mu     sync.Mutex
	bucket map[netip.Prefix]bucket
}

type bucket struct {
	left float64
	at   time.Time
}

// mostBuckets bounds what many addresses can make us remember. A full bucket says
// nothing and is forgotten first.
const mostBuckets = 4096

func newThrottle(holds int, every time.Duration, now func() time.Time) *throttle {
	return &throttle{holds: float64(holds), every: every, now: now, bucket: map[netip.Prefix]bucket{}}
}

// allow takes one out of the bucket of whoever asks; if it is empty it says how
// long to wait.
func (t *throttle) allow(r *http.Request) (ok bool, wait time.Duration) {
	key := source(r)
	t.mu.Lock()
	defer t.mu.Unlock()
	b := t.filled(key)
	if b.left < 1 {
		return false, time.Duration(math.Ceil((1-b.left)*t.every.Seconds())) * time.Second
	}
	b.left--
	if len(t.bucket) >= mostBuckets {
		t.forget()
	}
	t.bucket[key] = b
	return true, 0
}

func (t *throttle) filled(key netip.Prefix) bucket {
	b, known := t.bucket[key]
	now := t.now()
	if !known {
		return bucket{t.holds, now}
	}
	return bucket{math.Min(t.holds, b.left+now.Sub(b.at).Seconds()/t.every.Seconds()), now}
}

// forget makes room: full buckets first, then any, so that it is needed seldom.
func (t *throttle) forget() {
	for key := range t.bucket {
		if t.filled(key).left >= t.holds {
			delete(t.bucket, key)
		}
	}
	for key := range t.bucket {
		if len(t.bucket) < mostBuckets/2 {
			return
		}
		delete(t.bucket, key)
	}
}

// clear fills the bucket of whoever asks again.
func (t *throttle) clear(r *http.Request) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.bucket, source(r))
}

// source is where a request comes from: an IPv4 address, or the /64 of an IPv6
// one, since a single guest commands all of that. What a header says is not asked.
func source(r *http.Request) netip.Prefix {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		host = r.RemoteAddr
	}
	addr, err := netip.ParseAddr(host)
	if err != nil {
		return netip.Prefix{}
	}
	addr = addr.Unmap().WithZone("")
	bits := 32
	if addr.Is6() {
		bits = 64
	}
	prefix, _ := addr.Prefix(bits)
	return prefix
}
