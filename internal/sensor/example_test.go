package sensor_test

import (
	"bytes"
	"fmt"
	"io"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// The data frame printed in the SDS protocol paper, behind two bytes of noise.
func ExampleReader() {
	line := []byte{0xFF, 0xAA, 0xAA, 0xC0, 0xD4, 0x04, 0x3A, 0x0A, 0xA1, 0x60, 0x1D, 0xAB}
	r, err := sensor.NewReader(sensor.SDS011, bytes.NewReader(line))
	if err != nil {
		fmt.Println(err)
		return
	}
	for {
		f, err := r.Next()
		if err == io.EOF {
			break
		}
		pm25, _ := f.Values().Get(dust.PM25)
		fmt.Println(f.Kind, dust.Concentration(pm25))
	}
	fmt.Println("skipped", r.Counts().BytesSkipped)
	// Output:
	// data 123.6 µg/m³
	// skipped 2
}
