package ledger

import (
	"context"
	"errors"
	"runtime"
	"strconv"
	"sync"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/wire"
)

// page is a page of edits, checked as far as that goes without the store: well-formed, chained, signed by the device.
type page struct {
	replica causal.ReplicaID
	first   uint64
	edits   []admission
	// signature is the device's over the head of the chain. It is kept, so that anyone can prove later who sent what.
	signature []byte
}

// readPage decodes a page, verifies its signature over the head of its chain, and holds every edit against the schema. A page that is badly formed or
// signed is refused whole and counts for nothing.
func (l *Ledger) readPage(c Caller, replica causal.ReplicaID, m *syncv1.Page) (*page, error) {
	edits, err := wire.DecodePage(replica, m)
	if err != nil {
		return nil, err
	}
	last := edits[len(edits)-1]
	statement := wire.Statement(replica, m.GetFirstCounter(), last.Edit.Dot.Counter, last.Hash)
	if err := c.Verify(statement, m.GetSignature()); err != nil || len(m.GetSignature()) != 64 {
		return nil, fault.New(faultv1.Reason_REASON_BAD_SIGNATURE, "page.signature", "", "")
	}
	p := &page{replica: replica, first: m.GetFirstCounter(), edits: make([]admission, len(edits)), signature: m.GetSignature()}
	l.judgeForms(p, edits)
	return p, nil
}

// judgeForms makes the admissions of a page's edits, which depend on nothing but themselves, on all processors.
func (l *Ledger) judgeForms(p *page, edits []wire.Chained) {
	judge := func(from, to int) {
		for i := from; i < to; i++ {
			p.edits[i] = l.admission(edits[i].Edit, edits[i].Hash, record.FromDevice)
		}
	}
	var wg sync.WaitGroup
	share := max(minShare, (len(edits)+runtime.GOMAXPROCS(0)-1)/runtime.GOMAXPROCS(0))
	for from := share; from < len(edits); from += share {
		wg.Go(func() { judge(from, min(from+share, len(edits))) })
	}
	judge(0, min(share, len(edits)))
	wg.Wait()
}

// minShare is how many edits are worth a goroutine.
const minShare = 32

// checkHead holds the page against what the same request says is the replica's newest edit. Afterwards it would be too late to refuse.
func (p *page) checkHead(m *syncv1.ExchangeRequest) error {
	last := &p.edits[len(p.edits)-1]
	switch {
	case m.GetHeadCounter() < last.edit.Dot.Counter,
		m.GetHeadCounter() == last.edit.Dot.Counter && string(m.GetHeadHash()) != string(last.chain[:]):
		return fault.New(faultv1.Reason_REASON_NOT_CANONICAL, "head_counter", strconv.FormatUint(m.GetHeadCounter(), 10), "the newest edit of the replica, with its hash")
	}
	return nil
}

// push takes a page in one transaction and answers a verdict for every edit of it that did not take effect as it came.
func (l *Ledger) push(ctx context.Context, c Caller, p *page) (map[uint64]*verdict, error) {
	var verdicts map[uint64]*verdict
	err := l.store.Update(ctx, func(w store.Writer) error {
		if err := c.Claim(w, p.replica); err != nil {
			return err
		}
		fresh, err := p.fresh(w)
		if err != nil {
			return err
		}
		verdicts, err = p.repeated(w, len(p.edits)-len(fresh))
		if err != nil || len(fresh) == 0 {
			return err
		}
		if err := p.keepSignature(w); err != nil {
			return err
		}
		return l.admitAll(w, c, fresh, verdicts)
	})
	return verdicts, err
}

func (p *page) keepSignature(w store.Writer) error {
	last := p.edits[len(p.edits)-1].edit.Dot.Counter
	return w.Put(pageKey(p.replica, last), signedPage{first: p.first, signature: p.signature}.encode())
}

func (l *Ledger) admitAll(w store.Writer, c Caller, fresh []admission, verdicts map[uint64]*verdict) error {
	b, err := l.newBatch(w, c.Org)
	if err != nil {
		return err
	}
	for i := range fresh {
		v, err := b.admit(&fresh[i])
		if err != nil {
			return err
		}
		if v != nil {
			verdicts[fresh[i].edit.Dot.Counter] = v
		}
	}
	if err := b.wakeAll(); err != nil {
		return err
	}
	if err := b.enterScope(c, fresh); err != nil {
		return err
	}
	return b.flush()
}

// fresh holds the page against the chain that the server has of its replica, and returns the edits that are new: all of them, some, or none when the
// page was sent before. A page that leaves a gap, or whose chain is another, is refused.
func (p *page) fresh(r store.Reader) ([]admission, error) {
	counter, have, err := chainHead(r, p.replica)
	if err != nil {
		return nil, err
	}
	if p.first > counter+1 {
		return nil, resumeFrom(counter + 1)
	}
	if p.first > 1 {
		if p.first-1 < counter {
			have, err = readLink(r, causal.Dot{Replica: p.replica, Counter: p.first - 1})
		}
		if err != nil {
			return nil, err
		}
		if have.hash != p.edits[0].edit.Previous {
			return nil, collision(counter)
		}
	} else if p.edits[0].edit.Previous != (record.Hash{}) {
		return nil, fault.New(faultv1.Reason_REASON_NOT_CANONICAL, "page.previous", "", "zeros before the first edit")
	}
	same := int(min(counter+1-p.first, uint64(len(p.edits))))
	if same == 0 {
		return p.edits, nil
	}
	have, err = readLink(r, p.edits[same-1].edit.Dot)
	if err != nil {
		return nil, err
	}
	if have.hash != p.edits[same-1].chain {
		return nil, collision(counter)
	}
	return p.edits[same:], nil
}

// repeated is the verdicts of the first n edits of the page, which the server took before: the answer that may have been lost.
func (p *page) repeated(r store.Reader, n int) (map[uint64]*verdict, error) {
	out := map[uint64]*verdict{}
	for i := range p.edits[:n] {
		v, err := verdictOf(r, &p.edits[i].edit)
		if err != nil {
			return nil, err
		}
		if v != nil {
			out[p.edits[i].edit.Dot.Counter] = v
		}
	}
	return out, nil
}

// verdictOf is what became of an edit that the server holds.
func verdictOf(r store.Reader, e *record.Edit) (*verdict, error) {
	at, err := readLink(r, e.Dot)
	if err != nil {
		return nil, err
	}
	ev, err := readEvent(r, at.seq)
	if err != nil {
		return nil, err
	}
	if ev.outcome == duplicate {
		return &verdict{known: e.Dot}, nil
	}
	v, err := r.Get(heldKey(ev.org, e.Key, e.Dot))
	if errors.Is(err, store.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	h, err := decodeHeld(v)
	return &verdict{held: &h.Held}, err
}

func resumeFrom(counter uint64) *fault.Error {
	return fault.New(faultv1.Reason_REASON_RESUME_FROM, "page.first_counter", "", "").With("counter", strconv.FormatUint(counter, 10))
}

func collision(counter uint64) *fault.Error {
	return fault.New(faultv1.Reason_REASON_DOT_COLLISION, "replica", "", "").With("counter", strconv.FormatUint(counter, 10))
}
