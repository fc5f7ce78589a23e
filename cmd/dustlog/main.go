// Command dustlog keeps evidence of the fine dust in a woodshop: what was
// breathed, whether a change helped, and when the mask must stay on.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // named time zones on machines that have none

	"dustlog/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := cli.Main(ctx, os.Args[1:], cli.System())
	stop()
	os.Exit(code)
}
