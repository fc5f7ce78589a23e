package cli

import (
	"context"
	"errors"
	"fmt"

	"dustlog/internal/capture"
	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// line is one configured sensor on its port. It stamps by the moment of arrival
// and, if asked to, keeps the raw bytes.
type line struct {
	sensor  dust.Sensor
	model   sensor.Model
	port    string
	clock   *capture.Arrivals
	capture *capture.Writer // nil: bytes are not kept
}

func newLine(cfg config.Config, s config.Sensor) (*line, error) {
	model, err := sensor.ParseModel(s.Model)
	if err != nil {
		return nil, fmt.Errorf("%w %s: sensor %q: %w", config.ErrFile, cfg.Path, s.Name, err)
	}
	position, err := dust.ParsePosition(s.Position)
	if err != nil {
		return nil, fmt.Errorf("%w %s: sensor %q: %w", config.ErrFile, cfg.Path, s.Name, err)
	}
	return &line{
		sensor: dust.Sensor{Name: s.Name, Model: string(model), Position: position},
		model:  model, port: s.Port, clock: capture.NewArrivals(collect.SystemClock()),
	}, nil
}

// open opens the port, for the first time or again.
func (l *line) open(context.Context) (collect.Source, error) {
	device, err := sensor.Open(l.port, l.model)
	if err != nil {
		return nil, err
	}
	device.SetTap(l.tap)
	l.note(capture.Chunk{What: capture.Open})
	return &lineSource{Device: device, line: l}, nil
}

// tap sees what the decoder is given.
func (l *line) tap(raw []byte, flags []dust.Flags) {
	what := capture.Bytes
	if raw == nil {
		what = capture.Pause
	}
	l.note(capture.Chunk{What: what, Bytes: raw, Flags: flags})
}

// note moves the clock to now and keeps the chunk.
func (l *line) note(c capture.Chunk) {
	l.clock.Mark()
	if l.capture != nil {
		c.Wall, c.Elapsed = l.clock.Wall(), l.clock.Elapsed()
		l.capture.Add(c)
	}
}

func (l *line) close() error {
	if l.capture == nil {
		return nil
	}
	return l.capture.Close()
}

// lineSource is an open line.
type lineSource struct {
	*sensor.Device
	line *line
}

func (s *lineSource) Read(ctx context.Context) (dust.Values, dust.Flags, error) {
	v, flags, err := s.Device.Read(ctx)
	if err != nil && ctx.Err() == nil {
		s.line.note(capture.Chunk{What: capture.Lost, Text: err.Error(), Silent: errors.Is(err, dust.ErrSilent)})
	}
	return v, flags, err
}

func (s *lineSource) Quality() dust.LineQuality { return capture.Quality(s.Counts()) }
