package cli

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"time"

	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/metrics"
)

// metricsBeside counts what a collector does, and offers the counts if an address is
// given. stop ends that.
func (a *app) metricsBeside(ctx context.Context, cfg config.Config, inputs []collect.Input) (count *metrics.Watch, stop func(), err error) {
	o := metrics.Options{Version: version(), CommitEvery: cfg.CommitEvery, Now: a.Now,
		FreeBytes: func() (uint64, error) { return metrics.FreeBytes(filepath.Dir(cfg.Store)) }}
	for _, in := range inputs {
		o.Sensors = append(o.Sensors, metrics.Sensor{Sensor: in.Sensor, Silence: silenceOf(cfg, in.Sensor.Name) + in.WarmUp})
	}
	count = metrics.New(o)
	if cfg.Metrics == "" {
		return count, func() {}, nil
	}
	var lc net.ListenConfig
	listen, err := lc.Listen(ctx, "tcp", cfg.Metrics)
	if err != nil {
		return nil, nil, fmt.Errorf("offering metrics at %s (from %s): %w", cfg.Metrics, cfg.Origin("collect.metrics"), err)
	}
	if tcp, ok := listen.Addr().(*net.TCPAddr); ok && !tcp.IP.IsLoopback() {
		a.remark("metrics at %s can be read by everyone who reaches this computer; nothing can be changed there", listen.Addr())
	}
	a.remark("metrics at http://%s/metrics, health at /health/live and /health/ready", listen.Addr())
	server := &http.Server{Handler: count.Handler(), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 5 * time.Second,
		WriteTimeout: 15 * time.Second, IdleTimeout: 90 * time.Second, MaxHeaderBytes: 16 << 10, ErrorLog: quietErrors(a)}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := server.Serve(listen); !errors.Is(err, http.ErrServerClosed) {
			a.log().Error("metrics have ended, collecting goes on", "error", err)
		}
	}()
	return count, func() { _ = server.Close(); <-ended }, nil
}

// silenceOf is how long a sensor may be silent: one that is switched off and on to a
// plan for as long as a round takes.
func silenceOf(cfg config.Config, sensor string) time.Duration {
	const usual = 30 * time.Second
	for _, s := range cfg.Sensors {
		if s.Name == sensor {
			if _, every, err := s.DutyCycle(); err == nil {
				return every + usual
			}
		}
	}
	return usual
}
