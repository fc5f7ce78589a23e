package cli

import (
	"sync"

	"github.com/coreos/go-systemd/v22/daemon"
)

// signOfLife returns what collect calls with each turn of its loop: the first
// call tells a service manager that collecting has begun, each one that it goes
// on, so that a collector that hangs is started again. Nothing happens where no
// service manager listens (sd_notify(3)).
func (a *app) signOfLife() func() {
	notify := func(state string) {
		if _, err := daemon.SdNotify(false, state); err != nil {
			a.log().Warn("the service manager could not be told", "state", state, "error", err)
		}
	}
	begun := sync.OnceFunc(func() { notify(daemon.SdNotifyReady) })
	return func() {
		begun()
		notify(daemon.SdNotifyWatchdog)
	}
}
