package influx

import (
	"fmt"
	"net/url"
	"strings"
	"unicode"
)

// encodeName writes a sensor's name so that neither line protocol nor Flux gives
// any of its characters a meaning, apart from those that tagEscaper sees to.
func encodeName(name string) string {
	var b strings.Builder
	for _, r := range name {
		if unicode.IsControl(r) || strings.ContainsRune(`%\"$`, r) {
			for _, c := range []byte(string(r)) {
				fmt.Fprintf(&b, "%%%02X", c)
			}
			continue
		}
		b.WriteRune(r)
	}
	return b.String()
}

// decodeName undoes encodeName. A tag that something else wrote stays as it is.
func decodeName(tag string) string {
	name, err := url.PathUnescape(tag)
	if err != nil {
		return tag
	}
	return name
}

var tagEscaper = strings.NewReplacer(",", `\,`, "=", `\=`, " ", `\ `)

func hasControl(s string) bool { return strings.ContainsFunc(s, unicode.IsControl) }
