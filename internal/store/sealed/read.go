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

	"github.com/parquet-go/parquet-go"

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
// A channel without a value that day gets no column. The slices of into are
// used again if they are large enough, so a Table may be kept for many days.
func (f *File) Read(channels []dust.Channel, into *Table) (err error) {
	defer damaged(f.path, &err)
	into.MS = resize(into.MS, f.Rows)
	into.Flags = resize(into.Flags, f.Rows)
	old := into.Columns
	into.Columns = into.Columns[:0]
	times := target{int64s: into.MS}
	if err := f.readColumn(timeColumn, &times); err != nil {
		return err
	}
	flags := target{flags: into.Flags}
	if err := f.readColumn(flagsColumn, &flags); err != nil {
		return err
	}
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

func (f *File) readChannel(c dust.Channel, column *Column) error {
	column.Channel, column.PerUnit = c, 0
	leaf, ok := f.file.Schema().Lookup(c.Key())
	if !ok {
		return fmt.Errorf("no column %s", c.Key())
	}
	var to target
	if leaf.Node.Optional() {
		column.Missing = resize(column.Missing, f.Rows)
		to.missing = column.Missing
	} else {
		column.Missing = nil
	}
	switch kind := leaf.Node.Type().Kind(); kind {
	case parquet.Int32:
		column.PerUnit = 1
		if text, ok := f.file.Lookup("scale." + c.Key()); ok {
			for _, q := range quanta {
				if quantumText(q) == text {
					column.PerUnit = q
				}
			}
			if quantumText(column.PerUnit) != text {
				return fmt.Errorf("%s has unknown scale %q", c.Key(), text)
			}
		}
		column.Ints, column.Floats = resize(column.Ints, f.Rows), nil
		to.int32s = column.Ints
	case parquet.Float, parquet.Double:
		column.Floats, column.Ints = resize(column.Floats, f.Rows), nil
		to.floats = column.Floats
	default:
		return fmt.Errorf("column %s is of unexpected kind %s", c.Key(), kind)
	}
	return f.readColumn(c.Key(), &to)
}

// readColumn reads all pages of a column.
func (f *File) readColumn(name string, to *target) error {
	leaf, ok := f.file.Schema().Lookup(name)
	if !ok {
		return fmt.Errorf("no column %s", name)
	}
	pages := f.file.RowGroups()[0].ColumnChunks()[leaf.ColumnIndex].Pages()
	row := 0
	err := func() error {
		for row < f.Rows {
			page, err := pages.ReadPage()
			if err != nil {
				return err
			}
			n := int(page.NumRows())
			if row+n > f.Rows || n == 0 {
				parquet.Release(page)
				return fmt.Errorf("page of %d rows after %d of %d", n, row, f.Rows)
			}
			err = to.take(page, row, n)
			parquet.Release(page)
			if err != nil {
				return err
			}
			row += n
		}
		return nil
	}()
	if err = errors.Join(err, pages.Close()); err != nil {
		return fmt.Errorf("column %s, row %d of %d: %w", name, row, f.Rows, err)
	}
	return nil
}

// target is where a column goes: one of the slices, and missing for a column
// that may have holes.
type target struct {
	int64s  []int64
	int32s  []int32
	flags   []dust.Flags
	floats  []float64
	missing []bool
}

// take copies a page of n rows to row.
func (to *target) take(page parquet.Page, row, n int) error {
	data := page.Data()
	values := n
	var levels []byte
	if to.missing != nil {
		levels = page.DefinitionLevels()
		if len(levels) != n {
			return fmt.Errorf("%d definition levels for %d rows", len(levels), n)
		}
		values = 0
		for i, level := range levels {
			to.missing[row+i] = level == 0
			values += int(level)
		}
	}
	switch {
	case to.int64s != nil:
		return spread(to.int64s[row:row+n], data.Int64(), levels, values)
	case to.flags != nil:
		return spread(to.flags[row:row+n], data.Uint32(), levels, values)
	case to.int32s != nil:
		return spread(to.int32s[row:row+n], data.Int32(), levels, values)
	case page.Type().Kind() == parquet.Float:
		return spread(to.floats[row:row+n], data.Float(), levels, values)
	}
	return spread(to.floats[row:row+n], data.Double(), levels, values)
}

type number interface {
	~int32 | ~int64 | ~uint32 | ~float32 | ~float64
}

// spread copies values to rows; those whose level is 0 have none and become 0.
func spread[To, From number](rows []To, values []From, levels []byte, count int) error {
	if len(values) != count {
		return fmt.Errorf("%d values where %d were announced", len(values), count)
	}
	if levels == nil {
		for i, x := range values {
			rows[i] = To(x)
		}
		return nil
	}
	k := 0
	for i, level := range levels {
		rows[i] = 0
		if level != 0 {
			rows[i] = To(values[k])
			k++
		}
	}
	return nil
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
