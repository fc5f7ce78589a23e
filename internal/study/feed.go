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
	sensor  dust.Sensor
	channel dust.Channel
	track   *exposure.Track
	day     time.Time // UTC day of what comes next
	done    bool
	err     error

	series *dust.Series // all readings, if they do not come day by day
	next   func() (exposure.Columns, error, bool)
	stop   func()

	first, rest exposure.Columns // of the day, to and from its early minutes
}

// feeds opens every sensor's readings and looks at the first of them, several
// sensors at a time. The feeds must be stopped, also after an error.
func (s *Study) feeds(ctx context.Context, a *exposure.Assessor, metric dust.Channel, w Window) ([]*feed, error) {
	daily, ok := s.records.(Daily)
	feeds := make([]*feed, len(s.sensors))
	inParallel(len(feeds), func(i int) {
		if ok {
			feeds[i] = s.dailyFeed(ctx, daily, s.sensors[i], metric, w)
		} else {
			feeds[i] = s.seriesFeed(ctx, s.sensors[i], metric, w)
		}
	})
	for _, f := range feeds {
		if f.err != nil {
			return feeds, f.err
		}
		f.track = a.Track(f.sensor, f.channel)
	}
	return feeds, nil
}

func (s *Study) dailyFeed(ctx context.Context, daily Daily, sensor dust.Sensor, c dust.Channel, w Window) *feed {
	if second, ok := atmospheric[c]; ok && s.settings.Atmospheric {
		f := openDaily(ctx, daily, sensor, second, w)
		if f.err != nil || !f.done {
			return f
		}
		f.stop()
	}
	return openDaily(ctx, daily, sensor, c, w)
}

func openDaily(ctx context.Context, daily Daily, sensor dust.Sensor, c dust.Channel, w Window) *feed {
	f := &feed{sensor: sensor, channel: c}
	f.next, f.stop = iter.Pull2(daily.DailyColumns(ctx, sensor, c, w.From, w.To))
	f.look()
	return f
}

func (s *Study) seriesFeed(ctx context.Context, sensor dust.Sensor, c dust.Channel, w Window) *feed {
	f := &feed{sensor: sensor, stop: func() {}}
	if f.series, f.err = s.Series(ctx, sensor, c, w); f.err == nil {
		f.channel = f.series.Channel
		f.look()
	}
	return f
}

// look finds out of which day the next readings are.
func (f *feed) look() {
	if f.series == nil {
		f.lookAhead()
		return
	}
	ms, _, _ := f.series.Columns()
	n := 0
	if f.track != nil {
		n = f.track.Count()
	}
	if f.done = n == len(ms); !f.done {
		f.day = time.UnixMilli(ms[n]).UTC().Truncate(utcDay)
	}
}

// lookAhead asks for the next day.
func (f *feed) lookAhead() {
	columns, err, more := f.next()
	f.err = err
	if f.done = !more || err != nil; !f.done {
		f.day = time.UnixMilli(columns.MS[0]).UTC().Truncate(utcDay)
		f.first, f.rest = columns.Cut(f.day.Add(early))
	}
}

// early is enough of a day to finish the one before: no reading speaks longer.
const early = 10 * time.Minute

// giveEarly adds the day's first minutes to the track, giveRest the others.
func (f *feed) giveEarly() {
	if f.series != nil {
		f.err = f.track.AddSeries(f.series, f.day, f.day.Add(early))
		return
	}
	f.err = f.track.Add(f.first)
}

func (f *feed) giveRest() {
	if f.series != nil {
		f.err = f.track.AddSeries(f.series, f.day.Add(early), f.day.Add(utcDay))
	} else {
		f.err = f.track.Add(f.rest)
	}
	if f.err == nil {
		f.look()
	}
}

// feedByDay gives an assessor all readings, day after day. Each day comes in two
// parts, so that the day before is done and forgotten before most of the next
// comes in. What a sensor needs then, its day before, its day and a look at the
// next, is done in one go by one core, several sensors at a time.
func feedByDay(ctx context.Context, a *exposure.Assessor, feeds []*feed) error {
	for {
		day, ok := earliest(feeds)
		if !ok {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		today := map[*exposure.Track]*feed{}
		for _, f := range feeds {
			if !f.done && f.day.Equal(day) {
				today[f.track] = f
				f.giveEarly()
			}
		}
		a.AdvanceThen(day.Add(early), func(t *exposure.Track) {
			if f := today[t]; f != nil && f.err == nil {
				f.giveRest()
			}
		})
		for _, f := range feeds {
			if f.err != nil {
				return f.err
			}
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

// inParallel calls do for 0 to n-1, as many at a time as there are cores.
func inParallel(n int, do func(i int)) {
	next := make(chan int, n)
	for i := range n {
		next <- i
	}
	close(next)
	var group sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		group.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	group.Wait()
}

func stopAll(feeds []*feed) {
	for _, f := range feeds {
		f.stop()
	}
}
