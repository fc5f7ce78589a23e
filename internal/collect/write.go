package collect

import (
	"context"
	"fmt"
	"time"

	"dustlog/internal/dust"
)

const (
	// lastWrite is how long the final batch may take after ctx has ended.
	lastWrite = 10 * time.Second
	// holdAtMost bounds the readings kept in memory while the store refuses
	// them: four sensors at 1 Hz for two hours.
	holdAtMost = 4 * 2 * 3600
)

// write hands batches to the sink until queue closes. Readings that the sink
// refuses are kept and tried again with the next batch; if they cannot be
// written in the end, the error says how many were lost.
func write(ctx context.Context, queue <-chan item, sink Sink, o Options) error {
	w := &writer{sink: sink, o: o}
	ticker := time.NewTicker(o.CommitEvery)
	defer ticker.Stop()
	for {
		select {
		case it, open := <-queue:
			if !open {
				return w.finish(ctx)
			}
			w.take(it)
			if len(w.readings) >= o.CommitSize && !w.refused {
				w.commit(ctx)
			}
		case <-ticker.C:
			w.refused = false
			w.commit(ctx)
			if o.OnTurn != nil {
				o.OnTurn()
			}
		}
		if len(w.readings) > holdAtMost {
			return fmt.Errorf("the store has refused %d readings: %w", len(w.readings), w.err)
		}
	}
}

type writer struct {
	sink      Sink
	o         Options
	readings  []dust.Reading
	events    []dust.Event
	qualities []dust.LineQuality
	refused   bool // the last commit failed: wait for the ticker before the next
	err       error
}

func (w *writer) take(it item) {
	switch {
	case it.reading != nil:
		w.readings = append(w.readings, *it.reading)
		if w.o.OnReading != nil {
			w.o.OnReading(*it.reading)
		}
	case it.event != nil:
		w.events = append(w.events, *it.event)
	case it.quality != nil:
		w.qualities = append(w.qualities, *it.quality)
	}
}

// commit writes what was taken. What fails stays for the next commit: the sink
// takes a reading it already has without adding it again.
func (w *writer) commit(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastWrite)
	defer cancel()
	if w.err = w.commitAll(ctx); w.err != nil {
		w.refused = true
		w.o.Log.Error("readings not written yet, will try again", "readings", len(w.readings), "error", w.err)
	}
}

func (w *writer) commitAll(ctx context.Context) error {
	if len(w.readings) > 0 {
		if _, err := w.sink.Append(ctx, w.readings); err != nil {
			return err
		}
		w.readings = w.readings[:0]
	}
	for len(w.events) > 0 {
		if err := w.sink.AddEvent(ctx, w.events[0]); err != nil {
			return err
		}
		w.events = w.events[1:]
	}
	if len(w.qualities) > 0 { // in one commit, for each wears a memory card
		if err := w.sink.AddLineQuality(ctx, w.qualities...); err != nil {
			return err
		}
		w.qualities = w.qualities[:0]
	}
	return nil
}

func (w *writer) finish(ctx context.Context) error {
	for range 3 {
		if w.commit(ctx); w.err == nil {
			return nil
		}
	}
	return fmt.Errorf("%d readings could not be written: %w", len(w.readings), w.err)
}
