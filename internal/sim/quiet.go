package sim

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"slices"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// maxRounds bounds how often everyone syncs until nothing changes any more.
const maxRounds = 12

// end stops the faults, lets everyone sync until nothing changes, and judges: first with what waits still waiting, then after a lead gave that up.
func (w *world) end() record.Hash {
	w.server.store.Fail(NoFailure)
	if w.seams.schema == nil {
		w.server.schema = w.schemas.now
	}
	w.reboot()
	for _, t := range w.tablets {
		t.late = nil
		if w.setting == Clinic && !t.gone {
			t.restart() // the next morning
		}
	}
	w.clinic.barred = map[heldBy]bool{}
	w.quiet()
	w.judgeServer(false)
	for w.finding == nil && w.giveUpWaiting() {
		w.quiet()
	}
	w.quiet()
	if w.finding == nil {
		w.lastWishes()
		w.quiet()
	}
	digest := w.judgeServer(true)
	w.judgeTablets(digest)
	return digest
}

// online is the tablets that can speak to the server.
func (w *world) online() []*tablet {
	var out []*tablet
	for _, t := range w.tablets {
		if !t.gone && !w.server.revoked[t.device] {
			out = append(out, t)
		}
	}
	return out
}

// quiet lets everyone sync until the log grows no more and a whole round changed nothing.
func (w *world) quiet() {
	last := w.state()
	for range maxRounds {
		for _, t := range w.online() {
			if !t.persist() && w.finding == nil {
				w.found("convergence", "tablet %d cannot sync though nothing fails; %d edits unsent", t.index, t.r.Unsent())
			}
			if w.finding != nil {
				return
			}
		}
		now := w.state()
		if now == last {
			return
		}
		last = now
	}
	w.found("convergence", "the replicas are still changing after %d rounds", maxRounds)
}

// persist syncs, and again for as often as a patient whom the tablet asked for may be refused: each such wish is given up.
func (t *tablet) persist() bool {
	for range t.w.clinic.patients {
		if t.sync() || t.w.finding != nil {
			return true
		}
	}
	return t.sync()
}

// state is a digest of where everyone stands.
func (w *world) state() record.Hash {
	h := sha256.New()
	h.Write(binary.AppendUvarint(nil, w.server.end()))
	for _, t := range w.online() {
		d := t.r.Digest()
		h.Write(d[:])
		h.Write(binary.AppendUvarint(nil, uint64(t.r.Unsent())))
	}
	return record.Hash(h.Sum(nil))
}

func (w *world) giveUpWaiting() bool {
	held, err := w.server.ledger.ListHeld(context.Background(), w.org)
	if err != nil {
		w.found("convergence", "list held: %v", err)
	}
	i := slices.IndexFunc(held, func(h wire.Held) bool { return h.Status == syncv1.HeldStatus_HELD_STATUS_WAITING })
	if i < 0 {
		return false
	}
	w.count("waiting given up")
	j := ledger.Judgement{Org: w.org, By: idOf("lead"), Key: held[i].Edit.Key, Dot: held[i].Edit.Dot, Reason: "its context is lost"}
	if err := w.server.ledger.GiveUp(context.Background(), j); err != nil {
		w.found("convergence", "give up %v: %v", held[i].Edit.Dot, err)
		return false
	}
	return true
}
