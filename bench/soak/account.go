package main

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

// account holds what was sent against what is stored.
func (s *shop) account(ctx context.Context, r *result) error {
	store, err := sqlite.Open(ctx, filepath.Join(s.disk, "shop.db"), sqlite.Options{ReadOnly: true})
	if err != nil {
		return err
	}
	defer store.Close()
	r.lost, r.forgiven = map[string]int{}, map[string]int{}
	for _, t := range s.talkers {
		seen := make([]int, len(t.sent))
		for reading, err := range store.Readings(ctx, dust.Query{Sensors: []string{t.name}}) {
			if err != nil {
				return err
			}
			r.stored++
			n, ok := numberOf(reading.Values)
			if !ok || n >= len(seen) {
				r.unknown++ // garbage that looked like a frame, its checksum included
				continue
			}
			if seen[n]++; seen[n] > 1 {
				r.twice++
			}
		}
		r.sent += len(t.sent)
		r.unsent += t.unsent
		for n, times := range seen {
			if times > 0 {
				continue
			}
			if why := s.excuse(t.name, t.sent[n]); why != "" {
				r.forgiven[why]++
			} else {
				r.lost[t.name]++
			}
		}
	}
	if _, err := s.collector.run("store", "check"); err != nil {
		return fmt.Errorf("the store is not whole: %w", err)
	}
	return s.compareCopy(r)
}

func (s *shop) excuse(sensor string, at time.Time) string {
	for _, e := range s.excused {
		if (e.sensor == "" || e.sensor == sensor) && at.After(e.from) && at.Before(e.to) {
			return e.why
		}
	}
	return ""
}

// compareCopy lets the server have the rest, and counts there.
func (s *shop) compareCopy(r *result) error {
	if s.server == nil {
		return nil
	}
	to := "influx://" + s.server.Address + "/soak"
	if _, err := s.collector.run("forward", "--to", to, "--once", "--quiet"); err != nil {
		return err
	}
	out, err := s.collector.run("sensors", "--json", "--store", to+"?shop=An%20invented%20shop")
	if err != nil {
		return err
	}
	var answer struct {
		Sensors []struct {
			Readings int `json:"readings"`
		} `json:"sensors"`
	}
	if err := json.Unmarshal([]byte(out), &answer); err != nil {
		return fmt.Errorf("sensors --json: %w", err)
	}
	for _, one := range answer.Sensors {
		r.onServer += one.Readings
	}
	return nil
}
