package influx_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/influx"
)

// TestRefusals answers as a server with accounts does when it refuses. The
// server of the other tests has none.
func TestRefusals(t *testing.T) {
	for _, test := range []struct {
		status int
		want   string
		is     error
	}{
		{http.StatusUnauthorized, "set DUSTLOG_INFLUX_TOKEN", nil},
		{http.StatusForbidden, "check the token's rights and that Flux is enabled", nil},
		{http.StatusNotFound, "make the database on the server first", dust.ErrNoStore},
		{http.StatusTooManyRequests, "try again later", dust.ErrStoreBusy},
		{http.StatusServiceUnavailable, "try again later", dust.ErrStoreBusy},
		{http.StatusBadGateway, "502", nil},
	} {
		var sent string
		fake := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			sent = r.Header.Get("Authorization")
			w.WriteHeader(test.status)
		}))
		dsn := strings.Replace(fake.URL, "http://", "influx://", 1) + "/dust"
		_, err := influx.Open(t.Context(), dsn, influx.Options{Token: "reader:my secret", Org: "shop"})
		fake.Close()
		require.Equal(t, "Token reader:my secret", sent)
		require.ErrorContains(t, err, test.want)
		require.NotContains(t, err.Error(), "secret")
		if test.is != nil {
			require.ErrorIs(t, err, test.is)
		}
	}
}
