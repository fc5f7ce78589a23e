package config

// MQTT says where readings are published, and as whom a broker is spoken to. The
// password itself is no setting: it must not be shown.
type MQTT struct {
	Publish      string // mqtt://host:1883/topic, or "" for nowhere
	User         string
	PasswordFile string // read if DUSTLOG_MQTT_PASSWORD is not set
}

// mqttFile mirrors [mqtt] in the file.
type mqttFile struct {
	Publish      *string `toml:"publish"`
	User         *string `toml:"user"`
	PasswordFile *string `toml:"password_file"`
}

var mqttSettings = []setting{
	mqttSetting("publish", "topic under which readings are published, as in mqtt://broker:1883/shop",
		func(f *mqttFile) *string { return f.Publish }, func(m *MQTT) *string { return &m.Publish }),
	mqttSetting("user", "user at the broker",
		func(f *mqttFile) *string { return f.User }, func(m *MQTT) *string { return &m.User }),
	mqttSetting("password_file", "file that holds the user's password, unless DUSTLOG_MQTT_PASSWORD does",
		func(f *mqttFile) *string { return f.PasswordFile }, func(m *MQTT) *string { return &m.PasswordFile }),
}

func mqttSetting(name, help string, inFile func(*mqttFile) *string, field func(*MQTT) *string) setting {
	return setting{"mqtt." + name, help,
		func(f *file) *string { return inFile(&f.MQTT) },
		func(c *Config) string { return *field(&c.MQTT) },
		func(c *Config, v string) error { *field(&c.MQTT) = v; return nil }}
}
