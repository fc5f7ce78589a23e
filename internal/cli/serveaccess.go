package cli

import (
	"errors"
	"fmt"
	"log"
	"log/slog"
	"net"
	"os"
	"strings"

	"github.com/piglig/go-qr"

	"dustlog/internal/config"
	"dustlog/internal/web"
)

const (
	writePasswordVariable = "DUSTLOG_SERVE_PASSWORD"
	lookPasswordVariable  = "DUSTLOG_SERVE_LOOK_PASSWORD"
)

// access says who may see the page. An address that other computers can reach
// demands a password.
func (a *app) access(cfg config.Config) (web.Access, error) {
	access := web.Access{TLS: cfg.Serve.TLSCertificate != ""}
	wrong := func(setting string, err error) (web.Access, error) {
		return access, fmt.Errorf("%w: serve.%s (from %s): %w", config.ErrSetting, setting, cfg.Origin("serve."+setting), err)
	}
	if access.TLS != (cfg.Serve.TLSKey != "") {
		return wrong("tls_key", errors.New("a certificate and its key go together: give both or neither"))
	}
	var err error
	if access.Write, err = a.password(writePasswordVariable, cfg.Serve.PasswordFile); err != nil {
		return access, err
	}
	if access.Look, err = a.password(lookPasswordVariable, cfg.Serve.LookPasswordFile); err != nil {
		return access, err
	}
	if access.Look != nil && access.Write == nil {
		return access, fmt.Errorf("%w: %s is set and %s is not: who writes the diary needs a password too", config.ErrSetting, lookPasswordVariable, writePasswordVariable)
	}
	host, _, err := net.SplitHostPort(cfg.Serve.Address)
	if err != nil {
		return wrong("address", fmt.Errorf("%q: write it as host:port", cfg.Serve.Address))
	}
	if loopback(host) {
		access.Hosts = []string{"localhost", "127.0.0.1", "::1", host}
	} else if access.Write == nil {
		return wrong("address", fmt.Errorf("%s can be reached from other computers: set a password in %s, or in a file that serve.password_file names; or listen at %s",
			cfg.Serve.Address, writePasswordVariable, config.DefaultServeAddress))
	}
	return access, nil
}

// loopback reports whether a host reaches this computer only.
func loopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// password takes a password from the environment, else from a file; nil if there
// is none.
func (a *app) password(variable, file string) (*web.Password, error) {
	text, ok := a.LookupEnv(variable)
	from := variable
	if !ok {
		if file == "" {
			return nil, nil
		}
		content, err := os.ReadFile(file)
		if err != nil {
			return nil, fmt.Errorf("%w: the page's password: %w", config.ErrSetting, err)
		}
		text, from = strings.TrimRight(string(content), "\r\n"), file
	}
	p, err := web.ReadPassword(text)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", config.ErrSetting, from, err)
	}
	return p, nil
}

// tell says where the page is.
func (p *shopPage) tell() {
	address := p.address()
	p.a.remark("the page is at %s; Ctrl-C ends", address)
	host, _, _ := net.SplitHostPort(p.listen.Addr().String())
	if p.a.quiet || loopback(host) {
		return
	}
	if p.cfg.TLSCertificate == "" {
		p.a.remark("it is not encrypted: whoever is in the same network can read along, the password too; see `dustlog serve --help`")
	}
	code, err := qrCode(address)
	if err != nil {
		p.a.log().Warn("no QR code can be made of the address", "error", err)
		return
	}
	fmt.Fprint(p.a.Stderr, code)
}

// address is what to type on a telephone. It never holds a secret.
func (p *shopPage) address() string {
	scheme := "http"
	if p.cfg.TLSCertificate != "" {
		scheme = "https"
	}
	host, port, _ := net.SplitHostPort(p.listen.Addr().String())
	if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
		host = ownAddress()
	}
	return scheme + "://" + net.JoinHostPort(host, port) + "/"
}

// ownAddress is this computer's first address in a network, by preference a private
// one of version 4.
func ownAddress() string {
	found := "localhost"
	addresses, _ := net.InterfaceAddrs()
	for _, one := range addresses {
		network, ok := one.(*net.IPNet)
		if !ok || !network.IP.IsGlobalUnicast() {
			continue
		}
		if network.IP.To4() != nil && network.IP.IsPrivate() {
			return network.IP.String()
		}
		if found == "localhost" {
			found = network.IP.String()
		}
	}
	return found
}

// qrCode draws a text for a camera, two rows of squares to a line. Light squares
// are drawn and dark ones left, as terminals are mostly dark; the quiet zone of
// four squares makes it readable on light ones too.
func qrCode(text string) (string, error) {
	code, err := go_qr.EncodeText(text, go_qr.Medium)
	if err != nil {
		return "", err
	}
	const quiet = 4
	light := func(x, y int) bool {
		return x < 0 || y < 0 || x >= code.Size() || y >= code.Size() || !code.Module(x, y)
	}
	var b strings.Builder
	for y := -quiet; y < code.Size()+quiet; y += 2 {
		for x := -quiet; x < code.Size()+quiet; x++ {
			lower := y+1 < code.Size()+quiet && light(x, y+1)
			b.WriteString(map[[2]bool]string{{true, true}: "█", {true, false}: "▀", {false, true}: "▄", {false, false}: " "}[[2]bool{light(x, y), lower}])
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}

// quietErrors takes what the HTTP server says of bad connections.
func quietErrors(a *app) *log.Logger { return slog.NewLogLogger(a.log().Handler(), slog.LevelDebug) }
