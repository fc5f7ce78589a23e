package forward

import (
	"context"
	"slices"
	"sync"

	"dustlog/internal/dust"
)

const (
	// atOnce is how many requests are on their way at a time: a server works on
	// one while the next is packed.
	atOnce = 2
	// batchesRead is how many batches are read in one go. A sealed day is opened
	// anew each time.
	batchesRead = 4
)

// portion is what is read in one go and confirmed in one go. Reading it ends
// before it is sent: an open read would keep the store's log from being tidied up.
type portion struct {
	readings []dust.Reading
	done     []Done
	left     []Range // what comes after it
	err      error
}

// sendAll sends the readings of ranges, a portion after the other, and reads the
// next meanwhile.
func (f *forwarder) sendAll(ctx context.Context, ranges []Range) error {
	ctx, cancel := context.WithCancel(ctx)
	var reader sync.WaitGroup
	defer reader.Wait()
	defer cancel()
	next := make(chan *portion, 1)
	read := func(ranges []Range, p *portion) {
		reader.Go(func() {
			p.err = f.fill(ctx, ranges, p)
			next <- p
		})
	}
	var two [2]portion // their memory is used again
	read(ranges, &two[0])
	for i := 1; ; i++ {
		p := <-next
		if p.err != nil {
			return p.err
		}
		if len(p.left) > 0 {
			read(p.left, &two[i%2])
		}
		if err := f.ship(ctx, p); err != nil || len(p.left) == 0 {
			return err
		}
	}
}

// fill reads a portion of the first ranges.
func (f *forwarder) fill(ctx context.Context, ranges []Range, p *portion) error {
	*p = portion{readings: p.readings[:0]}
	for i, r := range ranges {
		d := Done{Range: r, To: r.To}
		for reading, err := range f.box.Readings(ctx, query(r)) {
			if err != nil {
				return err
			}
			if len(p.readings) == f.o.Batch*batchesRead {
				d.To = reading.Time.UnixMilli() // not done: the rest comes next
				break
			}
			p.readings = append(p.readings, reading)
			d.LastMS = reading.Time.UnixMilli()
		}
		p.done = append(p.done, d)
		if d.To < r.To {
			r.From = d.To
			p.left = append([]Range{r}, ranges[i+1:]...)
			return nil
		}
	}
	return nil
}

// ship sends a portion and strikes it off once all of it is confirmed.
func (f *forwarder) ship(ctx context.Context, p *portion) error {
	batches := slices.Collect(slices.Chunk(p.readings, f.o.Batch))
	faults, err := f.sendBatches(ctx, batches)
	if err != nil {
		return err
	}
	if err := f.tell(ctx, faults, p.done); err != nil {
		return err
	}
	f.sum.Requests += int64(len(batches))
	f.sum.Sent += int64(len(p.readings))
	if f.o.OnBatch != nil {
		f.o.OnBatch(f.sum.Sent)
	}
	return f.box.ForwardShipped(ctx, f.name, p.done)
}

// sendBatches sends batches, several at once. The first error ends the others.
func (f *forwarder) sendBatches(ctx context.Context, batches [][]dust.Reading) ([]fault, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	next := make(chan int, len(batches))
	for i := range batches {
		next <- i
	}
	close(next)
	faults := make([][]fault, len(batches))
	var group sync.WaitGroup
	for range min(atOnce, len(batches)) {
		group.Go(func() {
			for i := range next {
				var err error
				if faults[i], err = f.send(ctx, batches[i]); err != nil {
					cancel(err)
					return
				}
			}
		})
	}
	group.Wait()
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	return slices.Concat(faults...), nil
}
