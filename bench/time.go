package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"syscall"
	"time"
)

// cost is what one run of the program took.
type cost struct {
	wall, cpu time.Duration
	rss       int64 // most resident memory, bytes
}

// timeProgram prints what the program takes: each figure is the median of
// several runs, with the fastest and slowest beside it.
func timeProgram(ctx context.Context, program, store string, days int) error {
	fmt.Println("exposure summary, whole process")
	for _, n := range []int{1, 10, days} {
		args := []string{"--store", store, "exposure", "--json", "--limit", "us-acgih-other",
			"--from", begin.Format(time.DateOnly), "--to", begin.AddDate(0, 0, n-1).Format(time.DateOnly)}
		costs, out, err := repeat(ctx, 7, program, args...)
		if err != nil {
			return err
		}
		shifts, minutes, err := summary(out)
		if err != nil {
			return err
		}
		fmt.Printf("  %3d days, %4d shifts, %5.2f M readings' minutes %.0f\n%s", n, shifts, minutes*60/1e6, minutes, describe(costs))
	}
	costs, _, err := repeat(ctx, 15, program, "version")
	if err != nil {
		return err
	}
	fmt.Printf("version\n%s", describe(costs))
	return nil
}

func repeat(ctx context.Context, n int, program string, args ...string) (costs []cost, out []byte, err error) {
	for range n {
		cmd := exec.CommandContext(ctx, program, args...)
		var stdout, stderr bytes.Buffer
		cmd.Stdout, cmd.Stderr = &stdout, &stderr
		cmd.Env = append(os.Environ(), "XDG_CONFIG_HOME=/nonexistent", "TZ=UTC")
		began := time.Now()
		if err := cmd.Run(); err != nil {
			return nil, nil, fmt.Errorf("run %s %v: %w: %s", program, args, err, stderr.String())
		}
		c := cost{wall: time.Since(began), cpu: cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()}
		if usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
			c.rss = usage.Maxrss * 1024
		}
		costs, out = append(costs, c), stdout.Bytes()
	}
	return costs, out, nil
}

func describe(costs []cost) string {
	slices.SortFunc(costs, func(a, b cost) int { return int(a.wall - b.wall) })
	middle, last := costs[len(costs)/2], costs[len(costs)-1]
	cpu := make([]time.Duration, len(costs))
	rss := int64(0)
	for i, c := range costs {
		cpu[i], rss = c.cpu, max(rss, c.rss)
	}
	return fmt.Sprintf("      %v (%v to %v of %d runs), CPU at least %v, at most %.1f MB resident\n", round(middle.wall), round(costs[0].wall), round(last.wall),
		len(costs), round(slices.Min(cpu)), float64(rss)/1e6)
}

func round(d time.Duration) time.Duration { return d.Round(100 * time.Microsecond) }

// summary proves that the run did its work.
func summary(out []byte) (shifts int, minutes float64, err error) {
	var result struct {
		Shifts []struct {
			Minutes float64  `json:"minutes_measured"`
			Max     *float64 `json:"max_15min_mg_m3"`
			P99     *float64 `json:"p99_mg_m3"`
		}
	}
	if err := json.Unmarshal(out, &result); err != nil {
		return 0, 0, err
	}
	for _, s := range result.Shifts {
		if s.Max == nil || s.P99 == nil {
			return 0, 0, fmt.Errorf("a shift has no highest 15 minutes or no percentiles")
		}
		minutes += s.Minutes
	}
	return len(result.Shifts), minutes, nil
}
