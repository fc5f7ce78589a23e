package mqtt

import (
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"

	"dustlog/internal/dust"
)

// Login is who connects. The zero Login is nobody in particular.
type Login struct {
	User     string
	Password string
}

const (
	connectTime = 10 * time.Second
	keepAlive   = 15 * time.Second // a silent connection is found dead within twice that
	waitToEnd   = 250              // ms for what is under way when a connection is ended
)

// connect opens a connection that is not opened again by itself: who uses it must
// know that it was lost.
func connect(broker string, login Login, lost func(error)) (paho.Client, error) {
	o := paho.NewClientOptions().AddBroker(broker).SetClientID("dustlog-" + strings.ToLower(rand.Text()[:12])).
		SetProtocolVersion(4). // 3.1.1
		SetUsername(login.User).SetPassword(login.Password).
		SetCleanSession(true).SetAutoReconnect(false).SetConnectRetry(false).
		SetConnectTimeout(connectTime).SetKeepAlive(keepAlive).SetPingTimeout(keepAlive).SetWriteTimeout(connectTime).
		SetConnectionLostHandler(func(_ paho.Client, err error) { lost(err) })
	client := paho.NewClient(o)
	token := client.Connect()
	if !token.WaitTimeout(connectTime) {
		client.Disconnect(0)
		return nil, fmt.Errorf("broker %s does not answer: %w", broker, dust.ErrPortMissing)
	}
	if err := token.Error(); err != nil {
		client.Disconnect(0)
		return nil, fmt.Errorf("broker %s: %w: %w", broker, dust.ErrPortMissing, err)
	}
	return client, nil
}
