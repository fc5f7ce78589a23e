package cli

import (
	"image"
	"image/color"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/piglig/go-qr"
	"github.com/stretchr/testify/require"

	"dustlog/internal/config"
)

// The drawn code is read back from the characters, as a camera would.
func TestTheCodeHoldsTheAddress(t *testing.T) {
	for _, address := range []string{"http://192.168.1.20:3878/", "https://[2001:db8::1]:3878/"} {
		text, err := qrCode(address)
		require.NoError(t, err)
		const scale = 8
		rows := strings.Split(strings.TrimRight(text, "\n"), "\n")
		width := len([]rune(rows[0]))
		picture := image.NewGray(image.Rect(0, 0, width*scale, 2*len(rows)*scale))
		for y, row := range rows {
			require.Len(t, []rune(row), width)
			for x, r := range []rune(row) {
				for half, light := range []bool{r == '█' || r == '▀', r == '█' || r == '▄'} {
					if !light {
						continue
					}
					for i := range scale * scale {
						picture.Set(x*scale+i%scale, (2*y+half)*scale+i/scale, color.White)
					}
				}
			}
		}
		read, err := go_qr.Decode(picture)
		require.NoError(t, err)
		require.Equal(t, address, read)
	}
}

func TestWhoMayReachThePage(t *testing.T) {
	file := filepath.Join(t.TempDir(), "password")
	require.NoError(t, os.WriteFile(file, []byte("correct-horse\n"), 0o600))
	a := &app{Env: Env{LookupEnv: func(string) (string, bool) { return "", false }}}
	for address, alone := range map[string]bool{
		"127.0.0.1:3878": true, "localhost:0": true, "[::1]:3878": true, "127.0.0.9:1": true,
		"0.0.0.0:3878": false, ":3878": false, "[::]:3878": false, "192.168.1.20:3878": false, "shop.local:3878": false,
	} {
		access, err := a.access(config.Config{Serve: config.Serve{Address: address}})
		if !alone {
			require.ErrorIs(t, err, config.ErrSetting, address)
			access, err = a.access(config.Config{Serve: config.Serve{Address: address, PasswordFile: file}})
			require.NoError(t, err, address)
			require.True(t, access.Write.Matches("correct-horse"), "the line's end is no part of it")
			continue
		}
		require.NoError(t, err, address)
		require.NotEmpty(t, access.Hosts, "%s: other names are refused", address)
	}
}
