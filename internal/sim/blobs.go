package sim

import (
	"context"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"time"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/blob"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// blobs is the folder of photos, which is on a real disk: in memory where the machine has such a one. It is made when the first photo comes.
type blobs struct {
	path string
	dir  *blob.Dir
}

func (b *blobs) boot() {
	if b.path != "" {
		b.open()
	}
}

func (b *blobs) open() {
	dir, err := blob.Open(blob.Config{Path: b.path, MaxBlobBytes: maxPhoto, MaxChunkBytes: maxPhoto})
	must(err)
	b.dir = dir
}

// must stops the simulation where the machine that it runs on fails.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

func (b *blobs) make() {
	if b.path != "" {
		return
	}
	in := "/dev/shm"
	if _, err := os.Stat(in); err != nil {
		in = ""
	}
	var err error
	b.path, err = os.MkdirTemp(in, "needlebook-sim-")
	must(err)
	b.open()
}

func (b *blobs) remove() {
	if b.path != "" {
		must(os.RemoveAll(b.path))
	}
}

// sweep drops the pieces of photos that are not whole, as the server does with old ones.
func (b *blobs) sweep() {
	if b.path != "" {
		_, err := b.dir.Sweep(context.Background(), time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC))
		must(err)
	}
}

// read is a whole photo, piece by piece.
func (b *blobs) read(h blob.Hash) ([]byte, error) {
	if b.path == "" {
		return nil, blob.ErrNotFound
	}
	size, err := b.dir.Size(h)
	var out []byte
	for err == nil && int64(len(out)) < size {
		var part []byte
		part, err = b.dir.Get(h, int64(len(out)), maxPhoto)
		out = append(out, part...)
	}
	return out, err
}

// all is every photo, for a backup.
func (b *blobs) all() map[blob.Hash][]byte {
	out := map[blob.Hash][]byte{}
	if b.path == "" {
		return out
	}
	must(b.dir.Each(context.Background(), func(h blob.Hash, _ int64) error {
		data, err := b.read(h)
		out[h] = data
		return err
	}))
	return out
}

// replace makes the folder what a backup holds.
func (b *blobs) replace(photos map[blob.Hash][]byte) {
	if b.path == "" {
		return
	}
	must(os.RemoveAll(filepath.Join(b.path, "partial")))
	for h := range b.all() {
		if photos[h] == nil {
			must(os.Remove(filepath.Join(b.path, h.String()[:2], h.String())))
		}
	}
	b.open()
	for h, data := range photos {
		for at := 0; at < len(data); at += maxPhoto {
			_, err := b.dir.PutChunk(h, int64(len(data)), int64(at), data[at:min(at+maxPhoto, len(data))])
			must(err)
		}
	}
}

// tablePhotos is where the simulated server keeps which photos the organisation has, as the real one does.
const tablePhotos = 'P'

func photoKey(h blob.Hash) []byte { return append([]byte{tablePhotos}, h[:]...) }

// putPiece is a call over the network that brings a piece of a photo.
func (s *server) putPiece(device record.ID, p piece) (through int64, complete bool, err error) {
	if err := s.own(device, p.hash); err != nil {
		return 0, false, s.after(err)
	}
	s.blobs.make()
	if s.w.seams.chunk != nil {
		through, complete, err = s.w.seams.chunk(s.w, p, s.takePiece)
	} else {
		through, complete, err = s.takePiece(p)
	}
	if complete && err == nil {
		s.photos[p.hash] = true
	}
	return through, complete, err
}

// own notes that the organisation has a photo, in the same order as the service: before its first piece is taken.
func (s *server) own(device record.ID, h blob.Hash) error {
	if s.revoked[device] {
		return fault.New(faultv1.Reason_REASON_DEVICE_REVOKED, "", "", "")
	}
	if has, err := s.owns(h); has || err != nil {
		return err
	}
	return s.store.Update(context.Background(), func(w store.Writer) error { return w.Put(photoKey(h), []byte{1}) })
}

func (s *server) owns(h blob.Hash) (has bool, err error) {
	err = s.store.View(context.Background(), func(r store.Reader) error {
		_, err := r.Get(photoKey(h))
		has = err == nil
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		return err
	})
	return has, err
}

func (s *server) takePiece(p piece) (through int64, complete bool, err error) {
	if complete, err = s.blobs.dir.PutChunk(p.hash, p.size, p.offset, p.data); complete || err != nil {
		return p.size, complete, err
	}
	gaps, err := s.blobs.dir.Missing(p.hash, p.size)
	if len(gaps) > 0 {
		through = gaps[0].Offset
	}
	return through, false, err
}

// restorePhotos puts the photos back with the rest in a proper restore; by hand, people put back one file.
func (s *server) restorePhotos(b backup, how string) {
	s.photos = maps.Clone(b.owed)
	if how == "epoch" {
		before := len(s.blobs.all())
		s.blobs.replace(b.photos)
		if len(s.blobs.all()) < before {
			s.w.count("photos lost by a restore")
		}
	}
}

// photo reads a photo as the service does: only one that the organisation has.
func (s *server) photo(h blob.Hash) ([]byte, error) {
	if has, err := s.owns(h); !has || err != nil {
		return nil, errors.Join(blob.ErrNotFound, err)
	}
	return s.blobs.read(h)
}
