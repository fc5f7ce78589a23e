package sensor_test

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// vectorFolder holds the wire examples; its README says where they come from.
const vectorFolder = "../../testdata/vectors"

// vectorFiles says which file's vectors a model must pass.
var vectorFiles = map[sensor.Model]string{
	sensor.PMSA003: "pms7003", // send what a PMS7003 sends
	sensor.PMS1003: "pms7003",
}

type vector struct {
	ID        string `json:"id"`
	Name      string `json:"name"`
	Direction string `json:"direction"`
	Hex       string `json:"hex"`
	Source    string `json:"source"`
	Chunks    []int  `json:"chunks"`
	Expect    struct {
		Frames []struct {
			Kind   string            `json:"kind"`
			Fields map[string][2]any `json:"fields"`
		} `json:"frames"`
		Errors            []string `json:"errors"`
		FramesBeforeFlush *int     `json:"frames_before_flush"`
	} `json:"expect"`
}

func (v vector) bytes(t testing.TB) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(v.Hex, " ", ""))
	require.NoError(t, err, v.ID)
	return b
}

// vectors reads a model's vectors; none is a failure, so that a lost file cannot
// pass for a passed test.
func vectors(t testing.TB, m sensor.Model) []vector {
	t.Helper()
	name := string(m)
	if file, ok := vectorFiles[m]; ok {
		name = file
	}
	text, err := os.ReadFile(filepath.Join(vectorFolder, name+".json"))
	require.NoError(t, err)
	var file struct {
		Schema  string   `json:"schema"`
		Sensor  string   `json:"sensor"`
		Vectors []vector `json:"vectors"`
	}
	require.NoError(t, json.Unmarshal(text, &file))
	require.Equal(t, "dustlog-vectors/1", file.Schema)
	require.Equal(t, name, file.Sensor)
	require.NotEmpty(t, file.Vectors)
	for _, v := range file.Vectors {
		require.NotEmpty(t, v.Source, v.ID)
	}
	return file.Vectors
}

// heard is everything a decoder said, in comparable form.
type heard struct {
	Kinds  []string
	Fields [][]sensor.Field
	Values []dust.Values
	Flags  []dust.Flags
	Raw    []string
	Counts sensor.Counts
	Before int // frames delivered before Flush
}

func (h *heard) note(f *sensor.Frame) {
	h.Kinds = append(h.Kinds, f.Kind)
	var fields []sensor.Field
	for field := range f.Fields() {
		fields = append(fields, field)
	}
	h.Fields = append(h.Fields, fields)
	h.Values = append(h.Values, *f.Values())
	h.Flags = append(h.Flags, f.Flags)
	h.Raw = append(h.Raw, hex.EncodeToString(f.Raw()))
}

// feed gives stream to a fresh decoder in pieces of the given sizes, the last
// size repeating.
func feed(t testing.TB, m sensor.Model, stream []byte, chunks ...int) heard {
	t.Helper()
	dec, err := sensor.NewDecoder(m)
	require.NoError(t, err)
	var h heard
	for i := 0; len(stream) > 0; i++ {
		n := len(stream)
		if len(chunks) > 0 {
			n = min(n, chunks[min(i, len(chunks)-1)])
		}
		piece := bytes.Clone(stream[:n]) // a decoder must not keep the caller's bytes
		dec.Feed(piece, h.note)
		clear(piece)
		stream = stream[n:]
	}
	h.Before = len(h.Kinds)
	dec.Flush(h.note)
	h.Counts = dec.Counts()
	return h
}

// read decodes through a Reader.
func read(t testing.TB, m sensor.Model, r io.Reader) heard {
	t.Helper()
	reader, err := sensor.NewReader(m, r)
	require.NoError(t, err)
	var h heard
	for {
		f, err := reader.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		h.note(f)
	}
	h.Counts = reader.Counts()
	return h
}

func TestVectorsFromDevice(t *testing.T) {
	for _, m := range sensor.Models() {
		tested := 0
		for _, v := range vectors(t, m) {
			if v.Direction != "device_to_host" {
				continue
			}
			tested++
			t.Run(v.ID+"/"+string(m), func(t *testing.T) {
				stream := v.bytes(t)
				got := feed(t, m, stream, v.Chunks...)
				requireVector(t, v, got)
				for size := 1; size <= len(stream); size++ {
					require.Equal(t, got, feed(t, m, stream, size), "pieces of %d", size)
				}
				for cut := 1; cut < len(stream); cut++ {
					require.Equal(t, got, feed(t, m, stream, cut, len(stream)), "cut at %d", cut)
				}
				got.Before = 0
				for name, wrap := range map[string]func(io.Reader) io.Reader{
					"plain":    func(r io.Reader) io.Reader { return r },
					"one byte": iotest.OneByteReader,
					"half":     iotest.HalfReader,
					"data+err": iotest.DataErrReader,
				} {
					require.Equal(t, got, read(t, m, wrap(bytes.NewReader(stream))), name)
				}
			})
		}
		require.NotZero(t, tested, m)
	}
}

func requireVector(t *testing.T, v vector, got heard) {
	t.Helper()
	require.Len(t, got.Kinds, len(v.Expect.Frames), v.Name)
	for i, want := range v.Expect.Frames {
		require.Equal(t, want.Kind, got.Kinds[i])
		require.Len(t, got.Fields[i], len(want.Fields))
		for _, field := range got.Fields[i] {
			expected, ok := want.Fields[field.Name]
			require.True(t, ok, "field %s is not expected", field.Name)
			require.Equal(t, expected[1], field.Unit, field.Name)
			switch x := expected[0].(type) {
			case nil:
				require.True(t, field.Missing, field.Name)
			case string:
				require.Equal(t, x, field.Text, field.Name)
			case float64:
				require.False(t, field.Missing, field.Name)
				require.InDelta(t, x, field.Value, 1e-6*math.Abs(x), field.Name)
			default:
				require.Fail(t, "vector has a value of unknown type", field.Name)
			}
		}
	}
	requireChannels(t, got)
	if n := v.Expect.FramesBeforeFlush; n != nil {
		require.Equal(t, *n, got.Before, "frames before the line fell silent")
	}
	var total int64
	counted := map[string]int64{}
	for kind, n := range got.Counts.ByKind {
		counted[sensor.ErrorKind(kind).String()] = n
		total += n
	}
	for _, kind := range v.Expect.Errors {
		require.Positive(t, counted[kind], kind)
	}
	require.Equal(t, total, got.Counts.ChecksumErrors+got.Counts.OtherErrors)
	require.Equal(t, counted["bad_checksum"], got.Counts.ChecksumErrors)
	require.EqualValues(t, len(got.Kinds), got.Counts.Frames)
}

// perChannelUnit turns a wire unit into the unit of the channel.
var perChannelUnit = map[string]float64{"1/0.1L": 1.0 / 100, "nm": 1.0 / 1000}

// requireChannels checks that the channels of each frame are its wire fields, unit
// by unit, and that there are no others.
func requireChannels(t *testing.T, got heard) {
	t.Helper()
	for i, fields := range got.Fields {
		channels := 0
		for _, field := range fields {
			c, ok := field.Channel()
			if !ok {
				continue
			}
			x, has := got.Values[i].Get(c)
			require.Equal(t, !field.Missing, has, field.Name)
			if !has {
				continue
			}
			channels++
			factor := 1.0
			if f, ok := perChannelUnit[field.Unit]; ok {
				factor = f
			}
			require.InDelta(t, field.Value*factor, x, 1e-9*math.Abs(x), field.Name)
		}
		require.Equal(t, got.Values[i].Len(), channels, "%s has channels that no field explains", got.Kinds[i])
	}
}

// requests says how to make the request that a vector describes.
var requests = map[string]func() ([]byte, error){
	"pub-pms5003-14": named(sensor.PMS5003, "read"),
	"pub-pms5003-15": named(sensor.PMS5003, "passive"),
	"pub-pms5003-16": named(sensor.PMS5003, "active"),
	"pub-pms5003-17": named(sensor.PMS5003, "sleep"),
	"pub-pms5003-18": named(sensor.PMS5003, "wake"),

	"pub-sds011-16": named(sensor.SDS011, "read"),
	"pub-sds011-17": sds(sensor.SDSRequest{Sub: 2, Set: 1, Value: 1, Device: 0xA160}),
	"pub-sds011-18": named(sensor.SDS011, "keep_active"),
	"pub-sds011-19": sds(sensor.SDSRequest{Sub: 6, Set: 1, Value: 0, Device: 0xA160}),
	"pub-sds011-20": sds(sensor.SDSRequest{Sub: 6, Set: 1, Value: 1, Device: 0xA160}),
	"pub-sds011-21": sds(sensor.SDSRequest{Sub: 8, Set: 1, Value: 1, Device: 0xA160}),
	"pub-sds011-22": sds(sensor.SDSRequest{Sub: 7, Device: 0xA160}),
	"pub-sds011-23": sds(sensor.SDSRequest{Sub: 5, NewID: 0xA001, Device: 0xA160}),

	"pub-sps30-05": named(sensor.SPS30, "auto_clean"),
	"pub-sps30-21": named(sensor.SPS30, "start_float"),
	"pub-sps30-22": named(sensor.SPS30, "start_uint16"),
	"pub-sps30-23": named(sensor.SPS30, "stop"),
	"pub-sps30-24": named(sensor.SPS30, "read"),
	"pub-sps30-25": named(sensor.SPS30, "sleep"),
	"pub-sps30-26": named(sensor.SPS30, "clean"),
	"pub-sps30-27": named(sensor.SPS30, "status"),
	"pub-sps30-28": named(sensor.SPS30, "serial_number"),
	"pub-sps30-29": named(sensor.SPS30, "reset"),
	"pub-sps30-30": named(sensor.SPS30, "wake"),

	"pub-hpma115s0-13": named(sensor.HPMA115S0, "read"),
	"pub-hpma115s0-14": named(sensor.HPMA115S0, "wake"),
	"pub-hpma115s0-15": named(sensor.HPMA115S0, "sleep"),
	"pub-hpma115s0-16": func() ([]byte, error) { return sensor.HPMASetCoefficient(100) },
	"pub-hpma115s0-17": named(sensor.HPMA115S0, "coefficient"),
	"pub-hpma115s0-18": named(sensor.HPMA115S0, "passive"),
	"pub-hpma115s0-19": named(sensor.HPMA115S0, "active"),

	"pub-zh06-10": named(sensor.ZH06, "read"),
	"pub-zh06-11": named(sensor.ZH06, "passive"),
	"pub-zh06-12": named(sensor.ZH06, "active"),
	"pub-zh06-13": named(sensor.ZH06, "sleep"),
	"pub-zh06-14": named(sensor.ZH06, "wake"),
}

func named(m sensor.Model, name string) func() ([]byte, error) {
	return func() ([]byte, error) { return sensor.Command(m, name) }
}

func sds(r sensor.SDSRequest) func() ([]byte, error) {
	return func() ([]byte, error) { return r.Bytes(), nil }
}

func TestVectorsToDevice(t *testing.T) {
	tested := 0
	for _, m := range sensor.Models() {
		if _, alias := vectorFiles[m]; alias {
			continue
		}
		for _, v := range vectors(t, m) {
			if v.Direction != "host_to_device" {
				continue
			}
			tested++
			t.Run(v.ID, func(t *testing.T) {
				request, ok := requests[v.ID]
				require.True(t, ok, "no request is known for %q", v.Name)
				got, err := request()
				require.NoError(t, err)
				require.Equal(t, v.bytes(t), got, v.Name)
			})
		}
	}
	require.Equal(t, len(requests), tested)
}

func TestEveryVectorFileHasAModel(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(vectorFolder, "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		_, err := sensor.ParseModel(strings.TrimSuffix(filepath.Base(file), ".json"))
		require.NoError(t, err)
	}
}
