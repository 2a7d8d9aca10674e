package blob

import (
	"context"
	"crypto/sha256"
	"errors"
	"hash"
	"io"
	"io/fs"
	"os"
)

// Get returns up to n bytes of the blob at offset, fewer at its end. It reads the whole blob and proves its hash first.
// Errors: ErrNotFound, DamagedError, RangeError for an offset outside the blob or n outside 1 to the largest chunk.
func (d *Dir) Get(h Hash, offset, n int64) ([]byte, error) {
	if n < 1 || n > d.cfg.MaxChunkBytes {
		return nil, &RangeError{"chunk bytes", n, 1, d.cfg.MaxChunkBytes}
	}
	size, err := d.Size(h)
	if err != nil {
		return nil, err
	}
	if offset < 0 || offset >= size {
		return nil, &RangeError{"offset", offset, 0, size - 1}
	}
	part := make([]byte, min(n, size-offset))
	got, err := d.sum(context.Background(), h, &window{offset: offset, part: part})
	if err != nil {
		return nil, err
	}
	if got != h {
		return nil, &DamagedError{Hash: h, Got: got}
	}
	return part, nil
}

// sum hashes the file of h and copies what passes to w.
func (d *Dir) sum(ctx context.Context, h Hash, w io.Writer) (Hash, error) {
	f, err := os.Open(d.path(h))
	if errors.Is(err, fs.ErrNotExist) {
		return Hash{}, ErrNotFound
	} else if err != nil {
		return Hash{}, err
	}
	defer f.Close() // read only
	sum := sha256.New()
	if err := copyAll(ctx, f, w, sum); err != nil {
		return Hash{}, err
	}
	return Hash(sum.Sum(nil)), nil
}

// copyAll is io.Copy to both that ends with ctx.
func copyAll(ctx context.Context, r io.Reader, w io.Writer, sum hash.Hash) error {
	buffer := make([]byte, 256<<10)
	for {
		n, err := r.Read(buffer)
		sum.Write(buffer[:n]) // never fails
		if _, werr := w.Write(buffer[:n]); werr != nil {
			return werr
		}
		if errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		if err := ctx.Err(); err != nil {
			return err
		}
	}
}

// window keeps the bytes of a stream that lie at offset.
type window struct {
	offset int64
	part   []byte
	at     int64 // of the stream
}

func (w *window) Write(p []byte) (int, error) {
	from := max(w.offset, w.at)
	to := min(w.offset+int64(len(w.part)), w.at+int64(len(p)))
	if from < to {
		copy(w.part[from-w.offset:], p[from-w.at:to-w.at])
	}
	w.at += int64(len(p))
	return len(p), nil
}
