package cli

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"dustlog/internal/capture"
	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/mqtt"
	"dustlog/internal/sensor"
)

// line is one configured sensor on its port. It finds the port again when it comes
// back under another name, stamps by the moment of arrival and, if asked to, keeps the
// raw bytes.
type line struct {
	sensor  dust.Sensor
	model   sensor.Model
	passive bool
	clock   *capture.Arrivals
	capture *capture.Writer // nil: bytes are not kept
	login   mqtt.Login      // for a sensor behind a broker

	list   func() ([]sensor.PortInfo, error)
	where  sensor.Identity
	duty   duty
	opened string // name of the port when it was last open
	id     string // the specimen that last spoke, if it tells
	told   string // what was last said about a wrong sensor, so as to say it once
	notes  []dust.Event
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
	if _, err := sensor.Command(model, "read"); err != nil && s.Mode == config.Passive {
		return nil, fmt.Errorf("%w %s: sensor %q: mode %q: a %s cannot be asked, it only talks by itself", config.ErrFile, cfg.Path, s.Name, s.Mode, model)
	}
	if mqtt.IsAddress(s.Port) {
		if _, err := mqtt.ParseAddress(s.Port); err != nil {
			return nil, fmt.Errorf("%w %s: sensor %q: %w", config.ErrFile, cfg.Path, s.Name, err)
		}
		if model != sensor.SenMLLine || s.Mode == config.Passive || s.Duty != "" {
			return nil, fmt.Errorf("%w %s: sensor %q: behind a broker only model %q is read, and it can be neither asked nor switched", config.ErrFile, cfg.Path, s.Name, sensor.SenMLLine)
		}
	}
	plan, err := newDuty(model, s)
	if err != nil {
		return nil, fmt.Errorf("%w %s: sensor %q: %w", config.ErrFile, cfg.Path, s.Name, err)
	}
	return &line{
		sensor: dust.Sensor{Name: s.Name, Model: string(model), Position: position},
		model:  model, passive: s.Mode == config.Passive,
		clock: capture.NewArrivals(collect.SystemClock()), list: sensor.ListPorts,
		duty:  plan,
		where: sensor.Identity{Serial: s.USBSerial, USBPath: s.USBPath, Path: s.Port},
	}, nil
}

// open opens the port, for the first time or again.
func (l *line) open(context.Context) (collect.Source, error) {
	if mqtt.IsAddress(l.where.Path) {
		return l.openTopic()
	}
	ports, _ := l.list() // without a list the port is looked for by name
	path, err := l.where.Find(ports)
	if err != nil {
		return nil, err
	}
	device, err := sensor.Open(path, l.model)
	if err != nil {
		return nil, err
	}
	if l.passive {
		if err := device.Poll(l.model.Spec().Interval); err != nil {
			device.Close()
			return nil, err
		}
	}
	device.SetTap(l.tap)
	l.note(capture.Chunk{What: capture.Open})
	l.remember(path, ports)
	return &lineSource{Device: device, line: l}, nil
}

// openTopic opens a sensor behind a broker.
func (l *line) openTopic() (collect.Source, error) {
	address, err := mqtt.ParseAddress(l.where.Path)
	if err != nil {
		return nil, err
	}
	topic, err := mqtt.Subscribe(address, l.login)
	if err != nil {
		return nil, err
	}
	device := sensor.NewDevice(l.model, topic)
	device.SetTap(l.tap)
	l.note(capture.Chunk{What: capture.Open})
	return &lineSource{Device: device, line: l}, nil
}

// remember keeps what the port is known by, and says so if its name has changed.
func (l *line) remember(path string, ports []sensor.PortInfo) {
	if l.opened != "" && l.opened != path {
		l.event(collect.EventMoved, fmt.Sprintf("found again as %s, before it was %s", path, l.opened))
	}
	first := l.opened == ""
	l.opened = path
	real, err := filepath.EvalSymlinks(path) // as udev's names by id are
	if err != nil {
		real = path
	}
	for _, p := range ports {
		if first && (p.Path == real || p.Path == path) {
			l.where = p.Identity()
		}
	}
	if l.where.Path == "" || !first && l.where.Path != path {
		l.where.Path = path
	}
}

// tap sees what the decoder is given.
func (l *line) tap(raw []byte, flags []dust.Flags) {
	what := capture.Bytes
	if raw == nil {
		what = capture.Pause
	}
	l.note(capture.Chunk{What: what, Bytes: raw, Flags: flags, Dropped: l.duty.switching})
}

// note moves the clock to now and keeps the chunk.
func (l *line) note(c capture.Chunk) {
	l.clock.Mark()
	l.keep(c)
}

// keep adds a chunk to the capture, at the moment that the clock shows.
func (l *line) keep(c capture.Chunk) {
	if l.capture != nil {
		c.Wall, c.Elapsed = l.clock.Wall(), l.clock.Elapsed()
		l.capture.Add(c)
	}
}

// event notes what the bytes alone do not tell. It does not move the clock: readings
// that came of the last bytes may not be stamped yet.
func (l *line) event(kind, text string) {
	l.notes = append(l.notes, dust.Event{Kind: kind, Text: text})
	l.keep(capture.Chunk{What: capture.Event, Kind: kind, Text: text})
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
	line     *line
	asked    bool // the specimen was asked who it is
	readings int

	wokeAt time.Duration // by the system's clock; 0: not woken yet
	asleep bool
}

// looksAfter is the reading after which the frames are looked at: a model with the
// same frame and other contents would be taken for the configured one.
const looksAfter = 20

func (s *lineSource) Read(ctx context.Context) (dust.Values, dust.Flags, error) {
	if !s.asked {
		s.asked = true
		_ = s.AskID(ctx) // if it does not answer, reading will tell why
	}
	if err := s.followDuty(ctx); err != nil {
		return dust.Values{}, 0, s.lost(ctx, err)
	}
	v, flags, err := s.Device.Read(ctx)
	if err != nil {
		return v, flags, s.lost(ctx, err)
	}
	s.checkSpecimen()
	if s.readings++; s.readings == looksAfter {
		s.checkModel("the frames look like those of another model")
	}
	return v, flags, nil
}

// lost notes that the line is lost or silent, unless the run is at its end.
func (s *lineSource) lost(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return err
	}
	s.line.clock.Mark()
	silent := errors.Is(err, dust.ErrSilent)
	if silent {
		s.checkModel("it is silent, but another model speaks there")
	}
	s.line.keep(capture.Chunk{What: capture.Lost, Text: err.Error(), Silent: silent})
	return err
}

// checkSpecimen notices that another specimen of the model speaks.
func (s *lineSource) checkSpecimen() {
	for _, id := range s.IDs() {
		if s.line.id != "" && id != s.line.id {
			s.line.event(collect.EventSwapped, fmt.Sprintf("%s %s was exchanged for %s: readings before and after are of two sensors", s.line.model, s.line.id, id))
		}
		s.line.id = id
	}
}

// checkModel notices frames on the line that another model sends.
func (s *lineSource) checkModel(what string) {
	guesses := sensor.Identify(s.Recent(), s.line.model.Spec().Settings())
	if len(guesses) == 0 {
		return
	}
	for _, g := range guesses {
		if g.Model == s.line.model {
			s.line.told = ""
			return
		}
	}
	text := fmt.Sprintf("%s is configured; %s: %s", s.line.model, what, sensor.Told(guesses))
	if text != s.line.told {
		s.line.told = text
		s.line.event(collect.EventWrongSensor, text)
	}
}

// Notes returns what was noticed since it was last asked.
func (s *lineSource) Notes() []dust.Event {
	notes := s.line.notes
	s.line.notes = nil
	return notes
}

func (s *lineSource) Quality() dust.LineQuality { return capture.Quality(s.Counts()) }
