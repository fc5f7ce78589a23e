package cli

import (
	"fmt"
	"os"
	"strings"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/mqtt"
)

const mqttPasswordVariable = "DUSTLOG_MQTT_PASSWORD"

// brokerLogin is as whom brokers are spoken to.
func (a *app) brokerLogin(cfg config.Config) (mqtt.Login, error) {
	login := mqtt.Login{User: cfg.MQTT.User}
	if password, ok := a.LookupEnv(mqttPasswordVariable); ok {
		login.Password = password
	} else if cfg.MQTT.PasswordFile != "" {
		text, err := os.ReadFile(cfg.MQTT.PasswordFile)
		if err != nil {
			return login, fmt.Errorf("mqtt.password_file (from %s): %w", cfg.Origin("mqtt.password_file"), err)
		}
		login.Password = strings.TrimRight(string(text), "\r\n")
	}
	if login.Password != "" && login.User == "" {
		return login, fmt.Errorf("%w: there is a password for a broker, but no mqtt.user", config.ErrSetting)
	}
	return login, nil
}

// publishBeside publishes what is offered until stop is called, if that is wanted.
func (a *app) publishBeside(cfg config.Config) (offer func(dust.Reading), stop func(), err error) {
	if cfg.MQTT.Publish == "" {
		return func(dust.Reading) {}, func() {}, nil
	}
	address, err := mqtt.ParseAddress(cfg.MQTT.Publish)
	if err != nil {
		return nil, nil, fmt.Errorf("mqtt.publish (from %s): %w", cfg.Origin("mqtt.publish"), err)
	}
	login, err := a.brokerLogin(cfg)
	if err != nil {
		return nil, nil, err
	}
	p := mqtt.NewPublisher(address, login, a.log())
	return p.Offer, func() {
		p.Close()
		if n := p.LeftOut(); n > 0 {
			a.remark("%d readings were not published to %s; the store has them", n, address.Broker)
		}
	}, nil
}
