// Command fakes puts sensors behind pseudo-terminals, for trials and measurements
// without hardware:
//
//	go run ./internal/sensor/sensortest/fakes sps30 sds011
//
// It prints one line "MODEL PATH" for each and lets them measure once a second, in air
// that changes a little, until it is interrupted.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"time"

	"dustlog/internal/sensor"
	"dustlog/internal/sensor/sensortest"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "fakes:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, names []string) error {
	if len(names) == 0 {
		return errors.New("name at least one model")
	}
	var all []*sensortest.PTY
	for _, name := range names {
		m, err := sensor.ParseModel(name)
		if err != nil {
			return err
		}
		pty, err := sensortest.NewPTY(m)
		if err != nil {
			return err
		}
		defer pty.Close()
		all = append(all, pty)
		fmt.Println(m, pty.Path())
	}
	ticker := time.NewTicker(time.Second)
	defer ticker.Stop()
	for i := 0; ; i++ {
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
			for _, pty := range all {
				_ = pty.Send(sensortest.Air(float64(20 + i%7))) // nobody may be reading
			}
		}
	}
}
