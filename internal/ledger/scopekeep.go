package ledger

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"maps"
	"slices"
	"time"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// Booked is whom a device holds because of what its clinic has booked and done: the patients at the end of every term within one of the spans. Terms of
// patients end with the 16 bytes of the patient's id. It is compared as a whole, so it must change only when the day turns or the device moves.
type Booked struct {
	Clinic record.ID
	Spans  []TermSpan
}

// TermSpan is the terms from From on and before Until.
type TermSpan struct{ From, Until string }

// holding is why a patient is in a device's scope; the zero value is for one who is outside.
type holding struct {
	asked   bool   // by the device, until it gives her back
	booked  bool   // by Booked
	untilMS uint64 // until then, in milliseconds since 1970 UTC: opened with a reason, or treated; 0 for neither
}

// The parts of a device's scope that say why, and when to look again. Under 'r' and a patient stands why she is held, where it is not that the device asked
// for her without end; under 'e' the earliest end among these; under 'b' what the booked were found by. Under 'c' and a clinic in the device's place
// stands the sequence of the latest change of what it has booked.
const (
	scopeReason  = 'r'
	scopeEnd     = 'e'
	scopeBooked  = 'b'
	scopeChanged = 'c'
)

const (
	reasonAsked  = 1
	reasonBooked = 2
)

func scopeReasonKey(device, patient record.ID) []byte {
	return append(scopeKey(device, scopeReason), patient[:]...)
}

func (h holding) encode() []byte {
	b := byte(0)
	if h.asked {
		b |= reasonAsked
	}
	if h.booked {
		b |= reasonBooked
	}
	return binary.BigEndian.AppendUint64([]byte{b}, h.untilMS)
}

func decodeHolding(v []byte) (holding, error) {
	if len(v) != 9 || v[0] > reasonAsked|reasonBooked {
		return holding{}, errors.New("reason to hold a patient is not of its form")
	}
	h := holding{v[0]&reasonAsked != 0, v[0]&reasonBooked != 0, binary.BigEndian.Uint64(v[1:])}
	if h == (holding{}) || h == (holding{asked: true}) {
		return h, errors.New("reason to hold a patient says nothing")
	}
	return h, nil
}

// optional is what a row says; nil where there is none.
func optional(r store.Reader, key []byte) ([]byte, error) {
	v, err := r.Get(key)
	if errors.Is(err, store.ErrNotFound) {
		return nil, nil
	}
	return v, err
}

func readHolding(r store.Reader, device, patient record.ID) (holding, error) {
	v, err := optional(r, scopeReasonKey(device, patient))
	if err != nil || v != nil {
		if err != nil {
			return holding{}, err
		}
		return decodeHolding(v)
	}
	in, err := optional(r, scopePatientKey(device, patient))
	return holding{asked: in != nil}, err
}

// hold lets a device hold a patient for these reasons and no other; without any she leaves. Entering and leaving is an event of the log.
func (b *batch) hold(device, patient record.ID, next holding) error {
	have, err := readHolding(b.w, device, patient)
	if err != nil || have == next {
		return err
	}
	if (have == holding{}) != (next == holding{}) {
		if err := b.cross(device, patient, next != holding{}); err != nil {
			return err
		}
	}
	if next == (holding{}) || next == (holding{asked: true}) {
		return b.w.Delete(scopeReasonKey(device, patient))
	}
	if err := b.noteEnd(device, next.untilMS); err != nil {
		return err
	}
	return b.w.Put(scopeReasonKey(device, patient), next.encode())
}

// noteEnd keeps the earliest end.
func (b *batch) noteEnd(device record.ID, endMS uint64) error {
	have, err := optional(b.w, scopeKey(device, scopeEnd))
	if err != nil || endMS == 0 || len(have) == 8 && binary.BigEndian.Uint64(have) <= endMS {
		return err
	}
	return b.w.Put(scopeKey(device, scopeEnd), binary.BigEndian.AppendUint64(nil, endMS))
}

// keepScope lets those enter and leave whom what is booked, and the time, say. It costs two rows when nothing changed.
func (l *Ledger) keepScope(ctx context.Context, c Caller) error {
	var ended, anew bool
	err := l.store.View(ctx, func(r store.Reader) error {
		mode, err := readScopeMode(r, c.Device)
		if err != nil || mode != syncv1.ScopeMode_SCOPE_MODE_PATIENTS {
			return err
		}
		end, err := optional(r, scopeKey(c.Device, scopeEnd))
		if err != nil {
			return err
		}
		ended = len(end) == 8 && binary.BigEndian.Uint64(end) <= uint64(l.Now().UnixMilli())
		_, mark, err := l.bookedAnew(r, c)
		anew = mark != nil
		return err
	})
	if err != nil || !ended && !anew {
		return err
	}
	return l.inBatch(ctx, c.Org, func(b *batch) error {
		if err := b.endScope(c.Device); err != nil {
			return err
		}
		return b.keepBooked(c)
	})
}

// bookedAnew is whom the device is to hold now, and what is noted when that was done; nil when it was done before, or cannot be.
func (l *Ledger) bookedAnew(r store.Reader, c Caller) (*Booked, []byte, error) {
	if c.Booked == nil || l.Terms.Of == nil {
		return nil, nil, nil
	}
	booked, err := c.Booked(r)
	if err != nil || booked == nil {
		return nil, nil, err
	}
	changed, err := optional(r, scopeKey(booked.Clinic, scopeChanged))
	if err != nil {
		return nil, nil, err
	}
	have, err := optional(r, scopeKey(c.Device, scopeBooked))
	mark := l.bookedMark(booked, changed)
	if err != nil || bytes.Equal(mark, have) {
		return nil, nil, err
	}
	if kept, err := l.termsKept(r); err != nil || !kept {
		return nil, nil, err
	}
	return booked, mark, nil
}

// bookedMark is the form in which a device's scope says what its booked were found by: the version of the terms, the clinic, the latest change of what it
// has booked, and the spans.
func (l *Ledger) bookedMark(w *Booked, changed []byte) []byte {
	b := binary.BigEndian.AppendUint64(nil, l.Terms.Version)
	b = append(b, w.Clinic[:]...)
	b = append(b, append(make([]byte, 8-len(changed)), changed...)...)
	for _, s := range w.Spans {
		for _, end := range []string{s.From, s.Until} {
			b = append(binary.AppendUvarint(b, uint64(len(end))), end...)
		}
	}
	return b
}

// endScope takes back what has come to its end.
func (b *batch) endScope(device record.ID) error {
	held, err := holdings(b.w, device)
	if err != nil {
		return err
	}
	if err := b.w.Delete(scopeKey(device, scopeEnd)); err != nil {
		return err
	}
	for _, p := range sortedPatients(held) {
		h := held[p]
		if h.untilMS > 0 && h.untilMS <= uint64(b.atMS) {
			h.untilMS = 0
			if err := b.hold(device, p, h); err != nil {
				return err
			}
		}
		if err := b.noteEnd(device, h.untilMS); err != nil {
			return err
		}
	}
	return nil
}

// keepBooked lets those be held who are booked now, and nobody else for that.
func (b *batch) keepBooked(c Caller) error {
	booked, mark, err := b.l.bookedAnew(b.w, c)
	if err != nil || mark == nil {
		return err
	}
	now, err := bookedIn(b.w, b.org, booked.Spans)
	if err != nil {
		return err
	}
	held, err := holdings(b.w, c.Device)
	if err != nil {
		return err
	}
	for p := range held {
		if held[p].booked {
			now[p] = now[p] || false
		}
	}
	for _, p := range sortedPatients(now) {
		h, err := readHolding(b.w, c.Device, p)
		if err != nil {
			return err
		}
		h.booked = now[p]
		if err := b.hold(c.Device, p, h); err != nil {
			return err
		}
	}
	return b.w.Put(scopeKey(c.Device, scopeBooked), mark)
}

// holdings is the patients whom a device holds for other reasons than that it asked without end.
func holdings(r store.Reader, device record.ID) (map[record.ID]holding, error) {
	out := map[record.ID]holding{}
	prefix := scopeKey(device, scopeReason)
	err := r.Scan(prefix, after(prefix), func(key, v []byte) (err error) {
		if len(key) != len(prefix)+16 {
			return errors.New("reason to hold a patient names none")
		}
		out[record.ID(key[len(prefix):])], err = decodeHolding(v)
		return err
	})
	return out, err
}

// bookedIn is the patients at the end of the terms within some spans.
func bookedIn(r store.Reader, org record.ID, spans []TermSpan) (map[record.ID]bool, error) {
	out := map[record.ID]bool{}
	for _, s := range spans {
		err := r.Scan(termPrefix(org, s.From), termPrefix(org, s.Until), func(key, _ []byte) error {
			term, _, err := readTerm(key)
			if err == nil && len(term) >= 16 {
				out[record.ID([]byte(term[len(term)-16:]))] = true
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

func sortedPatients[V any](m map[record.ID]V) []record.ID {
	return slices.SortedFunc(maps.Keys(m), func(a, b record.ID) int { return bytes.Compare(a[:], b[:]) })
}

// noteBooked notes that what a clinic has booked changed, so that the next exchange of its devices looks at it.
func (p *pendingRow) noteBooked(w store.Writer, l *Ledger, term string) error {
	if l.Terms.Clinic == nil {
		return nil
	}
	clinic, ok := l.Terms.Clinic(term)
	if !ok {
		return nil
	}
	return w.Put(scopeKey(clinic, scopeChanged), binary.BigEndian.AppendUint64(nil, p.last))
}

// treatedUntil is when a patient leaves whom the device treated now: at the end of a day in UTC, so that a day's edits move it once. 0 is never.
func (b *batch) treatedUntil(life time.Duration) uint64 {
	if life <= 0 {
		return 0
	}
	day := (24 * time.Hour).Milliseconds()
	return uint64((b.atMS+life.Milliseconds())/day*day + day)
}

// parseBookedMark reads what bookedMark wrote.
func parseBookedMark(b []byte) (spans []TermSpan, changed []byte, version uint64, err error) {
	short := errors.New("what the booked were found by ends early")
	if len(b) < 32 {
		return nil, nil, 0, short
	}
	version, changed, b = binary.BigEndian.Uint64(b), b[24:32], b[32:]
	var ends []string
	for len(b) > 0 {
		n, rest, err := causal.Uvarint(b)
		if err != nil || n > uint64(len(rest)) {
			return nil, nil, 0, short
		}
		ends, b = append(ends, string(rest[:n])), rest[n:]
	}
	if len(ends)%2 != 0 {
		return nil, nil, 0, short
	}
	for ; len(ends) > 0; ends = ends[2:] {
		spans = append(spans, TermSpan{ends[0], ends[1]})
	}
	return spans, changed, version, nil
}
