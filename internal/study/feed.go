package study

import (
	"context"
	"iter"
	"runtime"
	"sync"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Daily is what Records may offer besides: the readings of one channel in
// columns, one UTC day after the other, without the days that have none. What is
// yielded is valid until the next is asked for. Flags are those of the whole
// reading. Study takes long stretches of time this way if it can.
type Daily interface {
	DailyColumns(ctx context.Context, sensor dust.Sensor, c dust.Channel, from, to time.Time) iter.Seq2[exposure.Columns, error]
}

const utcDay = 24 * time.Hour

// feed is one sensor's readings on their way into an assessment.
type feed struct {
	track *exposure.Track
	day   time.Time // UTC day of what comes next
	done  bool
	err   error

	series *dust.Series // all readings, if they do not come day by day
	next   func() (exposure.Columns, error, bool)
	stop   func()
	ahead  exposure.Columns
}

// feeds opens every sensor's readings and looks at the first of them.
func (s *Study) feeds(ctx context.Context, a *exposure.Assessor, metric dust.Channel, w Window) ([]*feed, error) {
	daily, ok := s.records.(Daily)
	var feeds []*feed
	for _, sensor := range s.sensors {
		var f *feed
		var err error
		if ok {
			f, err = s.dailyFeed(ctx, daily, a, sensor, metric, w)
		} else {
			f, err = s.seriesFeed(ctx, a, sensor, metric, w)
		}
		if f != nil {
			feeds = append(feeds, f)
		}
		if err != nil {
			return feeds, err
		}
	}
	return feeds, nil
}

func (s *Study) dailyFeed(ctx context.Context, daily Daily, a *exposure.Assessor, sensor dust.Sensor, c dust.Channel, w Window) (*feed, error) {
	if second, ok := atmospheric[c]; ok && s.settings.Atmospheric {
		f := openDaily(ctx, daily, sensor, second, w)
		if f.err != nil || !f.done {
			f.track = a.Track(sensor, second)
			return f, f.err
		}
		f.stop()
	}
	f := openDaily(ctx, daily, sensor, c, w)
	f.track = a.Track(sensor, c)
	return f, f.err
}

func openDaily(ctx context.Context, daily Daily, sensor dust.Sensor, c dust.Channel, w Window) *feed {
	f := &feed{}
	f.next, f.stop = iter.Pull2(daily.DailyColumns(ctx, sensor, c, w.From, w.To))
	f.look()
	return f
}

func (s *Study) seriesFeed(ctx context.Context, a *exposure.Assessor, sensor dust.Sensor, c dust.Channel, w Window) (*feed, error) {
	series, err := s.Series(ctx, sensor, c, w)
	if err != nil {
		return nil, err
	}
	f := &feed{series: series, stop: func() {}, track: a.Track(sensor, series.Channel)}
	f.look()
	return f, nil
}

// look finds out of which day the next readings are.
func (f *feed) look() {
	var ms int64
	if f.series != nil {
		n := 0
		if f.track != nil {
			n = f.track.Count()
		}
		if f.done = n == f.series.Len(); f.done {
			return
		}
		all, _, _ := f.series.Columns()
		ms = all[n]
	} else {
		var more bool
		f.ahead, f.err, more = f.next()
		if f.done = !more || f.err != nil; f.done {
			return
		}
		ms = f.ahead.MS[0]
	}
	f.day = time.UnixMilli(ms).UTC().Truncate(utcDay)
}

// early is enough of a day to finish the one before: no reading speaks longer.
const early = 10 * time.Minute

// giveEarly adds the day's first minutes to the track, giveRest the others.
func (f *feed) giveEarly() {
	if f.series != nil {
		f.err = f.track.AddSeries(f.series, f.day, f.day.Add(early))
		return
	}
	var first exposure.Columns
	first, f.ahead = f.ahead.Cut(f.day.Add(early))
	f.err = f.track.Add(first)
}

func (f *feed) giveRest() {
	if f.series != nil {
		f.err = f.track.AddSeries(f.series, f.day.Add(early), f.day.Add(utcDay))
	} else {
		f.err = f.track.Add(f.ahead)
	}
	if f.err == nil {
		f.look()
	}
}

// feedByDay gives an assessor all readings, day after day, on all cores. Each
// day comes in two parts, so that the day before is done and forgotten before
// most of the next comes in.
func feedByDay(ctx context.Context, a *exposure.Assessor, feeds []*feed) error {
	for {
		day, ok := earliest(feeds)
		if !ok {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := inParallel(feeds, day, (*feed).giveEarly); err != nil {
			return err
		}
		a.Advance(day.Add(early))
		if err := inParallel(feeds, day, (*feed).giveRest); err != nil {
			return err
		}
		a.Advance(day.Add(utcDay))
	}
}

func earliest(feeds []*feed) (day time.Time, ok bool) {
	for _, f := range feeds {
		if !f.done && (!ok || f.day.Before(day)) {
			day, ok = f.day, true
		}
	}
	return day, ok
}

// inParallel calls do for every feed whose next readings are of a day, as many
// at a time as there are cores.
func inParallel(feeds []*feed, day time.Time, do func(*feed)) error {
	next := make(chan *feed, len(feeds))
	for _, f := range feeds {
		if !f.done && f.day.Equal(day) {
			next <- f
		}
	}
	close(next)
	var group sync.WaitGroup
	for range min(len(next), runtime.GOMAXPROCS(0)) {
		group.Go(func() {
			for f := range next {
				do(f)
			}
		})
	}
	group.Wait()
	for _, f := range feeds {
		if f.err != nil {
			return f.err
		}
	}
	return nil
}

func stopAll(feeds []*feed) {
	for _, f := range feeds {
		f.stop()
	}
}
