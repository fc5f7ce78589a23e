package main

import (
	"fmt"
	"strconv"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/rogpeppe/go-internal/testscript"

	"dustlog/internal/mqtt/mqtttest"
)

// broker VARIABLE starts a real broker and puts its port into a variable.
func broker(ts *testscript.TestScript, _ bool, args []string) {
	b, err := mqtttest.Start("allow_anonymous true\n")
	ts.Check(err)
	ts.Defer(b.Close)
	ts.Setenv(args[0], strconv.Itoa(b.Port))
}

// microcontroller PORT TOPIC N publishes N readings, ten a second.
func microcontroller(ts *testscript.TestScript, _ bool, args []string) {
	n, err := strconv.Atoi(args[2])
	ts.Check(err)
	client := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://127.0.0.1:" + args[0]).SetClientID("microcontroller"))
	token := client.Connect()
	token.Wait()
	ts.Check(token.Error())
	defer client.Disconnect(100)
	for i := range n {
		token := client.Publish(args[1], 1, false, fmt.Sprintf(`[{"bu":"ug/m3","n":"pm2_5","v":%d},{"n":"humidity","u":"%%RH","v":41}]`, 10+i%7))
		token.Wait()
		ts.Check(token.Error())
		time.Sleep(100 * time.Millisecond)
	}
}
