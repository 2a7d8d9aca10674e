package blob

import (
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"needlebook/internal/durable"
)

// PutChunk takes the bytes of the blob at offset, and returns whether the blob is complete. Chunks may come in any order,
// overlap, and come again; size is the whole blob's and the same in each. When it returns nil the chunk is on the disk.
// Errors: RangeError; MismatchError when this was the last chunk and the whole is not the blob, whose chunks are then
// dropped; ErrDiskFull. data is not kept.
func (d *Dir) PutChunk(h Hash, size, offset int64, data []byte) (complete bool, err error) {
	if err := d.checkChunk(size, offset, int64(len(data))); err != nil {
		return false, err
	}
	defer d.lock(h)()
	if done, err := d.isComplete(h, size); done || err != nil {
		return done, err
	}
	p, err := d.openPartial(h, size)
	if err != nil {
		return false, diskError(err)
	}
	if err := p.add(chunk{offset, int64(len(data))}, data); err != nil {
		return false, diskError(err)
	}
	if len(p.missing()) > 0 {
		return false, nil
	}
	if err := d.assemble(p); err != nil {
		return false, diskError(err)
	}
	return true, nil
}

func (d *Dir) checkChunk(size, offset, n int64) error {
	switch {
	case size < 1 || size > d.cfg.MaxBlobBytes:
		return &RangeError{"size", size, 1, d.cfg.MaxBlobBytes}
	case offset < 0 || offset >= size:
		return &RangeError{"offset", offset, 0, size - 1}
	case n < 1 || n > min(d.cfg.MaxChunkBytes, size-offset):
		return &RangeError{"chunk bytes", n, 1, min(d.cfg.MaxChunkBytes, size-offset)}
	}
	return nil
}

// isComplete tells whether the blob is there; another size than it has is a RangeError.
func (d *Dir) isComplete(h Hash, size int64) (bool, error) {
	have, err := d.Size(h)
	if errors.Is(err, ErrNotFound) {
		return false, nil
	} else if err == nil && have != size {
		return false, &RangeError{"size", size, have, have}
	}
	return err == nil, err
}

// A Range is the bytes from Offset up to End, End not included.
type Range struct{ Offset, End int64 }

// Missing returns what of the blob is not here yet, ascending; nothing when it is complete.
func (d *Dir) Missing(h Hash, size int64) ([]Range, error) {
	if err := d.checkChunk(size, 0, 1); err != nil {
		return nil, err
	}
	defer d.lock(h)()
	if done, err := d.isComplete(h, size); done || err != nil {
		return nil, err
	}
	p, err := readPartial(h, size, d.partialPath(h, size))
	if err != nil {
		return nil, err
	}
	return p.missing(), nil
}

// partial is the chunks of a blob that is not complete.
type partial struct {
	hash   Hash
	size   int64
	path   string
	chunks []chunk // by offset, the longer first
}

type chunk struct{ offset, length int64 }

func (c chunk) name() string { return fmt.Sprintf("%d-%d", c.offset, c.length) }

func compareChunks(a, b chunk) int {
	return cmp.Or(cmp.Compare(a.offset, b.offset), cmp.Compare(b.length, a.length))
}

// openPartial makes the blob's folder of chunks if need be.
func (d *Dir) openPartial(h Hash, size int64) (*partial, error) {
	path := d.partialPath(h, size)
	if err := durable.MkdirAll(path, 0o700); err != nil {
		return nil, err
	}
	return readPartial(h, size, path)
}

// readPartial lists the chunks; a file that is none (left by a crash) is passed over.
func readPartial(h Hash, size int64, path string) (*partial, error) {
	p := &partial{hash: h, size: size, path: path}
	files, err := os.ReadDir(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	for _, f := range files {
		var c chunk
		if n, _ := fmt.Sscanf(f.Name(), "%d-%d", &c.offset, &c.length); n == 2 && c.name() == f.Name() {
			p.chunks = append(p.chunks, c)
		}
	}
	slices.SortFunc(p.chunks, compareChunks)
	return p, nil
}

// add puts one chunk on the disk.
func (p *partial) add(c chunk, data []byte) error {
	at, known := slices.BinarySearchFunc(p.chunks, c, compareChunks)
	if !known && len(p.chunks) >= maxChunks {
		return &RangeError{"chunks", int64(len(p.chunks)) + 1, 1, maxChunks}
	}
	if err := durable.WriteFile(filepath.Join(p.path, c.name()), data, 0o600); err != nil {
		return err
	}
	if !known {
		p.chunks = slices.Insert(p.chunks, at, c)
	}
	return nil
}

// missing returns the gaps between the chunks.
func (p *partial) missing() (gaps []Range) {
	var end int64
	for _, c := range append(slices.Clone(p.chunks), chunk{offset: p.size}) {
		if c.offset > end {
			gaps = append(gaps, Range{end, c.offset})
		}
		end = max(end, c.offset+c.length)
	}
	return gaps
}

// assemble joins the chunks, proves the hash, publishes the blob and drops the chunks.
func (d *Dir) assemble(p *partial) error {
	final := d.path(p.hash)
	if err := durable.MkdirAll(filepath.Dir(final), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(final), durable.TempPrefix+"*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already when it was published
	got, err := p.join(f)
	if err == nil && got == p.hash {
		err = errors.Join(f.Chmod(0o400), f.Sync())
	}
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	if got != p.hash {
		return errors.Join(&MismatchError{Want: p.hash, Got: got}, p.drop())
	}
	if err := durable.Publish(f.Name(), final); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return p.drop()
}

// join writes the chunks one after the other to w and returns the hash of what it wrote.
func (p *partial) join(w io.Writer) (Hash, error) {
	sum := sha256.New()
	out := io.MultiWriter(w, sum)
	var end int64
	for _, c := range p.chunks {
		if c.offset+c.length <= end {
			continue // all of it came in others
		}
		data, err := os.ReadFile(filepath.Join(p.path, c.name()))
		if err != nil {
			return Hash{}, err
		}
		if int64(len(data)) == c.length { // else it was altered, and the hash will say so
			data = data[end-c.offset:]
		}
		if _, err := out.Write(data); err != nil {
			return Hash{}, err
		}
		end = c.offset + c.length
	}
	return Hash(sum.Sum(nil)), nil
}

// drop removes the chunks. What a crash leaves of them is swept later.
func (p *partial) drop() error { return os.RemoveAll(p.path) }
