// Command soak lets a collector live through a day's faults in minutes: the real
// program, four sensors behind pseudo-terminals, fifty viewers, a copy on a real
// InfluxDB. Sensors are unplugged and send garbage, the program is killed, the disk
// is full, the server is gone. At the end every reading must be accounted for, once.
//
//	go run ./bench/soak                     # 20 min; as root, for it mounts a small disk
//	go run ./bench/soak -for 90s -rate 20   # a short one
//
// Every reading carries its number, so that a lost one and one stored twice are seen.
// Linux only.
package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	var o options
	flag.DurationVar(&o.lasts, "for", 20*time.Minute, "how long it lasts")
	flag.IntVar(&o.rate, "rate", 72, "readings a second of each sensor; 72 make a day's 86,400 in 20 min")
	flag.Uint64Var(&o.seed, "seed", 1, "another seed has the faults at other times")
	flag.IntVar(&o.viewers, "viewers", 50, "how many look at the page")
	flag.StringVar(&o.program, "program", "", "the dustlog to try (default: built from this tree)")
	flag.StringVar(&o.page, "page", "", "write the figures to this file, as docs/reliability.md has them")
	flag.Parse()
	o.log = os.Stderr
	r, err := soak(ctx, o)
	if err == nil {
		err = r.write(o.page)
	}
	if err == nil {
		err = r.judge()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "soak:", err)
		os.Exit(1)
	}
}

// soak runs the whole of it in a folder that is removed again.
func soak(ctx context.Context, o options) (*result, error) {
	dir, err := os.MkdirTemp("", "dustlog-soak")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	if o.program == "" {
		if o.program, err = build(ctx, dir); err != nil {
			return nil, err
		}
	}
	disk := filepath.Join(dir, "disk")
	small, unmount := mountSmall(disk, o.log)
	defer unmount()
	s, err := openShop(dir, disk, o)
	if err != nil {
		return nil, err
	}
	defer s.close()
	r := &result{o: o, small: small, copied: s.server != nil}
	return r, s.live(ctx, r)
}
