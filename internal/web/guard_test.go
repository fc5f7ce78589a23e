package web

import (
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func locked(t *testing.T) (*shop, *bytes.Buffer) {
	t.Helper()
	var log bytes.Buffer
	write, err := NewPassword("write-password")
	require.NoError(t, err)
	look, err := NewPassword("look-password")
	require.NoError(t, err)
	return newShop(t, func(o *Options) {
		o.Access = Access{Write: write, Look: look}
		o.Log = slog.New(slog.NewTextHandler(&log, nil))
	}), &log
}

// request is one with a cookie and, for a browser's page, the headers it sends.
func request(method, path, body string, cookie *http.Cookie) *http.Request {
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Header.Set("Accept", "text/html,application/xhtml+xml")
	if body != "" {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if cookie != nil {
		r.AddCookie(cookie)
	}
	return r
}

func (s *shop) answer(r *http.Request) *http.Response {
	w := httptest.NewRecorder()
	s.Handler().ServeHTTP(w, r)
	return w.Result()
}

// logIn gives the cookie of a session.
func (s *shop) logIn(password string) *http.Cookie {
	s.t.Helper()
	answer := s.answer(request(http.MethodPost, "/login", "password="+password, nil))
	require.Equal(s.t, http.StatusSeeOther, answer.StatusCode)
	for _, c := range answer.Cookies() {
		if c.MaxAge > 0 {
			return c
		}
	}
	s.t.Fatal("no cookie")
	return nil
}

func TestTheRolesOfTheTwoPasswords(t *testing.T) {
	s, log := locked(t)
	require.Equal(t, http.StatusSeeOther, s.answer(request(http.MethodGet, "/", "", nil)).StatusCode, "to the login")
	for _, path := range []string{"/live", "/dock", "/trace", "/trace.svg"} {
		r := request(http.MethodGet, path, "", nil)
		r.Header.Set("Accept", "*/*")
		require.Equal(t, http.StatusUnauthorized, s.answer(r).StatusCode, path)
	}
	require.Equal(t, http.StatusUnauthorized, s.answer(request(http.MethodPost, "/diary/enter", "kind=note&text=x", nil)).StatusCode)

	look, write := s.logIn("look-password"), s.logIn("write-password")
	require.Equal(t, http.StatusOK, s.answer(request(http.MethodGet, "/", "", look)).StatusCode)
	require.Equal(t, http.StatusForbidden, s.answer(request(http.MethodPost, "/diary/enter", "kind=note&text=x", look)).StatusCode)
	require.Equal(t, http.StatusSeeOther, s.answer(request(http.MethodPost, "/diary/enter", "kind=note&text=x", write)).StatusCode)

	require.Equal(t, http.StatusSeeOther, s.answer(request(http.MethodPost, "/logout", "", write)).StatusCode)
	require.Equal(t, http.StatusUnauthorized, s.answer(request(http.MethodPost, "/diary/enter", "kind=note&text=x", write)).StatusCode)
	for _, secret := range []string{"write-password", "look-password", look.Value, write.Value} {
		require.NotContains(t, log.String(), secret)
	}
	require.Contains(t, log.String(), "somebody logged in")
}

func TestTheCookie(t *testing.T) {
	s, _ := locked(t)
	c := s.logIn("look-password")
	require.True(t, c.HttpOnly)
	require.Equal(t, http.SameSiteStrictMode, c.SameSite)
	require.Equal(t, "/", c.Path)
	require.GreaterOrEqual(t, len(c.Value), 26, "128 bits in base 32")
	s.clock.add(sessionLasts / 2)
	require.Equal(t, 200, s.answer(request(http.MethodGet, "/", "", c)).StatusCode, "used, so it lasts on")
	s.clock.add(sessionLasts + time.Second)
	require.Equal(t, http.StatusSeeOther, s.answer(request(http.MethodGet, "/", "", c)).StatusCode)

	s.guard.sessions.tls = true
	c = s.logIn("look-password")
	require.True(t, c.Secure)
	require.Equal(t, "__Host-dustlog", c.Name)
}

func TestGuessingIsSlow(t *testing.T) {
	s, log := locked(t)
	guess := func(from, password string) int {
		r := request(http.MethodPost, "/login", "password="+password, nil)
		r.RemoteAddr = from + ":1234"
		return s.answer(r).StatusCode
	}
	for range guessesAtOnce {
		require.Equal(t, http.StatusUnauthorized, guess("192.0.2.1", "wrong-password"))
	}
	require.Equal(t, http.StatusTooManyRequests, guess("192.0.2.1", "write-password"), "not even the right one")
	require.Equal(t, http.StatusSeeOther, guess("192.0.2.2", "write-password"), "others are not kept out")
	s.clock.add(guessEvery)
	require.Equal(t, http.StatusSeeOther, guess("192.0.2.1", "write-password"))
	require.NotContains(t, log.String(), "wrong-password")

	for i := range guessesAtOnce {
		require.Equal(t, http.StatusUnauthorized, guess(fmt.Sprintf("[2001:db8::%d]", i), "wrong-password"))
	}
	require.Equal(t, http.StatusTooManyRequests, guess("[2001:db8::99]", "wrong-password"), "one guest has a whole /64")
}

func TestRequestsAreCounted(t *testing.T) {
	s := newShop(t, nil)
	for range requestsAtOnce {
		s.get(200, "/static/mark.svg")
	}
	s.get(http.StatusTooManyRequests, "/static/mark.svg")
	s.clock.add(requestEvery)
	s.get(200, "/static/mark.svg")
}

func TestManyAddressesTakeLittleMemory(t *testing.T) {
	c := &clock{at: noon}
	throttle := newThrottle(2, time.Minute, c.now)
	for i := range 3 * mostBuckets {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = fmt.Sprintf("10.%d.%d.%d:1", i>>16, i>>8&255, i&255)
		ok, _ := throttle.allow(r)
		require.True(t, ok)
	}
	require.LessOrEqual(t, len(throttle.bucket), mostBuckets)
}

// Another site's name may be made to point to this computer (DNS rebinding).
func TestOtherNamesAreNotServed(t *testing.T) {
	s := newShop(t, func(o *Options) { o.Access.Hosts = []string{"localhost", "127.0.0.1", "::1"} })
	for host, code := range map[string]int{
		"localhost": 200, "localhost:3878": 200, "LOCALHOST:80": 200, "127.0.0.1:3878": 200, "[::1]:3878": 200,
		"evil.example": 421, "evil.example:3878": 421, "localhost.evil.example": 421, "": 421, "127.0.0.1.": 421,
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.Host = host
		require.Equal(t, code, s.answer(r).StatusCode, "host %q", host)
	}
}

func TestOtherSitesCannotWrite(t *testing.T) {
	s := newShop(t, nil)
	for name, header := range map[string][2]string{
		"fetch metadata": {"Sec-Fetch-Site", "cross-site"},
		"same site":      {"Sec-Fetch-Site", "same-site"},
		"origin":         {"Origin", "https://evil.example"},
	} {
		r := request(http.MethodPost, "/diary/enter", "kind=start&name=x", nil)
		r.Header.Set(header[0], header[1])
		require.Equal(t, http.StatusForbidden, s.answer(r).StatusCode, name)
	}
	r := request(http.MethodPost, "/diary/enter", "kind=start&name=x", nil)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	require.Equal(t, http.StatusSeeOther, s.answer(r).StatusCode)
}

func TestEveryAnswerHasTheHeaders(t *testing.T) {
	s := newShop(t, nil)
	for _, path := range []string{"/", "/static/page.css", "/static/page.js", "/nothing", "/login", "/static/../guard.go"} {
		h := s.answer(httptest.NewRequest(http.MethodGet, path, nil)).Header
		policy := h.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'", path)
		require.NotContains(t, policy, "unsafe", path)
		require.NotContains(t, policy, "http", path)
		require.Equal(t, "nosniff", h.Get("X-Content-Type-Options"), path)
		require.Equal(t, "no-referrer", h.Get("Referrer-Policy"), path)
		require.Equal(t, "DENY", h.Get("X-Frame-Options"), path)
	}
}

// The policy forbids inline script and style, so a page may have none.
func TestPagesHaveNothingInline(t *testing.T) {
	s := newShop(t, nil)
	s.sensor("bench", "breathing_zone", 100, 30, 0)
	page := s.get(200, "/")
	for _, not := range []string{"<style", " style=", "<script>", "javascript:", " onclick", " onload", "http://", "https://"} {
		require.NotContains(t, page, not)
	}
}

func TestPasswords(t *testing.T) {
	p, err := NewPassword("a good password")
	require.NoError(t, err)
	require.True(t, p.Matches("a good password"))
	require.False(t, p.Matches("a good passwore"))
	require.False(t, p.Matches(""))
	require.False(t, p.Matches(strings.Repeat("x", 1<<20)))
	require.False(t, (*Password)(nil).Matches(""))
	require.True(t, strings.HasPrefix(p.String(), "$argon2id$v=19$m=19456,t=2,p=1$"))
	again, err := ReadPassword(p.String())
	require.NoError(t, err)
	require.True(t, again.Matches("a good password"))
	for _, bad := range []string{"short", strings.Repeat("x", 300), "$argon2id$", "$argon2id$v=19$m=99999999,t=2,p=1$AAAAAAAAAAAAAAAAAAAAAA$" + strings.Repeat("A", 43)} {
		_, err := ReadPassword(bad)
		require.Error(t, err, bad)
	}
}

// A hash made elsewhere is understood: by the command line of the reference
// implementation (Debian's argon2 0~20171227-0.3), with
// printf correcthorse | argon2 saltsalt -id -t 2 -k 19456 -p 1 -l 32 -e
func TestAHashMadeElsewhere(t *testing.T) {
	p, err := ReadPassword("$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$5W4rbWdMXvpWIiNolym4dGxhHLmMpQ/aiQWcUpf2HJ4")
	require.NoError(t, err)
	require.True(t, p.Matches("correcthorse"))
	require.False(t, p.Matches("correcthorsf"))
}

// A session from before the login is not the one from after it.
func TestALoginMakesANewSession(t *testing.T) {
	s, _ := locked(t)
	old := s.logIn("look-password")
	answer := s.answer(request(http.MethodPost, "/login", "password=write-password", old))
	require.Equal(t, http.StatusSeeOther, answer.StatusCode)
	require.Equal(t, http.StatusSeeOther, s.answer(request(http.MethodGet, "/", "", old)).StatusCode, "the old one is no longer known")
	planted := &http.Cookie{Name: old.Name, Value: "planted"}
	for _, c := range s.answer(request(http.MethodPost, "/login", "password=look-password", planted)).Cookies() {
		require.NotEqual(t, planted.Value, c.Value)
	}
}

// A password in an address would be in histories and logs: it opens nothing, and no
// address that the page makes holds one.
func TestNoSecretIsInAnAddress(t *testing.T) {
	s, log := locked(t)
	r := request(http.MethodGet, "/?password=write-password", "", nil)
	require.Equal(t, "/login", s.answer(r).Header.Get("Location"))
	require.Equal(t, http.StatusOK, s.answer(request(http.MethodGet, "/login?password=write-password", "", nil)).StatusCode, "still the form")
	r = request(http.MethodPost, "/login?password=write-password", "", nil)
	require.Equal(t, http.StatusUnauthorized, s.answer(r).StatusCode)
	answer := s.answer(request(http.MethodPost, "/login", "password=write-password", nil))
	require.Equal(t, "/", answer.Header.Get("Location"))
	require.NotContains(t, log.String(), "write-password")
	require.Contains(t, s.get(200, "/login"), `method="post"`)
}

func TestALargeFormIsNotRead(t *testing.T) {
	s, _ := locked(t)
	answer := s.answer(request(http.MethodPost, "/login", "x="+strings.Repeat("a", 1<<20)+"&password=write-password", nil))
	require.Equal(t, http.StatusUnauthorized, answer.StatusCode)
}

// Who guessed too often is told so on the login, with the time to wait.
func TestTheLoginSaysHowLongToWait(t *testing.T) {
	s, _ := locked(t)
	for range guessesAtOnce {
		s.answer(request(http.MethodPost, "/login", "password=wrong-password", nil))
	}
	answer := s.answer(request(http.MethodPost, "/login", "password=write-password", nil))
	require.Equal(t, http.StatusTooManyRequests, answer.StatusCode)
	require.Equal(t, "30", answer.Header.Get("Retry-After"))
	text, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.Contains(t, string(text), "try again in 30 s")
	require.Contains(t, string(text), `type="password"`)
}

func TestAnUnknownAddressHasAPage(t *testing.T) {
	s := newShop(t, nil)
	require.Contains(t, s.get(http.StatusNotFound, "/nothing"), "There is no page at this address.")
}

// Whoever may only look is offered nothing to write with, on no page.
func TestALookerSeesNoButtons(t *testing.T) {
	s, _ := locked(t)
	s.sensor("bench", "breathing_zone", 100, 30, 0)
	s.post(http.StatusUnauthorized, "/diary/enter", "kind", "start", "name", "sanding")
	look, write := s.logIn("look-password"), s.logIn("write-password")
	s.answer(request(http.MethodPost, "/diary/enter", "kind=start&name=sanding", write))
	for _, path := range []string{"/", "/diary", "/dock"} {
		for cookie, offered := range map[*http.Cookie]bool{look: false, write: true} {
			text, err := io.ReadAll(s.answer(request(http.MethodGet, path, "", cookie)).Body)
			require.NoError(t, err)
			require.Contains(t, string(text), "Sanding")
			require.Equal(t, offered, strings.Contains(string(text), "/diary/enter"), path)
		}
	}
}
