package cli

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/store/sqlite"
)

// certify writes a certificate for this computer and its key, and returns who vouches.
func certify(t *testing.T, folder string) *x509.CertPool {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test shop"}, NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	write := func(name, kind string, content []byte) {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: content}), 0o600))
	}
	write("cert.pem", "CERTIFICATE", der)
	write("key.pem", "PRIVATE KEY", secret)
	parsed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	pool := x509.NewCertPool()
	pool.AddCert(parsed)
	return pool
}

// told is what the program says, and tells when the address is among it.
type told struct {
	mu   sync.Mutex
	text strings.Builder
	at   chan string
}

func (o *told) Write(b []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.text.Write(b)
	if _, rest, ok := strings.Cut(o.text.String(), "the page is at "); ok && o.at != nil {
		o.at <- strings.TrimSuffix(strings.Fields(rest)[0], ";")
		o.at = nil
	}
	return len(b), nil
}

func (o *told) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.text.String()
}

// The page behind a certificate: cookies go no other way, an older protocol is not
// spoken, and no secret is said.
func TestThePageBehindACertificate(t *testing.T) {
	folder := t.TempDir()
	pool := certify(t, folder)
	store, err := sqlite.Open(t.Context(), filepath.Join(folder, "s.db"), sqlite.Options{Create: true})
	require.NoError(t, err)
	require.NoError(t, store.Close())
	settings := fmt.Sprintf("store = \"s.db\"\n[serve]\naddress = \"127.0.0.1:0\"\ntls_certificate = %q\ntls_key = %q\n",
		filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem"))
	file := filepath.Join(folder, "dustlog.toml")
	require.NoError(t, os.WriteFile(file, []byte(settings), 0o600))
	address := make(chan string, 1)
	out := &told{at: address}
	env := Env{Stdin: strings.NewReader(""), Stdout: out, Stderr: out, Now: time.Now, LookupEnv: func(name string) (string, bool) {
		return "correct-horse", name == writePasswordVariable
	}}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() { ended <- Main(ctx, []string{"serve", "--config", file}, env) }()
	var at string
	select {
	case at = <-address:
	case code := <-ended:
		t.Fatalf("ended with %d: %s", code, out)
	}
	require.True(t, strings.HasPrefix(at, "https://127.0.0.1:"), at)

	client := &http.Client{
		Transport:     &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
	defer client.CloseIdleConnections()
	answer, err := client.PostForm(at+"login", url.Values{"password": {"correct-horse"}})
	require.NoError(t, err)
	_, err = io.Copy(io.Discard, answer.Body)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	require.Equal(t, http.StatusSeeOther, answer.StatusCode)
	cookies := answer.Cookies()
	last := cookies[len(cookies)-1]
	require.Equal(t, "__Host-dustlog", last.Name)
	require.True(t, last.Secure && last.HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, last.SameSite)

	old := &tls.Dialer{Config: &tls.Config{RootCAs: pool, MaxVersion: tls.VersionTLS11}}
	_, err = old.DialContext(t.Context(), "tcp", strings.TrimSuffix(strings.TrimPrefix(at, "https://"), "/"))
	require.Error(t, err)

	stop()
	require.Equal(t, exitDone, <-ended)
	require.NotContains(t, out.String(), "correct-horse")
	require.NotContains(t, out.String(), last.Value)
	require.NotContains(t, out.String(), "not encrypted")
}

// A client that dawdles is let go: every stage of a request has its time.
func TestEveryStageOfARequestHasItsTime(t *testing.T) {
	folder := t.TempDir()
	store, err := sqlite.Open(t.Context(), filepath.Join(folder, "s.db"), sqlite.Options{Create: true})
	require.NoError(t, err)
	defer store.Close()
	file := filepath.Join(folder, "dustlog.toml")
	require.NoError(t, os.WriteFile(file, []byte("store = \"s.db\"\n[serve]\naddress = \"127.0.0.1:0\"\n"), 0o600))
	a := &app{Env: Env{Stderr: io.Discard, Now: time.Now, LookupEnv: func(string) (string, bool) { return "", false }}, configPath: file}
	cfg, err := a.load(nil)
	require.NoError(t, err)
	page, err := a.openPage(t.Context(), cfg, store, true, nil)
	require.NoError(t, err)
	defer page.page.Close()
	defer page.listen.Close()
	for name, limit := range map[string]time.Duration{
		"header": page.http.ReadHeaderTimeout, "request": page.http.ReadTimeout, "answer": page.http.WriteTimeout, "idle": page.http.IdleTimeout,
	} {
		require.Positive(t, limit, name)
		require.LessOrEqual(t, limit, 2*time.Minute, name)
	}
	require.Positive(t, page.http.MaxHeaderBytes)
	host, _, err := net.SplitHostPort(page.listen.Addr().String())
	require.NoError(t, err)
	require.True(t, net.ParseIP(host).IsLoopback())
}
