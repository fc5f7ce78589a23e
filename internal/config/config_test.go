package config_test

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/config"
)

func write(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "dustlog.toml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	return path
}

func environment(pairs map[string]string) func(string) (string, bool) {
	return func(name string) (string, bool) { v, ok := pairs[name]; return v, ok }
}

func TestFlagBeatsVariableBeatsFileBeatsDefault(t *testing.T) {
	path := write(t, "store = \"file.db\"\n[shop]\nlimit = \"uk-hard\"\nsmallest_change_percent = 20\n[collect]\ncommit_every = \"2s\"\n")
	c, err := config.Load(config.Sources{
		Path:      path,
		LookupEnv: environment(map[string]string{"DUSTLOG_SHOP_LIMIT": "uk-soft", "DUSTLOG_STORE": "env.db"}),
		Flags:     map[string]string{"store": "flag.db"},
	})
	require.NoError(t, err)
	require.Equal(t, "flag.db", c.Store)
	require.Equal(t, "flag", c.Origin("store"))
	require.Equal(t, "uk-soft", c.Shop.Limit)
	require.Equal(t, "DUSTLOG_SHOP_LIMIT", c.Origin("shop.limit"))
	require.InDelta(t, 20, c.Shop.SmallestChange, 0)
	require.Equal(t, path, c.Origin("shop.smallest_change_percent"))
	require.Equal(t, config.Industrial, c.Shop.MassScale)
	beside, err := config.Load(config.Sources{Path: path})
	require.NoError(t, err)
	require.Equal(t, filepath.Join(filepath.Dir(path), "file.db"), beside.Store, "a file's paths start at the file")
	require.Equal(t, "default", c.Origin("shop.mass_scale"))
	require.Equal(t, 2*time.Second, c.CommitEvery)
}

func TestEveryScalarIsShown(t *testing.T) {
	c, err := config.Load(config.Sources{Store: "x.db"})
	require.NoError(t, err)
	require.Len(t, c.Scalars(), 28)
	for _, s := range c.Scalars() {
		require.NotEmpty(t, s.Help, s.Name)
		require.Equal(t, "default", s.Origin)
	}
}

func TestMistakesInTheFileNameTheirPlace(t *testing.T) {
	for name, test := range map[string]struct{ text, want string }{
		"unknown key":    {"[shop]\nnmae = \"x\"\n", `:2:1: unknown key "shop.nmae"`},
		"syntax":         {"[shop]\nname = \n", ":2:"},
		"type":           {"[shop]\nname = 7\n", ":2:"},
		"no port":        {"[[sensor]]\nname = \"a\"\nmodel = \"sps30\"\n", `sensor 1 ("a") needs model, position, and port, usb_serial or usb_path`},
		"no name":        {"[[sensor]]\nmodel = \"sps30\"\n", "sensor 1 has no name"},
		"name twice":     {sensor("a", "/dev/1") + sensor("a", "/dev/2"), `sensor 2: a sensor named "a" is there already`},
		"port twice":     {sensor("a", "/dev/1") + sensor("b", "/dev/1"), `sensors "a" and "b" name the same port /dev/1`},
		"socket twice":   {byUSB("a", "usb_path = \"1-1:1.0\"") + byUSB("b", "usb_path = \"1-1:1.0\""), `sensors "a" and "b" name the same usb_path 1-1:1.0`},
		"mode":           {byUSB("a", "port = \"/dev/1\"\nmode = \"lazy\""), `mode "lazy": use "active" or "passive"`},
		"duty":           {byUSB("a", "port = \"/dev/1\"\nduty = \"5m/60s\""), `duty "5m/60s": give the time on`},
		"no duty":        {byUSB("a", "port = \"/dev/1\"\nduty = \"often\""), `duty "often": give the time on`},
		"bare factor":    {sensor("a", "/dev/1") + "[sensor.factor]\nfactor = 3.4\n", "a factor needs factor > 0, fraction, date and source"},
		"factor's day":   {sensor("a", "/dev/1") + goodFactor + "expires = \"next year\"\n", "expires \"next year\" is no day"},
		"factor's error": {sensor("a", "/dev/1") + goodFactor + "uncertainty_percent = -5\n", "must not be below zero"},
		"kappa":          {sensor("a", "/dev/1") + "humidity_kappa = 5.0\n", "humidity_kappa 5: give 0 to 2"},
		"commit too far": {"[collect]\ncommit_every = \"2m\"\n", `:2: collect.commit_every: "2m": give a time from 1s to 60s`},
		"forward":        {"[forward]\nevery = \"2h\"\n", `forward.every: "2h": give a time from 1s to 1h`},
		"zone":           {"[shop]\nzone = \"Mars/Base\"\n", "IANA"},
		"scale":          {"[shop]\nmass_scale = \"both\"\n", `use "industrial" or "atmospheric"`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := config.Load(config.Sources{Path: write(t, test.text)})
			require.ErrorIs(t, err, config.ErrFile)
			require.ErrorContains(t, err, test.want)
			require.ErrorContains(t, err, "dustlog.toml")
		})
	}
}

// byUSB is a sensor whose port is named by the given line.
func byUSB(name, place string) string {
	return fmt.Sprintf("[[sensor]]\nname = %q\nmodel = \"pms5003\"\nposition = \"room\"\n%s\n", name, place)
}

func TestAPortMayBeNamedByItsAdapter(t *testing.T) {
	text := byUSB("a", "usb_serial = \"0001\"\nusb_path = \"1-1:1.0\"") + byUSB("b", "usb_serial = \"0001\"\nusb_path = \"1-2:1.0\"\nmode = \"passive\"")
	c, err := config.Load(config.Sources{Path: write(t, text)})
	require.NoError(t, err)
	require.Equal(t, "0001", c.Sensors[1].USBSerial)
	require.Equal(t, "1-2:1.0", c.Sensors[1].USBPath)
	require.Equal(t, config.Passive, c.Sensors[1].Mode)
	require.Empty(t, c.Sensors[0].Port)
}

func sensor(name, port string) string {
	return "[[sensor]]\nname = \"" + name + "\"\nmodel = \"sps30\"\nport = \"" + port + "\"\nposition = \"room\"\n"
}

func TestANamedFileMustExistADefaultOneNeedNot(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none.toml")
	_, err := config.Load(config.Sources{Path: missing})
	require.ErrorIs(t, err, config.ErrFile)
	c, err := config.Load(config.Sources{DefaultPath: missing})
	require.NoError(t, err)
	require.Empty(t, c.Path)
}

func FuzzFile(f *testing.F) {
	f.Add("[shop]\nname = \"x\"\n")
	f.Add("[[sensor]]\nname = \"a\"\n[sensor.factor]\nfactor = -1\n")
	f.Add("store = \"\x00\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "c.toml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		c, err := config.Load(config.Sources{Path: path})
		if err == nil {
			require.GreaterOrEqual(t, c.CommitEvery, time.Second)
			require.NotNil(t, c.Shop.Zone)
		}
	})
}

func TestServeSettings(t *testing.T) {
	c, err := config.Load(config.Sources{Path: write(t, "[serve]\naddress = \"0.0.0.0:3878\"\npassword_file = \"p\"\n"),
		LookupEnv: func(name string) (string, bool) { return "k", name == "DUSTLOG_SERVE_TLS_KEY" }})
	require.NoError(t, err)
	require.Equal(t, config.Serve{Address: "0.0.0.0:3878", PasswordFile: "p", TLSKey: "k"}, c.Serve)
	require.Equal(t, "DUSTLOG_SERVE_TLS_KEY", c.Origin("serve.tls_key"))
	c, err = config.Load(config.Sources{})
	require.NoError(t, err)
	require.Equal(t, config.DefaultServeAddress, c.Serve.Address, "only this computer, unless said otherwise")
}

const goodFactor = "[sensor.factor]\nfactor = 3.4\nfraction = \"respirable\"\nsource = \"filters\"\ndate = \"2026-02-01\"\n"

func TestFactorAndHumidity(t *testing.T) {
	path := write(t, `[[sensor]]
name = "a"
model = "sps30"
port = "/dev/1"
position = "room"
humidity_kappa = 0.1
`+goodFactor+`metric = "pm2_5"
uncertainty_percent = 25.0
pairs = 3
valid_from = "2026-01-30"
expires = "2027-02-01"
task = "sawing"
`)
	c, err := config.Load(config.Sources{Path: path})
	require.NoError(t, err)
	require.InDelta(t, 0.1, *c.Sensors[0].HumidityKappa, 0)
	require.Equal(t, config.Factor{Factor: 3.4, Fraction: "respirable", Metric: "pm2_5", UncertaintyPercent: 25, Pairs: 3, Task: "sawing",
		Date: "2026-02-01", ValidFrom: "2026-01-30", Expires: "2027-02-01", Source: "filters"}, *c.Sensors[0].Factor)
}
