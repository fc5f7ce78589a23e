package influx

import (
	"strconv"

	"dustlog/internal/dust"
)

// AppendLine appends a reading in line protocol, its time in milliseconds,
// without a line end. Without a shop the tag is left out. The client's own
// encoder is not used: it has no way to write a control character.
func AppendLine(b []byte, shop string, r *dust.Reading) []byte {
	b = append(b, measurement...)
	b = appendTag(b, sensorTag, r.Sensor)
	b = appendTag(b, shopTag, shop)
	b = append(b, ' ')
	b = append(b, flagsField...)
	b = append(b, '=')
	b = strconv.AppendUint(b, uint64(r.Flags), 10)
	for c, x := range r.Values.All() {
		b = append(b, ',')
		b = append(b, c.Key()...)
		b = append(b, '=')
		b = strconv.AppendFloat(b, x, 'g', -1, 64)
	}
	b = append(b, ' ')
	return strconv.AppendInt(b, r.Time.UnixMilli(), 10)
}

// appendTag leaves an empty tag out: the protocol has none.
func appendTag(b []byte, key, value string) []byte {
	if value == "" {
		return b
	}
	b = append(append(append(b, ','), key...), '=')
	return append(b, tagEscaper.Replace(encodeName(value))...)
}

// appendText appends a text field. encodeName leaves nothing to escape.
func appendText(b []byte, key, value string) []byte {
	b = append(append(b, key...), `="`...)
	return append(append(b, encodeName(value)...), '"')
}
