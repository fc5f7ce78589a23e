// Package mqtttest runs a real Mosquitto broker for tests.
package mqtttest

import (
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// Missing says how to get the broker.
const Missing = "mosquitto is missing: run `make tools`"

// Broker is a running broker.
type Broker struct {
	Port int

	program, folder string
	cmd             *exec.Cmd
}

// Start starts a broker on a free port of the loopback, with more lines of
// configuration. It returns nil without an error if the program is missing on a
// laptop; where it must not be missing, CI=true, that is an error.
func Start(lines string) (*Broker, error) {
	program, err := find()
	if err != nil {
		if os.Getenv("CI") == "true" {
			return nil, err
		}
		return nil, nil
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	port := free.Addr().(*net.TCPAddr).Port
	if err := free.Close(); err != nil {
		return nil, err
	}
	b := &Broker{Port: port, program: program}
	if b.folder, err = os.MkdirTemp("", "dustlog-mosquitto"); err != nil {
		return nil, err
	}
	settings := fmt.Sprintf("listener %d 127.0.0.1\nuser root\nlog_type none\n%s", port, lines)
	if err := os.WriteFile(b.settings(), []byte(settings), 0o600); err != nil {
		return nil, err
	}
	return b, b.Again()
}

// find looks where Debian puts it too, which is not on everybody's path.
func find() (string, error) {
	for _, name := range []string{"mosquitto", "/usr/sbin/mosquitto"} {
		if program, err := exec.LookPath(name); err == nil {
			return program, nil
		}
	}
	return "", errors.New(Missing)
}

func (b *Broker) settings() string { return filepath.Join(b.folder, "mosquitto.conf") }

// Again starts a broker that was ended by Kill.
func (b *Broker) Again() error {
	b.cmd = exec.Command(b.program, "-c", b.settings())
	if err := b.cmd.Start(); err != nil {
		return err
	}
	var err error
	for range 500 {
		var conn net.Conn
		if conn, err = net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", b.Port)); err == nil {
			return conn.Close()
		}
		time.Sleep(20 * time.Millisecond)
	}
	b.Kill()
	return fmt.Errorf("mosquitto did not begin to listen: %w", err)
}

// Kill ends the broker at once.
func (b *Broker) Kill() {
	if b.cmd.ProcessState == nil {
		_ = b.cmd.Process.Kill()
		_ = b.cmd.Wait()
	}
}

// Close ends the broker and removes its folder.
func (b *Broker) Close() {
	b.Kill()
	_ = os.RemoveAll(b.folder)
}

// Topic is the address of a topic.
func (b *Broker) Topic(topic string) string {
	return fmt.Sprintf("mqtt://127.0.0.1:%d/%s", b.Port, topic)
}
