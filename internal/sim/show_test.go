package sim

import (
	"context"
	"fmt"
	"os"
	"testing"
)

// TestShow plays the script in the file that NEEDLEBOOK_SIM_SHOW names and prints, after each step, what the server and every tablet hold.
func TestShow(t *testing.T) {
	file := os.Getenv("NEEDLEBOOK_SIM_SHOW")
	if file == "" {
		t.Skip("set NEEDLEBOOK_SIM_SHOW to a script")
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	sch, err := Parse(string(text))
	if err != nil {
		t.Fatal(err)
	}
	w := newWorld(sch, mustSchemas(t), seams{})
	defer w.server.blobs.remove()
	if err := w.server.boot(); err != nil {
		t.Fatal(err)
	}
	for i, s := range sch.Steps {
		w.at = i + 1
		w.do(s)
		fmt.Println("==", s, "finding", w.finding)
		w.dump()
	}
	w.at++
	if w.finding == nil {
		w.end()
	}
	fmt.Println("== end", w.finding)
	w.dump()
}

// dump prints what the server and every tablet hold. A failure that is armed stays so.
func (w *world) dump() {
	armed := w.server.store.fail
	w.server.store.fail = NoFailure
	defer func() { w.server.store.fail = armed }()
	for _, k := range w.keys {
		h, err := w.server.ledger.History(context.Background(), w.org, k)
		if err != nil {
			continue
		}
		for _, e := range h {
			fmt.Printf("   server %v seq %d %s %v at %d ctx %v\n", k, e.Sequence, e.Effect, e.Edit.Dot, e.Edit.AuthoredAt-1_790_000_000_000, e.Edit.Context)
			for rg := range registersOf(e.Edit.Writes) {
				fmt.Printf("        writes %s\n", w.schemas.now.RegisterText(k.Kind, rg))
			}
		}
		rec, _ := w.server.ledger.Read(context.Background(), w.org, k)
		fmt.Printf("   server seen %v\n", rec.State.Seen)
		for _, h := range rec.Held {
			fmt.Printf("   held %v %v %v partial %v at %d %d writes\n", h.Edit.Dot, h.Status, h.Reason, h.Partial, h.Edit.AuthoredAt-1_790_000_000_000, len(h.Edit.Writes))
		}
	}
	for _, t := range w.tablets {
		fmt.Printf("   tablet %d id %s unsent %d gone %v revoked %v schema old %v\n", t.index, t.r.ID().String()[:8], t.r.Unsent(), t.gone, w.server.revoked[t.device], t.schema == w.schemas.old)
		for _, k := range w.keys {
			if v := t.r.View(k); len(v.Seen) > 0 {
				fmt.Printf("       %v seen %v values %d held %d\n", k, v.Seen, len(v.Values()), len(t.r.Held(k)))
			}
		}
	}
}
