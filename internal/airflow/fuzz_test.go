package airflow

import (
	"encoding/json"
	"errors"
	"testing"

	"dustlog/internal/dust"
)

// Any entry of the diary is either read or refused with ErrEntry; what is read prints,
// and an entry made of it is read the same.
func FuzzGauge(f *testing.F) {
	for _, k := range GaugeKinds {
		f.Add(string(k.Kind), "main: 0.52 0.61 in. w.g.")
		f.Add(string(k.Kind), "8.5 A")
		f.Add(string(k.Kind), "850 m3/h")
		f.Add(string(k.Kind), "18 m/s")
	}
	f.Fuzz(func(t *testing.T, kind, text string) {
		g, err := ParseGauge(GaugeKind(kind), text)
		if err != nil {
			if !errors.Is(err, dust.ErrEntry) {
				t.Errorf("%q %q: %v is not marked", kind, text, err)
			}
			return
		}
		if g.String() == "" || len(g.Velocities)+len(g.Pressures) == 0 && g.Flow == nil && g.Current == nil {
			t.Errorf("%q %q: read as nothing", kind, text)
		}
		e, err := GaugeEntry("id", monday, GaugeKind(kind), "", text)
		if err != nil {
			return // longer than an entry may be
		}
		again, err := GaugeOf(e)
		if err != nil || again.String() != g.String() {
			t.Errorf("%q %q: entered and read as %q, %v", kind, text, again, err)
		}
		// Whatever it says, all of the answer can be printed.
		whole, err := GaugeEntry("flow", monday, FlowGauge, "main", "1e-5 m3/h")
		if err != nil {
			t.Fatal(err)
		}
		r, err := Analyse(Input{Entries: []dust.Entered{{Entry: e}, {Entry: whole}}, Collectors: []Collector{shop()}, Setups: inUseOld})
		if err == nil {
			_, err = json.Marshal(r)
		}
		if err != nil {
			t.Errorf("%q %q: %v", kind, text, err)
		}
	})
}
