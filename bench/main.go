// Command bench measures dustlog: it makes a large store of an invented shop, the
// first days by the calls that an import and the sealing use, and times the
// program on it. docs/performance.md tells what came out.
//
//	go run ./bench make -store /tmp/bench/shop.db -days 90
//	go build -o /tmp/bench/dustlog ./cmd/dustlog
//	go run ./bench time -store /tmp/bench/shop.db -program /tmp/bench/dustlog
//	go run ./bench day -store /tmp/bench/day.db    # what a day writes to the disk
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"time"

	"dustlog/bench/shop"
)

// begin is the first day of the store that make fills.
var begin = time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string) error {
	if len(args) == 0 {
		return fmt.Errorf("say what to do: make, time or day")
	}
	flags := flag.NewFlagSet(args[0], flag.ContinueOnError)
	store := flags.String("store", "bench.db", "path of the store")
	days := flags.Int("days", 90, "how many days")
	sensors := flags.Int("sensors", 4, "how many sensors")
	seed := flags.Uint64("seed", 1, "another seed makes other readings")
	imported := flags.Int("imported", 3, "how many of the days go through SQLite; the others are written sealed")
	program := flags.String("program", "dustlog", "the dustlog to time")
	if err := flags.Parse(args[1:]); err != nil {
		return err
	}
	switch args[0] {
	case "make":
		return makeStore(ctx, *store, shop.Shop{Seed: *seed, Sensors: *sensors, Begin: begin}, *days, *imported)
	case "time":
		return timeProgram(ctx, *program, *store, *days)
	case "day":
		return writeDay(ctx, *store, shop.Shop{Seed: *seed, Sensors: *sensors, Begin: begin})
	}
	return fmt.Errorf("unknown %q: make, time or day", args[0])
}
