package main

import (
	"debug/buildinfo"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	cdx "github.com/CycloneDX/cyclonedx-go"
)

// bill writes what a program was built of, in the CycloneDX format: every module
// with its version, as the program itself says.
func (r release) bill(p platform, program string) (err error) {
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return fmt.Errorf("reading what %s was built of: %w", program, err)
	}
	bom := cdx.NewBOM()
	bom.Metadata = &cdx.Metadata{
		Timestamp: r.date.Format(time.RFC3339),
		Component: &cdx.Component{BOMRef: "dustlog", Type: cdx.ComponentTypeApplication, Name: "dustlog", Version: r.version,
			Licenses: &cdx.Licenses{{License: &cdx.License{ID: "MIT"}}}},
	}
	parts := []cdx.Component{{BOMRef: "go", Type: cdx.ComponentTypeFramework, Name: "go", Version: strings.TrimPrefix(info.GoVersion, "go")}}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		url := "pkg:golang/" + m.Path + "@" + m.Version
		parts = append(parts, cdx.Component{BOMRef: url, Type: cdx.ComponentTypeLibrary, Name: m.Path, Version: m.Version, PackageURL: url})
	}
	bom.Components = &parts
	file, err := os.Create(filepath.Join(r.out, r.fileName(p)+".cdx.json"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return cdx.NewBOMEncoder(file, cdx.BOMFileFormatJSON).SetPretty(true).Encode(bom)
}
