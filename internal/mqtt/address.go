package mqtt

import (
	"errors"
	"fmt"
	"net/url"
	"strings"
)

// Address is a topic on a broker, as in mqtt://broker:1883/shop/bench, or mqtts://
// for an encrypted connection. The port may be left out: 1883 and 8883.
type Address struct {
	Broker string // as the client library wants it, as in tcp://broker:1883
	Topic  string
}

// IsAddress reports whether text is meant as the address of a topic.
func IsAddress(text string) bool {
	return strings.HasPrefix(text, "mqtt://") || strings.HasPrefix(text, "mqtts://")
}

// ParseAddress reads an address.
func ParseAddress(text string) (Address, error) {
	u, err := url.Parse(text)
	if err != nil {
		return Address{}, fmt.Errorf("broker address %q: %w", text, errors.Unwrap(err))
	}
	transport, port := "tcp", "1883"
	if u.Scheme == "mqtts" {
		transport, port = "tls", "8883"
	}
	topic := strings.TrimPrefix(u.Path, "/")
	switch {
	case u.Scheme != "mqtt" && u.Scheme != "mqtts" || u.Hostname() == "" || topic == "" || u.RawQuery != "" || u.Fragment != "":
		return Address{}, fmt.Errorf("broker address %q: write it as in mqtt://broker:1883/shop/bench", text)
	case u.User != nil:
		return Address{}, errors.New("a broker address must not hold a user or password: use [mqtt] user and password_file")
	case strings.ContainsAny(topic, "+#\x00"):
		return Address{}, fmt.Errorf("broker address %q: one topic is one sensor, so + and # are not allowed", text)
	}
	if u.Port() != "" {
		port = u.Port()
	}
	return Address{Broker: transport + "://" + hostPort(u.Hostname(), port), Topic: topic}, nil
}

func hostPort(host, port string) string {
	if strings.Contains(host, ":") { // IPv6
		host = "[" + host + "]"
	}
	return host + ":" + port
}
