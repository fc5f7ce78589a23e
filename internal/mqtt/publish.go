package mqtt

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"strings"
	"sync/atomic"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dustlog/internal/dust"
)

// Publisher sends readings to a broker while it can. It never holds up the
// collector: what the broker does not take in time is counted and left out, for
// the store has everything.
type Publisher struct {
	address Address
	login   Login
	log     *slog.Logger
	queue   chan dust.Reading
	left    atomic.Int64
	ended   chan struct{}
	stop    context.CancelFunc
	retry   time.Duration
}

// queued readings are a minute of ten sensors at 1 Hz.
const queued = 600

// NewPublisher publishes each reading as address's topic, "/" and the sensor's name. Call Close.
func NewPublisher(a Address, login Login, log *slog.Logger) *Publisher {
	ctx, stop := context.WithCancel(context.Background())
	p := &Publisher{address: a, login: login, log: log, queue: make(chan dust.Reading, queued), ended: make(chan struct{}), stop: stop, retry: 10 * time.Second}
	go p.run(ctx)
	return p
}

// Offer takes a reading without waiting.
func (p *Publisher) Offer(r dust.Reading) {
	select {
	case p.queue <- r:
	default:
		p.left.Add(1)
	}
}

// LeftOut counts the readings that were not published.
func (p *Publisher) LeftOut() int64 { return p.left.Load() }

// Close ends publishing; readings still queued are left out.
func (p *Publisher) Close() {
	p.stop()
	<-p.ended
	p.left.Add(int64(len(p.queue)))
}

// run connects, publishes, and connects again.
func (p *Publisher) run(ctx context.Context) {
	defer close(p.ended)
	told := false
	for ctx.Err() == nil {
		lost := make(chan error, 1)
		client, err := connect(p.address.Broker, p.login, func(err error) { lost <- err })
		if err == nil {
			p.log.Info("publishing", "broker", p.address.Broker, "topic", p.address.Topic)
			told = false
			err = p.publish(ctx, client, lost)
			client.Disconnect(waitToEnd)
		}
		if ctx.Err() != nil {
			return
		}
		if !told {
			p.log.Warn("not publishing, will try again", "broker", p.address.Broker, "error", err)
			told = true
		}
		select {
		case <-ctx.Done():
		case <-time.After(p.retry):
		}
	}
}

func (p *Publisher) publish(ctx context.Context, client paho.Client, lost <-chan error) error {
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-lost:
			return err
		case r := <-p.queue:
			payload, err := Pack(r)
			if err != nil {
				return err
			}
			token := client.Publish(p.address.Topic+"/"+level(r.Sensor), 1, false, payload)
			if !token.WaitTimeout(connectTime) || token.Error() != nil {
				p.left.Add(1)
				return fmt.Errorf("publishing: %w", token.Error())
			}
		}
	}
}

// level is a sensor's name as one level of a topic.
func level(name string) string {
	return strings.Map(func(r rune) rune {
		if strings.ContainsRune("/+#\x00", r) {
			return '_'
		}
		return r
	}, name)
}

// record is one SenML record (RFC 8428, section 4).
type record struct {
	BaseTime float64  `json:"bt,omitempty"` // Unix seconds
	Name     string   `json:"n"`
	Unit     string   `json:"u,omitempty"`
	Value    *float64 `json:"v,omitempty"`
	Text     string   `json:"vs,omitempty"`
}

// Pack is a reading as a SenML pack: a record for each channel, named as in
// dustlog's own lines or by its key, and "flags" where there are any.
func Pack(r dust.Reading) ([]byte, error) {
	var pack []record
	for c, x := range r.Values.All() {
		name, unit := senmlName(c)
		pack = append(pack, record{Name: name, Unit: unit, Value: &x})
	}
	if r.Flags != 0 {
		pack = append(pack, record{Name: "flags", Text: strings.Join(r.Flags.Names(), " ")})
	}
	if len(pack) == 0 {
		pack = append(pack, record{Name: "flags", Text: "empty"})
	}
	pack[0].BaseTime = float64(r.Time.UnixMilli()) / 1000
	return json.Marshal(pack)
}

// senmlNames are the names that a line of package sensor has too; every other
// channel goes by its key, which carries its unit.
var senmlNames = map[dust.Channel]struct{ name, unit string }{
	dust.PM1: {"pm1_0", "ug/m3"}, dust.PM25: {"pm2_5", "ug/m3"}, dust.PM4: {"pm4_0", "ug/m3"}, dust.PM10: {"pm10", "ug/m3"},
	dust.N03: {"n_0_3_cm3", "/"}, dust.N05: {"n_0_5_cm3", "/"}, dust.N10: {"n_1_0_cm3", "/"},
	dust.N25: {"n_2_5_cm3", "/"}, dust.N50: {"n_5_0_cm3", "/"}, dust.N100: {"n_10_cm3", "/"},
	dust.Temperature: {"temperature", "Cel"}, dust.Humidity: {"humidity", "%RH"},
}

func senmlName(c dust.Channel) (name, unit string) {
	if known, ok := senmlNames[c]; ok {
		return known.name, known.unit
	}
	if c.IsMass() {
		return c.Key(), "ug/m3" // a mass without its unit is refused where lines are read
	}
	return c.Key(), ""
}
