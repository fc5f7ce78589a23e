package config

// Serve says where the shop's page is offered and who may see it. Passwords
// themselves are no settings: they must not be shown.
type Serve struct {
	Address          string // host:port
	PasswordFile     string // read if DUSTLOG_SERVE_PASSWORD is not set
	LookPasswordFile string // read if DUSTLOG_SERVE_LOOK_PASSWORD is not set
	TLSCertificate   string // PEM file; "" for none
	TLSKey           string
}

// DefaultServeAddress reaches this computer only.
const DefaultServeAddress = "127.0.0.1:3878"

// serveFile mirrors [serve] in the file.
type serveFile struct {
	Address          *string `toml:"address"`
	PasswordFile     *string `toml:"password_file"`
	LookPasswordFile *string `toml:"look_password_file"`
	TLSCertificate   *string `toml:"tls_certificate"`
	TLSKey           *string `toml:"tls_key"`
}

var serveSettings = []setting{
	serveSetting("address", "where the page is offered, as in 127.0.0.1:3878; another computer needs a password",
		func(f *serveFile) *string { return f.Address }, func(s *Serve) *string { return &s.Address }),
	serveSetting("password_file", "file that holds the password for the diary, or its hash, unless DUSTLOG_SERVE_PASSWORD does",
		func(f *serveFile) *string { return f.PasswordFile }, func(s *Serve) *string { return &s.PasswordFile }),
	serveSetting("look_password_file", "the same for who only looks, unless DUSTLOG_SERVE_LOOK_PASSWORD does",
		func(f *serveFile) *string { return f.LookPasswordFile }, func(s *Serve) *string { return &s.LookPasswordFile }),
	serveSetting("tls_certificate", "PEM file of the certificate, to serve the page encrypted",
		func(f *serveFile) *string { return f.TLSCertificate }, func(s *Serve) *string { return &s.TLSCertificate }),
	serveSetting("tls_key", "PEM file of its key",
		func(f *serveFile) *string { return f.TLSKey }, func(s *Serve) *string { return &s.TLSKey }),
}

func serveSetting(name, help string, inFile func(*serveFile) *string, field func(*Serve) *string) setting {
	return setting{"serve." + name, help,
		func(f *file) *string { return inFile(&f.Serve) },
		func(c *Config) string { return *field(&c.Serve) },
		func(c *Config, v string) error { *field(&c.Serve) = v; return nil }}
}
