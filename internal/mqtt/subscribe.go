package mqtt

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dustlog/internal/dust"
)

// pollTime is how long a Read waits, as a serial port's does.
const pollTime = 200 * time.Millisecond

// subscription is a topic as a port to read from.
type subscription struct {
	client   paho.Client
	address  Address
	payloads chan []byte
	rest     []byte

	once   sync.Once
	closed chan struct{}
	gone   sync.Once
	lost   chan struct{}
	why    error // set before lost is closed
}

// Subscribe opens a topic as a port: what is published comes as lines, in order. A
// Read that gets nothing for a while returns an error whose Timeout method says
// true; when the connection is lost, one that wraps dust.ErrPortLost. Errors of
// Subscribe wrap dust.ErrPortMissing or dust.ErrPortRefused.
func Subscribe(a Address, login Login) (io.ReadWriteCloser, error) {
	s := &subscription{address: a, payloads: make(chan []byte, 256), closed: make(chan struct{}), lost: make(chan struct{})}
	var err error
	if s.client, err = connect(a.Broker, login, s.lose); err != nil {
		return nil, err
	}
	token := s.client.Subscribe(a.Topic, 1, s.take)
	if !token.WaitTimeout(connectTime) || token.Error() != nil {
		_ = s.Close()
		return nil, fmt.Errorf("topic %s at %s: %w: %w", a.Topic, a.Broker, dust.ErrPortRefused, token.Error())
	}
	if granted := token.(*paho.SubscribeToken).Result()[a.Topic]; granted > 2 { // 0x80 is the broker's no
		_ = s.Close()
		return nil, fmt.Errorf("topic %s at %s: %w: the broker does not let this user read it", a.Topic, a.Broker, dust.ErrPortRefused)
	}
	return s, nil
}

// take is called by the client, one message after the other. It waits while the
// reader is behind; the connection then holds the messages back.
func (s *subscription) take(_ paho.Client, m paho.Message) {
	if m.Retained() {
		return // of an unknown moment
	}
	payload := append([]byte(nil), m.Payload()...)
	if n := len(payload); n == 0 || payload[n-1] != '\n' {
		payload = append(payload, '\n')
	}
	select {
	case s.payloads <- payload:
	case <-s.closed:
	}
}

func (s *subscription) lose(err error) {
	s.gone.Do(func() {
		s.why = err
		close(s.lost)
	})
}

// Read implements io.Reader.
func (s *subscription) Read(p []byte) (int, error) {
	if len(s.rest) == 0 {
		if err := s.next(); err != nil {
			return 0, err
		}
	}
	n := copy(p, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}

// next waits for a payload; what came before the connection was lost is read first.
func (s *subscription) next() error {
	select {
	case s.rest = <-s.payloads:
		return nil
	default:
	}
	wait := time.NewTimer(pollTime)
	defer wait.Stop()
	select {
	case <-s.closed:
		return os.ErrClosed
	case s.rest = <-s.payloads:
		return nil
	case <-s.lost:
		return fmt.Errorf("%s at %s: %w: %w", s.address.Topic, s.address.Broker, dust.ErrPortLost, s.why)
	case <-wait.C:
		return os.ErrDeadlineExceeded
	}
}

// Write implements io.Writer; there is nothing to be asked behind a topic.
func (s *subscription) Write([]byte) (int, error) {
	return 0, errors.New("a sensor behind a broker cannot be asked or set")
}

// Close ends the connection.
func (s *subscription) Close() error {
	s.once.Do(func() {
		close(s.closed)
		s.client.Disconnect(waitToEnd)
	})
	return nil
}
