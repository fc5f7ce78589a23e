//go:build linux

package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// The short form of what docs/reliability.md tells: the real program, each kind of
// fault once or twice.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute of a real program; runs without -short")
	}
	r, err := soak(t.Context(), options{lasts: 40 * time.Second, rate: 20, viewers: 10, seed: 1, log: t.Output()})
	require.NoError(t, err)
	require.NoError(t, r.write(""))
	require.NoError(t, r.judge())
	require.GreaterOrEqual(t, r.faults["a sensor unplugged"], 1)
	require.GreaterOrEqual(t, r.faults["kill -9"], 1)
	require.Positive(t, r.forgiven["killed: not committed yet, or nobody was reading"], "what is said to be lost can be")
}

func TestJudge(t *testing.T) {
	good := result{stored: 5, sent: 5, copied: true, onServer: 5}
	require.NoError(t, good.judge())
	for what, spoil := range map[string]func(*result){
		"lost while nothing was wrong": func(r *result) { r.lost = map[string]int{"bench": 1} },
		"stored twice":                 func(r *result) { r.twice = 1 },
		"nothing stored":               func(r *result) { r.stored, r.onServer = 0, 0 },
		"on the server":                func(r *result) { r.onServer = 4 },
		"pages failed":                 func(r *result) { r.pagesFailed = 1 },
		"ready was denied":             func(r *result) { r.faults = map[string]int{"the disk full": 2}; r.ready503 = 1 },
		"memory grew": func(r *result) {
			for i := range 9 {
				r.life = append(r.life, vitals{at: time.Unix(int64(60*i), 0), residentMiB: float64(50 * (1 + i/6))})
			}
		},
	} {
		r := result{stored: 5, sent: 5, copied: true, onServer: 5}
		spoil(&r)
		require.ErrorContains(t, r.judge(), what)
	}
}

func TestNumbers(t *testing.T) {
	for _, n := range []int{0, 1, base - 1, base, 86_399} {
		var v dust.Values
		number(&v, n)
		got, ok := numberOf(v)
		require.True(t, ok)
		require.Equal(t, n, got)
	}
	var v dust.Values
	v.Set(dust.PM25, 0.5)
	v.Set(dust.PM10, 1)
	_, ok := numberOf(v)
	require.False(t, ok)
}
