package boltstore

import (
	"context"
	"io"
)

// CopyTo writes a whole, consistent store file to w while the store goes on, and returns its size in bytes. It holds a
// snapshot until w has taken everything, so w should be a local disk, never a network. The copy is not checked; open
// it and Check it before trusting it.
func (s *Store) CopyTo(ctx context.Context, w io.Writer) (int64, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	tx, err := s.beginRead()
	if err != nil {
		return 0, err
	}
	defer tx.Rollback()
	defer s.watchReader("copy")()
	return tx.WriteTo(&boundWriter{ctx: ctx, w: w})
}

// boundWriter ends a copy when its context ends.
type boundWriter struct {
	ctx context.Context
	w   io.Writer
}

func (b *boundWriter) Write(p []byte) (int, error) {
	if err := b.ctx.Err(); err != nil {
		return 0, err
	}
	return b.w.Write(p)
}
