package capture

import (
	"context"
	"io"
	"iter"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// Player is a sensor whose line is played instead of read. It is its own clock:
// it shows the moments of the recording, and waiting takes no time. It is for
// one goroutine.
type Player struct {
	model   sensor.Model
	decoder sensor.Decoder
	next    func() (Chunk, error, bool)
	stop    func()
	ahead   *Chunk // read already, not played yet

	wall    time.Time
	elapsed time.Duration
	ready   []sample
	dropped bool         // the present chunk makes no readings
	notes   []dust.Event // played, not told yet
	flags   []dust.Flags // of the readings that the present chunk gives
}

type sample struct {
	values dust.Values
	flags  dust.Flags
}

// NewPlayer returns a player that stands at the first chunk. Stop must be called
// when it is not needed any more.
func NewPlayer(model sensor.Model, chunks iter.Seq2[Chunk, error]) (*Player, error) {
	p := &Player{model: model}
	p.next, p.stop = iter.Pull2(chunks)
	return p, p.Reopen()
}

// Stop ends the player.
func (p *Player) Stop() { p.stop() }

// Reopen begins again with a fresh decoder, as opening the port does. It returns
// io.EOF if the recording has nothing more.
func (p *Player) Reopen() (err error) {
	if p.decoder, err = sensor.NewDecoder(p.model); err != nil {
		return err
	}
	c, err := p.peek()
	switch {
	case err != nil:
		return err
	case c == nil:
		return io.EOF
	case c.What == Open:
		p.take()
	}
	return nil
}

// peek looks at the next chunk; nil at the end.
func (p *Player) peek() (*Chunk, error) {
	if p.ahead == nil {
		c, err, ok := p.next()
		if err != nil || !ok {
			return nil, err
		}
		p.ahead = &c
	}
	return p.ahead, nil
}

// take moves past the next chunk and sets the clock to it.
func (p *Player) take() Chunk {
	c := *p.ahead
	p.ahead, p.wall, p.elapsed = nil, c.Wall, c.Elapsed
	return c
}

// lostError is why a recorded line was lost, as it was told then.
type lostError struct {
	text   string
	silent bool
}

func (e *lostError) Error() string { return e.text }

func (e *lostError) Is(target error) bool {
	return e.silent && target == dust.ErrSilent || !e.silent && target == dust.ErrPortLost
}

// Read returns the next reading's values; io.EOF at the end of the recording.
// Where the line was lost, it returns the error that was met then.
func (p *Player) Read(ctx context.Context) (dust.Values, dust.Flags, error) {
	for len(p.ready) == 0 {
		if err := ctx.Err(); err != nil {
			return dust.Values{}, 0, err
		}
		if err := p.play(); err != nil {
			return dust.Values{}, 0, err
		}
	}
	first := p.ready[0]
	p.ready = append(p.ready[:0], p.ready[1:]...)
	return first.values, first.flags, nil
}

// play lets the next thing happen.
func (p *Player) play() error {
	c, err := p.peek()
	if err != nil {
		return err
	}
	if c == nil {
		return io.EOF
	}
	c2 := p.take()
	p.dropped = c2.Dropped
	switch c := c2; c.What {
	case Bytes:
		p.flags = c.Flags
		p.decoder.Feed(c.Bytes, p.keep)
	case Pause:
		p.flags = c.Flags
		p.decoder.Flush(p.keep)
	case Event:
		p.notes = append(p.notes, dust.Event{Kind: c.Kind, Text: c.Text})
	case Lost:
		return &lostError{text: c.Text, silent: c.Silent}
	}
	return p.playEvents()
}

// playEvents takes the events that bear the present moment: they were noticed before
// the next thing happened. Others belong to a loss and move the clock to it.
func (p *Player) playEvents() error {
	for {
		c, err := p.peek()
		if err != nil || c == nil || c.What != Event || c.Elapsed != p.elapsed {
			return err
		}
		c2 := p.take()
		p.notes = append(p.notes, dust.Event{Kind: c2.Kind, Text: c2.Text})
	}
}

// Notes returns the events that were played since it was last asked.
func (p *Player) Notes() []dust.Event {
	notes := p.notes
	p.notes = nil
	return notes
}

func (p *Player) keep(f *sensor.Frame) {
	if !f.IsData() || p.dropped {
		return
	}
	flags := f.Flags
	if len(p.flags) > 0 {
		flags, p.flags = p.flags[0], p.flags[1:]
	}
	p.ready = append(p.ready, sample{*f.Values(), flags})
}

// Quality counts what came over the line since it was opened.
func (p *Player) Quality() dust.LineQuality { return Quality(p.decoder.Counts()) }

// Close does nothing: the recording goes on after a loss.
func (p *Player) Close() error { return nil }

// Wall is the recorded wall clock.
func (p *Player) Wall() time.Time { return p.wall }

// Elapsed is the recorded elapsed time.
func (p *Player) Elapsed() time.Duration { return p.elapsed }

// After does not wait.
func (p *Player) After(time.Duration) <-chan time.Time {
	done := make(chan time.Time, 1)
	done <- p.wall
	return done
}

// Quality turns a decoder's counts into what the store keeps.
func Quality(c sensor.Counts) dust.LineQuality {
	return dust.LineQuality{Frames: c.Frames, ChecksumErrors: c.ChecksumErrors, OtherErrors: c.OtherErrors, BytesSkipped: c.BytesSkipped}
}
