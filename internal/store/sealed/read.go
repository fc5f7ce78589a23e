package sealed

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"unsafe"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding"

	"dustlog/internal/dust"
)

// ErrDamaged says that a sealed file is not what was written.
var ErrDamaged = errors.New("the sealed file is damaged")

// File is an open sealed file. Info.SHA256 is empty; see Hash.
type File struct {
	Info
	path   string
	file   *parquet.File
	closer io.Closer
}

// Open opens a sealed file. The error wraps fs.ErrNotExist if there is none and
// ErrDamaged if it is not a whole sealed file.
func Open(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open sealed day: %w", err)
	}
	info, err := f.Stat()
	if err != nil {
		return nil, errors.Join(fmt.Errorf("open sealed day: %w", err), f.Close())
	}
	file, err := open(path, f, info.Size())
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	file.closer = f
	return file, nil
}

// Close closes the file.
func (f *File) Close() error {
	if f.closer == nil {
		return nil
	}
	return f.closer.Close()
}

func open(path string, r io.ReaderAt, size int64) (f *File, err error) {
	defer damaged(path, &err)
	file, err := parquet.OpenFile(r, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true), parquet.ReadBufferSize(64<<10))
	if err != nil {
		return nil, err
	}
	f = &File{path: path, file: file, Info: Info{Rows: int(file.NumRows()), Bytes: size}}
	if l, _ := file.Lookup("dustlog.layout"); l != layout {
		return nil, fmt.Errorf("layout %q, this program knows %q", l, layout)
	}
	if len(file.RowGroups()) != 1 {
		return nil, fmt.Errorf("%d row groups, want 1", len(file.RowGroups()))
	}
	var ok bool
	if f.Sensor, ok = file.Lookup("sensor"); !ok {
		return nil, errors.New("the footer does not name the sensor")
	}
	day, _ := file.Lookup("day")
	if f.Day, err = ParseDay(day); err != nil {
		return nil, err
	}
	if f.First, err = lookupInt(file, "first_ms"); err != nil {
		return nil, err
	}
	if f.Last, err = lookupInt(file, "last_ms"); err != nil {
		return nil, err
	}
	for _, path := range file.Schema().Columns() {
		if c, ok := dust.ChannelByKey(path[0]); ok {
			f.Channels = append(f.Channels, c)
		}
	}
	slices.Sort(f.Channels)
	return f, nil
}

func lookupInt(file *parquet.File, key string) (int64, error) {
	text, _ := file.Lookup(key)
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("footer, %s: %w", key, err)
	}
	return n, nil
}

// damaged turns whatever went wrong with a file's content, a panic of the
// decoder included, into an error that names the file.
func damaged(path string, err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%w: %s: %v", ErrDamaged, path, p)
		return
	}
	if *err != nil && !errors.Is(*err, ErrDamaged) {
		*err = fmt.Errorf("%w: %s: %w", ErrDamaged, path, *err)
	}
}

// Read fills into with all rows and the given channels; nil channels means all.
// A channel without a value that day gets no column. What is in into may be the
// decoder's own memory: it is valid until the next Read into the same Table,
// which uses it again, so a Table may be kept for many days.
func (f *File) Read(channels []dust.Channel, into *Table) (err error) {
	defer damaged(f.path, &err)
	if into.MS, err = readColumn(f, timeColumn, into.MS, &into.lentMS, nil, (*encoding.Values).Int64); err != nil {
		return err
	}
	if into.Flags, err = readColumn(f, flagsColumn, into.Flags, &into.lentFlags, nil, asFlags); err != nil {
		return err
	}
	old := into.Columns
	into.Columns = into.Columns[:0]
	for _, c := range f.Channels {
		if channels != nil && !slices.Contains(channels, c) {
			continue
		}
		var column Column
		if n := len(into.Columns); n < len(old) {
			column = old[n]
		}
		if err := f.readChannel(c, &column); err != nil {
			return err
		}
		into.Columns = append(into.Columns, column)
	}
	return nil
}

func resize[T any](s []T, n int) []T {
	return slices.Grow(s[:0], n)[:n]
}

func (f *File) readChannel(c dust.Channel, column *Column) (err error) {
	column.Channel, column.PerUnit = c, 0
	leaf, ok := f.file.Schema().Lookup(c.Key())
	if !ok {
		return fmt.Errorf("no column %s", c.Key())
	}
	if leaf.Node.Optional() {
		column.Missing = resize(column.Missing, f.Rows)
	} else {
		column.Missing = nil
	}
	ints, floats := column.Ints, column.Floats
	column.Ints, column.Floats = nil, nil
	switch kind := leaf.Node.Type().Kind(); kind {
	case parquet.Int32:
		if column.PerUnit, err = f.perUnit(c); err == nil {
			column.Ints, err = readColumn(f, c.Key(), ints, &column.lent, column.Missing, (*encoding.Values).Int32)
		}
	case parquet.Float:
		column.Floats, err = readColumn(f, c.Key(), floats, &column.lent, column.Missing, (*encoding.Values).Float)
	case parquet.Double:
		column.Floats, err = readColumn(f, c.Key(), floats, &column.lent, column.Missing, (*encoding.Values).Double)
	default:
		err = fmt.Errorf("column %s is of unexpected kind %s", c.Key(), kind)
	}
	return err
}

// perUnit is how many quanta of a channel's integers make one unit.
func (f *File) perUnit(c dust.Channel) (int, error) {
	text, ok := f.file.Lookup("scale." + c.Key())
	if !ok {
		return 1, nil
	}
	for _, q := range quanta {
		if quantumText(q) == text {
			return q, nil
		}
	}
	return 0, fmt.Errorf("%s has unknown scale %q", c.Key(), text)
}

// lent is a page whose memory is used as it is, nil if there is none.
type lent struct{ page parquet.Page }

// giveBack ends the use. It returns what of was may be used again: nothing that
// was lent.
func giveBack[T any](l *lent, was []T) []T {
	if l.page == nil {
		return was
	}
	parquet.Release(l.page)
	l.page = nil
	return nil
}

// readColumn returns all values of a column and notes in missing, if it is not
// nil, which rows have none. A column that is one page of the type asked for, as
// dustlog writes it, is not copied; others are, to was if it is large enough.
func readColumn[To, From number](f *File, name string, was []To, l *lent, missing []bool, values func(*encoding.Values) []From) (rows []To, err error) {
	was = giveBack(l, was)
	leaf, ok := f.file.Schema().Lookup(name)
	if !ok {
		return nil, fmt.Errorf("no column %s", name)
	}
	pages := f.file.RowGroups()[0].ColumnChunks()[leaf.ColumnIndex].Pages()
	row := 0
	defer func() {
		if err = errors.Join(err, pages.Close()); err != nil {
			err = fmt.Errorf("column %s, row %d of %d: %w", name, row, f.Rows, err)
		}
	}()
	for row < f.Rows {
		page, err := pages.ReadPage()
		if err != nil {
			return nil, err
		}
		data, n := page.Data(), int(page.NumRows())
		if same, ok := any(values(&data)).([]To); ok && missing == nil && len(same) == f.Rows {
			l.page = page
			return same, nil
		}
		if rows == nil {
			rows = resize(was, f.Rows)
		}
		if n == 0 || row+n > f.Rows {
			err = fmt.Errorf("page of %d rows after %d of %d", n, row, f.Rows)
		} else if missing == nil {
			err = spread(rows[row:row+n], values(&data), nil, nil)
		} else {
			err = spread(rows[row:row+n], values(&data), page.DefinitionLevels(), missing[row:row+n])
		}
		parquet.Release(page)
		if err != nil {
			return nil, err
		}
		row += n
	}
	return rows, nil
}

type number interface {
	~int32 | ~int64 | ~uint32 | ~float32 | ~float64
}

// spread copies values to rows. Rows whose level is 0 are missing and become 0; if
// missing is nil, none is.
func spread[To, From number](rows []To, values []From, levels []byte, missing []bool) error {
	if missing == nil {
		if len(values) != len(rows) {
			return fmt.Errorf("%d values for %d rows", len(values), len(rows))
		}
		for i, x := range values {
			rows[i] = To(x)
		}
		return nil
	}
	if len(levels) != len(rows) {
		return fmt.Errorf("%d definition levels for %d rows", len(levels), len(rows))
	}
	k := 0
	for i, level := range levels {
		rows[i], missing[i] = 0, level == 0
		if level == 0 {
			continue
		}
		if k == len(values) {
			return fmt.Errorf("only %d values", len(values))
		}
		rows[i] = To(values[k])
		k++
	}
	if k < len(values) {
		return fmt.Errorf("%d values where %d were announced", len(values), k)
	}
	return nil
}

// asFlags sees the numbers as the flags they are, 32 bits both, without a copy.
func asFlags(values *encoding.Values) []dust.Flags {
	numbers := values.Uint32()
	return unsafe.Slice((*dust.Flags)(unsafe.Pointer(unsafe.SliceData(numbers))), len(numbers))
}

// Hash computes the SHA-256 of a file, in hexadecimal, and its size.
func Hash(path string) (sum string, size int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	if size, err = io.Copy(h, f); err != nil {
		return "", 0, fmt.Errorf("read %s: %w", path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), size, nil
}
