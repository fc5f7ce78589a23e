package web

import (
	"sync"
	"sync/atomic"
	"time"

	"dustlog/internal/dust"
)

// remembered is how much of each sensor is held in memory: a 15-minute mean, and
// the reading that speaks into it.
const remembered = 16 * time.Minute

// recent holds every sensor's latest readings.
type recent struct {
	channels []dust.Channel // of fine dust, the first that a reading has
	queue    chan dust.Reading
	missed   atomic.Int64

	mu      sync.RWMutex
	sensors map[string]*latest
}

// latest is one sensor's readings of the last minutes, in time order.
type latest struct {
	channel dust.Channel
	ms      []int64
	value   []float64
	flags   []dust.Flags

	newest  dust.Reading // may have no fine dust, or be unusable
	spacing time.Duration
}

func newRecent(atmospheric bool) *recent {
	channels := []dust.Channel{dust.PM25}
	if atmospheric {
		channels = []dust.Channel{dust.PM25Atm, dust.PM25}
	}
	return &recent{channels: channels, queue: make(chan dust.Reading, 1024), sensors: map[string]*latest{}}
}

// offer hands over a reading and never waits: when nobody takes readings fast
// enough, the page misses some, the collector none.
func (l *recent) offer(r dust.Reading) {
	select {
	case l.queue <- r:
	default:
		l.missed.Add(1)
	}
}

// take remembers a reading; one that is not newer than the last is not.
func (l *recent) take(r dust.Reading) {
	l.mu.Lock()
	defer l.mu.Unlock()
	s := l.sensors[r.Sensor]
	if s == nil {
		s = &latest{}
		l.sensors[r.Sensor] = s
	}
	if !r.Time.After(s.newest.Time) {
		return
	}
	if !s.newest.Time.IsZero() {
		s.spacing = r.Time.Sub(s.newest.Time)
	}
	s.newest = r
	for _, c := range l.channels {
		x, ok := r.Values.Get(c)
		if !ok {
			continue
		}
		if s.channel != c { // another model under the same name
			s.channel, s.ms, s.value, s.flags = c, nil, nil, nil
		}
		s.ms, s.value, s.flags = append(s.ms, r.Time.UnixMilli()), append(s.value, x), append(s.flags, r.Flags)
		break
	}
	s.forget(r.Time.Add(-remembered).UnixMilli())
}

// forget drops what is older, now and then rather than each time.
func (s *latest) forget(before int64) {
	old := 0
	for old < len(s.ms) && s.ms[old] < before {
		old++
	}
	if old < 64 && old < len(s.ms) {
		return
	}
	s.ms = append(s.ms[:0], s.ms[old:]...)
	s.value = append(s.value[:0], s.value[old:]...)
	s.flags = append(s.flags[:0], s.flags[old:]...)
}

// snapshot is one sensor's newest reading, how far it was from the one before,
// and the fine dust of the last minutes.
func (l *recent) snapshot(sensor dust.Sensor) (newest dust.Reading, spacing time.Duration, series *dust.Series) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	s := l.sensors[sensor.Name]
	if s == nil {
		return dust.Reading{}, 0, dust.NewSeries(sensor, l.channels[0])
	}
	series = dust.NewSeries(sensor, s.channel)
	for i, ms := range s.ms {
		// In order by take, so that this cannot fail.
		_ = series.Append(time.UnixMilli(ms), s.value[i], s.flags[i])
	}
	series.FitHold()
	return s.newest, s.spacing, series
}

// end is the time of the newest reading of all.
func (l *recent) end() (t time.Time) {
	l.mu.RLock()
	defer l.mu.RUnlock()
	for _, s := range l.sensors {
		if s.newest.Time.After(t) {
			t = s.newest.Time
		}
	}
	return t
}
