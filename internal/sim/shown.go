package sim

import (
	"context"
	"slices"

	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// shown is what stands where: the values of every record somewhere, and the edits that are held there.
type shown struct {
	states map[record.Key]*record.State
	held   map[record.Key][]wire.Held
	lost   []replicaRecovered
}

type replicaRecovered struct {
	key record.Key
	reg record.Register
	at  int64
}

func (s *shown) visible(k record.Key) func(record.Register, int64) bool {
	saw := sight{}
	if st := s.states[k]; st != nil {
		saw = look(st)
	}
	return saw.has
}

// listed reports whether an edit's value in a register is in a held edit that a person can find.
func (s *shown) listed(m *made, r record.Register, judged bool) bool {
	for i := range s.held[m.key] {
		h := &s.held[m.key][i]
		switch h.Status {
		case syncv1.HeldStatus_HELD_STATUS_HELD, syncv1.HeldStatus_HELD_STATUS_WAITING:
		case syncv1.HeldStatus_HELD_STATUS_GIVEN_UP:
			if !judged {
				continue
			}
		default:
			continue
		}
		if h.Edit.AuthoredAt == m.at {
			if _, ok := registersOf(h.Edit.Writes)[r]; ok {
				return true
			}
		}
	}
	return false
}

// leftOut reports whether an edit was released without its value in a register, which the lead who released it was shown.
func (w *world) leftOut(s *shown, m *made, r record.Register) bool {
	return w.book.left[place{m.key, r}] && slices.ContainsFunc(s.held[m.key], func(h wire.Held) bool {
		return h.Edit.AuthoredAt == m.at && h.Status == syncv1.HeldStatus_HELD_STATUS_RELEASED
	})
}

// writtenIn is every register of a record that anyone wrote.
func (w *world) writtenIn(k record.Key) []record.Register {
	var out []record.Register
	for p := range w.book.writers {
		if p.key == k {
			out = append(out, p.reg)
		}
	}
	return out
}

func (s *shown) recovered(m *made, r record.Register) bool {
	return slices.Contains(s.lost, replicaRecovered{m.key, r, m.at})
}

// onServer is what the server shows.
func (w *world) onServer() *shown {
	s := &shown{states: map[record.Key]*record.State{}, held: map[record.Key][]wire.Held{}}
	for _, k := range w.keys {
		rec, err := w.server.ledger.Read(context.Background(), w.org, k)
		if err == nil {
			s.states[k], s.held[k] = rec.State, rec.Held
		}
	}
	return s
}

// on is what a tablet shows.
func (w *world) on(t *tablet) *shown {
	s := &shown{states: map[record.Key]*record.State{}, held: map[record.Key][]wire.Held{}}
	for _, k := range w.keys {
		s.states[k], s.held[k] = t.r.View(k), t.r.Held(k)
	}
	for _, rec := range t.r.Recovered() {
		s.lost = append(s.lost, replicaRecovered{rec.Key, rec.Register, rec.Info.AuthoredAt})
	}
	return s
}
