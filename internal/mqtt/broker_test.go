package mqtt

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/mqtt/mqtttest"
)

// newBroker starts a broker for one test.
func newBroker(t *testing.T, lines string) *mqtttest.Broker {
	t.Helper()
	b, err := mqtttest.Start(lines)
	require.NoError(t, err)
	if b == nil {
		t.Skip(mqtttest.Missing)
	}
	t.Cleanup(b.Close)
	return b
}

func topic(t *testing.T, b *mqtttest.Broker, name string) Address {
	t.Helper()
	a, err := ParseAddress(b.Topic(name))
	require.NoError(t, err)
	return a
}
