package sim

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"maps"
	"slices"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// judgeServer holds what the server shows against the book, and returns the digest that every replica must come to.
func (w *world) judgeServer(last bool) record.Hash {
	if w.finding != nil {
		return record.Hash{}
	}
	if _, err := w.server.ledger.Check(context.Background(), nil); err != nil {
		w.found("convergence", "the ledger does not prove itself: %v", err)
	}
	s := w.onServer()
	for _, t := range w.online() {
		s.lost = append(s.lost, w.on(t).lost...)
	}
	w.counts["recovered values"] += len(s.lost)
	w.judgeOwed(s)
	w.judgeShown(s)
	w.judgePhotos()
	for _, k := range w.keys {
		if st := s.states[k]; st != nil {
			w.judgeRecord(k, st, s)
			w.judgeFold(k, st, s.held[k])
		}
	}
	if !last {
		return record.Hash{}
	}
	return w.digest(s)
}

// digest is what a replica's digest must be.
func (w *world) digest(s *shown) record.Hash {
	h := sha256.New()
	h.Write([]byte("needlebook replica 1\x00"))
	for _, k := range slices.SortedFunc(maps.Keys(s.states), record.Key.Compare) {
		if s.states[k].Empty() {
			continue
		}
		h.Write(binary.AppendUvarint(nil, uint64(k.Kind)))
		h.Write(k.ID[:])
		d := s.states[k].Digest()
		h.Write(d[:])
	}
	return record.Hash(h.Sum(nil))
}

// judgeFold folds the history plainly, where nothing of it waited or was held in part, and holds the state against it.
func (w *world) judgeFold(k record.Key, st *record.State, held []wire.Held) {
	history, err := w.server.ledger.History(context.Background(), w.org, k)
	if err != nil {
		w.found("convergence", "%v: history: %v", k, err)
		return
	}
	took := map[record.ID]int{}
	plain := !slices.ContainsFunc(held, func(h wire.Held) bool { return h.Partial })
	folded := record.NewState(k)
	for i := range history {
		switch history[i].Effect {
		case "applied":
			took[history[i].Edit.ID]++
			folded.Apply(&history[i].Edit)
		case "waiting":
			plain = false
		default:
			folded.Skip(history[i].Edit.Dot)
		}
		if took[history[i].Edit.ID] > 1 {
			w.found("conservation", "%v: edit %s took effect twice", k, history[i].Edit.ID)
		}
	}
	if plain && folded.Digest() != st.Digest() {
		w.found("convergence", "%v: the state is not what its %d edits fold to", k, len(history))
	}
}

// judgeTablets holds every replica that can sync against the server, and those that cannot against what they saved.
func (w *world) judgeTablets(digest record.Hash) {
	server := w.onServer()
	for _, t := range w.tablets {
		switch {
		case t.gone || w.finding != nil:
		case w.server.revoked[t.device]:
			w.judgeRevoked(t)
		case t.r.Unsent() > 0:
			w.found("convergence", "tablet %d has %d edits that it cannot send", t.index, t.r.Unsent())
		case !t.limited && t.r.Digest() != digest, t.limited && t.r.Digest() != w.digest(w.scopeOf(t, server)):
			w.found("convergence", "tablet %d shows something else than the server: %s", t.index, w.difference(t, w.scopeOf(t, server)))
		default:
			w.judgeHeldLists(t, server)
			w.judgeIndex(t, server)
			w.judgeRecovered(t, server)
		}
	}
}

func (w *world) difference(t *tablet, server *shown) string {
	for _, k := range w.keys {
		have, want := t.r.View(k), server.states[k]
		if want == nil {
			want = record.NewState(k)
		}
		if have.Digest() == want.Digest() {
			continue
		}
		if have.Seen.Compare(want.Seen) != causal.Equal {
			return k.String() + " has seen " + have.Seen.String() + ", the server " + want.Seen.String()
		}
		return k.String() + " holds other values"
	}
	return "it holds other records"
}

// judgeHeldLists holds that every tablet lists the held edits that the server does.
func (w *world) judgeHeldLists(t *tablet, server *shown) {
	for _, k := range w.keys {
		if st := server.states[k]; st != nil && !w.holds(t, st) {
			continue
		}
		have := map[causal.Dot]syncv1.HeldStatus{}
		for _, h := range t.r.Held(k) {
			have[h.Edit.Dot] = h.Status
		}
		for _, h := range server.held[k] {
			if have[h.Edit.Dot] != h.Status {
				w.found("convergence", "tablet %d, %v: edit %v is %v, on the server %v", t.index, k, h.Edit.Dot, have[h.Edit.Dot], h.Status)
			}
			delete(have, h.Edit.Dot)
		}
		for d := range have {
			w.found("convergence", "tablet %d, %v: lists %v, which the server does not", t.index, k, d)
		}
	}
}
