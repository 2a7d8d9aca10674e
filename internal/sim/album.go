package sim

import (
	"crypto/sha256"
	"errors"
	"slices"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/blob"
	"needlebook/internal/causal"
)

// picture is a photo in a tablet's album: the bytes that its description names by their hash, and how far they are on their way. The album stands for the
// tablet's part of the protocol of photos: they go after all records, in pieces, one by one; one that fails is left for the next time, and those behind it
// go on; each stays until a backup surely holds it, and is offered again after a new epoch and whenever the tablet starts.
type picture struct {
	at     int64 // of the edit that describes it
	hash   blob.Hash
	data   []byte // as the tablet has it; not the bytes of the hash when it rotted
	stored int64  // bytes from the beginning that the server said it has
	done   bool   // the server said that it is whole there
	failed bool   // the server did not take it when it was last sent
	// after is the newest edit of the tablet when it was done: a backup that holds a later one was made after that.
	after causal.Dot
}

// rotten reports whether the bytes are not those that the description names.
func (p *picture) rotten() bool { return sha256.Sum256(p.data) != p.hash }

// Sizes of photos and their pieces, in bytes.
const (
	maxPhoto = 200
	maxPiece = 96
)

func (w *world) newPicture(serial int, how string) picture {
	if taken := w.clinic.taken; how == "same" && len(taken) > 0 {
		p := taken[serial%len(taken)]
		return picture{hash: p.hash, data: p.data}
	}
	rng := w.draw(serial)
	data := make([]byte, 1+rng.IntN(maxPhoto))
	for i := range data {
		data[i] = byte(rng.Uint32())
	}
	p := picture{hash: sha256.Sum256(data), data: data}
	if how == "wrong" {
		p.data = slices.Clone(data)
		p.data[rng.IntN(len(data))] ^= 1
	}
	return p
}

// piece is a part of a photo on its way.
type piece struct {
	hash         blob.Hash
	size, offset int64
	data         []byte
}

type takePiece func(piece) (through int64, complete bool, err error)

// next is the photo to send now; nil when there is none. Those that failed wait for the next time.
func (t *tablet) next() *picture {
	for i := range t.album {
		if p := &t.album[i]; !p.done && !p.failed {
			return p
		}
	}
	return nil
}

// sendPhotos sends what there is, and reports whether every photo is whole on the server.
func (t *tablet) sendPhotos() bool {
	for i := range t.album {
		t.album[i].failed = false
	}
	for range 400 {
		more, well := t.sendPiece("plain", 0)
		if !well {
			return false
		}
		if !more {
			return !slices.ContainsFunc(t.album, func(p picture) bool { return !p.done })
		}
	}
	t.w.found("convergence", "the photos of tablet %d do not come to an end", t.index)
	return false
}

// sendPiece sends a piece of a photo, after all records. It reports whether there was one, and whether the server is there.
func (t *tablet) sendPiece(how string, serial int) (more, well bool) {
	p := t.next()
	if p == nil || t.r.Unsent() > 0 && !t.w.seams.album.first {
		return false, true
	}
	q := t.cut(p, how, serial)
	if how == "loserequest" {
		return true, true
	}
	through, complete, err := t.w.server.putPiece(t.device, q)
	if how == "twice" && err == nil {
		through, complete, err = t.w.server.putPiece(t.device, q)
	}
	var mismatch *blob.MismatchError
	switch {
	case how == "loseanswer":
		return true, true
	case errors.As(err, &mismatch):
		t.w.count("photos refused")
		p.stored, p.failed = 0, true
		if !p.rotten() {
			t.w.found("conservation", "the server refuses photo %v, which is what its hash says", p.hash)
		}
	case err != nil:
		return true, false
	default:
		p.stored = through
		if complete {
			p.done, p.after = true, causal.Dot{Replica: t.r.ID(), Counter: t.heads[t.r.ID()]}
			t.w.count("photos sent")
		}
	}
	return true, true
}

// cut cuts the next piece of a photo, or one that leaves a gap before it.
func (t *tablet) cut(p *picture, how string, serial int) piece {
	t.w.clinic.pieces++
	rng := t.w.draw(5_000_000 + serial + 1000*t.w.clinic.pieces)
	size := int64(len(p.data))
	offset := min(p.stored, size-1)
	if how == "skip" {
		offset += rng.Int64N(size - offset)
	}
	n := min(1+rng.Int64N(maxPiece), size-offset)
	return piece{hash: p.hash, size: size, offset: offset, data: p.data[offset : offset+n]}
}

// tend takes from an answer what it says of photos.
func (t *tablet) tend(d delayed) {
	if d.hello != nil {
		if epoch := string(d.hello.GetEpoch()); epoch != t.epoch {
			t.epoch = epoch
			t.offerAgain()
		}
		return
	}
	t.letGo(d.step.Exchange, d.rows.GetBackedUpCounter())
}

// offerAgain lets the tablet find out which of its photos the server still has: each is sent from its beginning, and the answer to the first piece says so.
func (t *tablet) offerAgain() {
	for i := range t.album {
		if p := &t.album[i]; !t.w.seams.album.forgetful {
			p.done, p.stored = false, 0
		}
	}
}

// letGo drops the photos that the oldest backup kept surely holds.
func (t *tablet) letGo(m *syncv1.ExchangeRequest, backedUp uint64) {
	id := causal.ReplicaID(m.GetReplica())
	t.heads[id] = max(t.heads[id], m.GetHeadCounter())
	t.album = slices.DeleteFunc(t.album, func(p picture) bool {
		gone := p.done && (p.after.Replica == id && backedUp > p.after.Counter || t.w.seams.album.careless)
		if gone {
			t.w.count("photos let go")
		}
		return gone
	})
}
