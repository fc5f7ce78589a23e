package sealed

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding"

	"dustlog/internal/dust"
)

// Info describes a sealed file.
type Info struct {
	Sensor      string
	Day         Day
	Rows        int
	First, Last int64 // Unix milliseconds
	Bytes       int64
	SHA256      string // of the whole file, hexadecimal
	Channels    []dust.Channel
}

// layout is the version written into the footer.
const layout = "1"

const (
	timeColumn  = "time_ms"
	flagsColumn = "flags"
	tempSuffix  = ".tmp"
)

// Pending is a file that is written and proven but has no name yet.
type Pending struct {
	Info
	temp string
}

// Prepare writes the table as a temporary file in folder, which is made if it is
// missing, syncs it, reads it back and compares everything.
func Prepare(folder, sensor string, day Day, table *Table) (*Pending, error) {
	if table.Len() == 0 {
		return nil, fmt.Errorf("seal %s of %q: no readings", day, sensor)
	}
	if err := table.Check(day); err != nil {
		return nil, fmt.Errorf("seal %s of %q: %w", day, sensor, err)
	}
	if err := makeFolder(folder); err != nil {
		return nil, fmt.Errorf("seal %s of %q: %w", day, sensor, err)
	}
	p, err := prepare(folder, sensor, day, table)
	if err != nil {
		return nil, fmt.Errorf("seal %s of %q in %s: %w", day, sensor, folder, err)
	}
	return p, nil
}

func prepare(folder, sensor string, day Day, table *Table) (p *Pending, err error) {
	f, err := os.CreateTemp(folder, "."+day.String()+"-*"+tempSuffix)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	err = write(f, sensor, day, table)
	if err == nil {
		err = f.Chmod(0o644)
	}
	if err == nil {
		err = f.Sync()
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		return nil, err
	}
	info, err := prove(f.Name(), sensor, day, table)
	if err != nil {
		return nil, err
	}
	return &Pending{Info: info, temp: f.Name()}, nil
}

// prove reads a file back and compares it with what was to be written.
func prove(path, sensor string, day Day, table *Table) (Info, error) {
	content, err := os.ReadFile(path)
	if err != nil {
		return Info{}, err
	}
	f, err := open(path, bytes.NewReader(content), int64(len(content)))
	if err != nil {
		return Info{}, err
	}
	if f.Sensor != sensor || f.Day != day || f.Rows != table.Len() || f.First != table.MS[0] || f.Last != table.MS[table.Len()-1] {
		return Info{}, fmt.Errorf("%w: reading back gave another sensor, day, count or bounds", ErrDamaged)
	}
	var back Table
	if err := f.Read(nil, &back); err != nil {
		return Info{}, err
	}
	if err := table.equal(&back); err != nil {
		return Info{}, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	sum := sha256.Sum256(content)
	f.SHA256 = hex.EncodeToString(sum[:])
	return f.Info, nil
}

// Commit gives the file its name in its folder, replacing an older one, and
// syncs the folder.
func (p *Pending) Commit(name string) error {
	folder := filepath.Dir(p.temp)
	if err := os.Rename(p.temp, filepath.Join(folder, name)); err != nil {
		return fmt.Errorf("seal %s of %q: %w", p.Day, p.Sensor, err)
	}
	return SyncFolder(folder)
}

// Discard removes the file if it was not committed.
func (p *Pending) Discard() { _ = os.Remove(p.temp) }

// Clean removes what an interrupted Prepare left in the folders below root.
// Younger files than age are spared: another program may be writing them.
func Clean(root string, age time.Duration) error {
	return filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		switch {
		case errors.Is(err, fs.ErrNotExist):
			return nil
		case err != nil:
			return err
		case e.Type().IsRegular() && strings.HasPrefix(e.Name(), ".") && strings.HasSuffix(e.Name(), tempSuffix):
			info, err := e.Info()
			if err != nil || time.Since(info.ModTime()) < age {
				return nil // in use, or gone already
			}
			return os.Remove(path)
		}
		return nil
	})
}

// makeFolder makes a folder and its parents last past a power cut.
func makeFolder(path string) error {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil
	}
	parent := filepath.Dir(path)
	if err := makeFolder(parent); err != nil {
		return err
	}
	if err := os.Mkdir(path, 0o755); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return SyncFolder(parent)
}

func write(w io.Writer, sensor string, day Day, t *Table) error {
	root := parquet.Group{
		timeColumn:  parquet.Encoded(parquet.Leaf(parquet.Int64Type), &parquet.DeltaBinaryPacked),
		flagsColumn: parquet.Encoded(parquet.Uint(32), &parquet.DeltaBinaryPacked),
	}
	options := []parquet.WriterOption{
		parquet.Compression(&parquet.Zstd), parquet.CreatedBy("dustlog", layout, ""),
		parquet.PageBufferSize(8*t.Len() + 8), // a column is one page
		parquet.KeyValueMetadata("dustlog.layout", layout),
		parquet.KeyValueMetadata("sensor", sensor),
		parquet.KeyValueMetadata("day", day.String()),
		parquet.KeyValueMetadata("first_ms", strconv.FormatInt(t.MS[0], 10)),
		parquet.KeyValueMetadata("last_ms", strconv.FormatInt(t.MS[t.Len()-1], 10)),
	}
	for i := range t.Columns {
		c := &t.Columns[i]
		root[c.Channel.Key()] = c.node()
		if c.PerUnit != 0 {
			options = append(options, parquet.KeyValueMetadata("scale."+c.Channel.Key(), quantumText(c.PerUnit)))
		}
	}
	schema := parquet.NewSchema("readings", root)
	out := parquet.NewWriter(w, append(options, schema)...)
	for i, path := range schema.Columns() {
		if err := writeColumn(out.ColumnWriters()[i], path[0], t); err != nil {
			return err
		}
	}
	return out.Close()
}

func quantumText(perUnit int) string { return strconv.FormatFloat(1/float64(perUnit), 'g', -1, 64) }

// node is the column's type in the file.
func (c *Column) node() parquet.Node {
	var node parquet.Node
	var how encoding.Encoding = &parquet.DeltaBinaryPacked
	switch {
	case c.PerUnit == 1:
		node = parquet.Leaf(parquet.Int32Type)
	case c.PerUnit > 1:
		node = parquet.Decimal(len(strconv.Itoa(c.PerUnit))-1, 9, parquet.Int32Type)
	case c.single():
		node, how = parquet.Leaf(parquet.FloatType), &parquet.ByteStreamSplit
	default:
		node, how = parquet.Leaf(parquet.DoubleType), &parquet.ByteStreamSplit
	}
	node = parquet.Encoded(node, how)
	if c.Missing != nil {
		node = parquet.Optional(node)
	}
	return node
}

// single reports whether 32 bits hold every value.
func (c *Column) single() bool {
	for _, x := range c.Floats {
		if float64(float32(x)) != x {
			return false
		}
	}
	return true
}

func writeColumn(w *parquet.ColumnWriter, name string, t *Table) error {
	switch name {
	case timeColumn:
		return writeValues(w, t.MS, nil, fillInt64s)
	case flagsColumn:
		return writeValues(w, t.Flags, nil, fillFlags)
	}
	channel, _ := dust.ChannelByKey(name)
	switch c := t.Column(channel); {
	case c.PerUnit != 0:
		return writeValues(w, c.Ints, c.Missing, fillInt32s)
	case c.single():
		return writeValues(w, c.Floats, c.Missing, fillFloats)
	default:
		return writeValues(w, c.Floats, c.Missing, fillDoubles)
	}
}

// writeValues writes a column; missing marks the rows without a value, nil if
// there is none.
func writeValues[T any](w *parquet.ColumnWriter, rows []T, missing []bool, fill func(to []parquet.Value, rows []T)) error {
	chunk := make([]parquet.Value, 256) // stays in the nearest cache
	for from := 0; from < len(rows); from += len(chunk) {
		part := chunk[:min(len(chunk), len(rows)-from)]
		fill(part, rows[from:])
		if missing != nil {
			for i, none := range missing[from : from+len(part)] {
				if none {
					part[i] = parquet.Value{}
				} else {
					part[i] = part[i].Level(0, 1, 0)
				}
			}
		}
		if _, err := w.WriteRowValues(part); err != nil {
			return err
		}
	}
	return w.Close()
}

// One function a type, for a call a value would take most of the time.

func fillInt64s(to []parquet.Value, rows []int64) {
	for i := range to {
		to[i] = parquet.Int64Value(rows[i])
	}
}

func fillFlags(to []parquet.Value, rows []dust.Flags) {
	for i := range to {
		to[i] = parquet.Int32Value(int32(rows[i]))
	}
}

func fillInt32s(to []parquet.Value, rows []int32) {
	for i := range to {
		to[i] = parquet.Int32Value(rows[i])
	}
}

func fillFloats(to []parquet.Value, rows []float64) {
	for i := range to {
		to[i] = parquet.FloatValue(float32(rows[i]))
	}
}

func fillDoubles(to []parquet.Value, rows []float64) {
	for i := range to {
		to[i] = parquet.DoubleValue(rows[i])
	}
}
