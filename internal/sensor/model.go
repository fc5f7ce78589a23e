package sensor

import (
	"fmt"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// Model names a sensor model, which decides protocol and serial settings.
type Model string

// The models. PMSA003 and PMS1003 send what the PMS7003 sends.
const (
	PMS5003   Model = "pms5003"
	PMS7003   Model = "pms7003"
	PMSA003   Model = "pmsa003"
	PMS1003   Model = "pms1003"
	PMS5003T  Model = "pms5003t"
	PMS5003S  Model = "pms5003s"
	PMS5003ST Model = "pms5003st"
	PMS3003   Model = "pms3003"
	SDS011    Model = "sds011"
	SPS30     Model = "sps30"
	HPMA115S0 Model = "hpma115s0"
	HPMA115C0 Model = "hpma115c0"
	SNGCJA5   Model = "sngcja5"
	ZH06      Model = "zh06"
	SDS198    Model = "sds198"     // raw values only
	SenMLLine Model = "senml_line" // text from one's own microcontroller
)

// Parity is the parity bit of a serial line.
type Parity uint8

// The parities in use.
const (
	ParityNone Parity = iota
	ParityEven
)

// String is the letter used in "8N1".
func (p Parity) String() string {
	if p == ParityEven {
		return "E"
	}
	return "N"
}

// Spec is what a model's data sheet states. Slices and maps are shared: do not
// change them.
type Spec struct {
	Model    Model
	Title    string
	Baud     int
	Parity   Parity
	WarmUp   time.Duration // after power-up or wake, before values are steady
	Interval time.Duration // usual time between frames
	// Range is the top of each channel's range, in the channel's unit. A value
	// at or above it is saturated.
	Range map[dust.Channel]float64
	// Extrapolated are the mass channels the sensor computes from smaller
	// particles instead of measuring them.
	Extrapolated []dust.Channel
	Sees         string // what the optics see, for people
	Polled       bool   // says nothing until asked
	RawOnly      bool   // frames can be looked at, but give no channels
	// LinesLow opens the port with DTR and RTS low. Microcontroller boards take them
	// for a reset; the sensors do not connect them, so no model asks for it.
	LinesLow bool

	// gap is the silence that ends an unfinished frame; 0 if none does.
	gap time.Duration
}

const (
	// Silence that ends an unfinished frame. A 32-byte frame takes 33 ms at 9600
	// baud; USB adapters may hold bytes back for 16 ms (common practice, no source).
	slowGap = 200 * time.Millisecond // 9600 baud
	fastGap = 50 * time.Millisecond  // 115200 baud
)

// Line describes the serial settings, as in "9600 8N1".
func (s Spec) Line() string { return s.Settings().String() }

// modelInfo is everything the package knows of a model.
type modelInfo struct {
	spec     Spec
	protocol func() protocol
	encode   func(dst []byte, v *dust.Values) ([]byte, error)
	commands []command
}

// catalogue lists the models in the order shown to people.
var catalogue = func() []modelInfo {
	var all []modelInfo
	all = append(all, pmsModels()...)
	all = append(all, sds011Model(), sps30Model())
	all = append(all, hpmaModels()...)
	all = append(all, sngcja5Model(), zh06Model(), sds198Model(), senmlModel())
	return all
}()

// Models lists every model.
func Models() []Model {
	models := make([]Model, 0, len(catalogue))
	for i := range catalogue {
		models = append(models, catalogue[i].spec.Model)
	}
	return models
}

// plain strips what people add to a model's name.
var plain = strings.NewReplacer(" ", "", "-", "", "_", "")

// ParseModel reads a model's name; case, spaces, hyphens and underscores do not
// matter. The error wraps dust.ErrUnknownModel and lists the models.
func ParseModel(s string) (Model, error) {
	want := plain.Replace(strings.ToLower(strings.TrimSpace(s)))
	for _, m := range Models() {
		if plain.Replace(string(m)) == want {
			return m, nil
		}
	}
	return "", unknownModel(s)
}

func unknownModel(s string) error {
	var known []string
	for _, m := range Models() {
		known = append(known, string(m))
	}
	return fmt.Errorf("%w %q: use one of %s", dust.ErrUnknownModel, s, strings.Join(known, ", "))
}

// Spec returns the model's facts; an unknown model has none.
func (m Model) Spec() Spec {
	info, err := m.info()
	if err != nil {
		return Spec{}
	}
	return info.spec
}

func (m Model) info() (*modelInfo, error) {
	for i := range catalogue {
		if catalogue[i].spec.Model == m {
			return &catalogue[i], nil
		}
	}
	return nil, unknownModel(string(m))
}
