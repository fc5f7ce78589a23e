package sensor

import (
	"encoding/binary"
	"fmt"
	"time"

	"dustlog/internal/dust"
)

// The SDS198 ("PM100", 1-100 µm, from memory) speaks the SDS protocol (protocol
// paper V1.5 names it) with data frames AA CF: bytes 2, 3 reserved, 4, 5 the value.
//
// The scale is disputed: one public driver divides by 10, another reads whole
// µg/m³; the full scale of 20 mg/m³ remembered from its sheet fits only whole
// µg/m³. The value is therefore offered raw and becomes no channel.
const sds198Data = 0xCF

func sds198Fields(f *Frame, yield func(Field) bool) {
	raw := float64(binary.LittleEndian.Uint16(f.raw[4:]))
	if yield(Field{Name: "pm100_raw", Value: raw, Unit: "raw"}) {
		yield(sdsDeviceField(f))
	}
}

func sds198Encode(dst []byte, _ *dust.Values) ([]byte, error) {
	return dst, fmt.Errorf("sds198: the scale of its value is not known, so no reading can be turned into a frame")
}

func sds198Model() modelInfo {
	layout := &sds{SDS198, sds198Data, true, sds198Fields}
	return modelInfo{
		spec: Spec{
			Model: SDS198, Title: "SDS198, raw values only", Baud: 9600, WarmUp: 30 * time.Second,
			Interval: time.Second, gap: slowGap, RawOnly: true,
			Sees: "1-100 µm claimed; no independent test of what it sees is known",
		},
		protocol: func() protocol { return layout },
		encode:   sds198Encode,
		commands: sdsCommands(),
	}
}
