package demo

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// FailedError says which claims of the story did not hold.
type FailedError struct{ Claims []string }

// Error names the claims.
func (e *FailedError) Error() string {
	return fmt.Sprintf("%d checks of the day failed: %s", len(e.Claims), strings.Join(e.Claims, "; "))
}

// checks collects the claims of the story.
type checks struct {
	held   int
	failed []string
}

// that counts a claim, and keeps it when it does not hold.
func (c *checks) that(ok bool, claim string, args ...any) {
	if ok {
		c.held++
		return
	}
	c.failed = append(c.failed, fmt.Sprintf(claim, args...))
}

func (c *checks) err() error {
	if len(c.failed) == 0 {
		return nil
	}
	return &FailedError{c.failed}
}

// serverStates is every record as the server holds it.
func (w *world) serverStates(ctx context.Context) (map[record.Key]record.Hash, error) {
	out := map[record.Key]record.Hash{}
	for _, kind := range w.schema.Kinds() {
		err := w.server.Service().Ledger().Scan(ctx, w.org, kind, func(st *record.State) error {
			out[st.Key] = st.Digest()
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

// differing counts the records of a tablet that the server holds otherwise, and those that it lacks.
func (t *tablet) differing(server map[record.Key]record.Hash) (same, other int) {
	for _, k := range t.r.Keys(0) {
		if t.r.View(k).Digest() == server[k] {
			same++
		} else {
			other++
		}
	}
	return same, other
}

// chartsDigest is over all records but those of devices, whose ids come from the machine and not from the seed.
func chartsDigest(states map[record.Key]record.Hash) string {
	var keys []record.Key
	for k := range states {
		if k.Kind != optionsv1.RecordKind_RECORD_KIND_DEVICE {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, record.Key.Compare)
	h := sha256.New()
	for _, k := range keys {
		h.Write(binary.AppendUvarint(nil, uint64(k.Kind)))
		h.Write(k.ID[:])
		d := states[k]
		h.Write(d[:])
	}
	return fmt.Sprintf("%x", h.Sum(nil)[:16])
}

// conserved counts the edits of the tablets that the server's ledger has, and those that it lacks.
func (w *world) conserved(ctx context.Context) (have, lack int, err error) {
	histories := map[record.Key]map[record.ID]bool{}
	for _, t := range w.tablets {
		for _, e := range t.made {
			if histories[e.key] == nil {
				entries, err := w.server.Service().Ledger().History(ctx, w.org, e.key)
				if err != nil {
					return have, lack, err
				}
				ids := map[record.ID]bool{}
				for i := range entries {
					ids[entries[i].Edit.ID] = true
				}
				histories[e.key] = ids
			}
			if histories[e.key][e.id] {
				have++
			} else {
				lack++
			}
		}
	}
	return have, lack, nil
}

// verify proves the server's ledger to the last hash, and the signature of every page by its device's key.
func (w *world) verify(ctx context.Context) (ledger.Report, error) {
	return w.server.Service().Ledger().Check(ctx, func(r store.Reader, replica causal.ReplicaID, statement, signature []byte) error {
		owner, err := auth.ReplicaOwner(r, uuid.UUID(replica))
		if err != nil {
			return err
		}
		d, err := auth.GetDevice(r, uuid.UUID(w.org), owner)
		if err != nil {
			return err
		}
		return d.Key.Verify(statement, signature)
	})
}
