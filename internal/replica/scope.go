package replica

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// scopeWishes is the changes of scope that the server was not told yet, and what it was told that it may forget in a restore.
type scopeWishes struct {
	mode     syncv1.ScopeMode
	patients map[record.ID]bool // true to hold whole, false to hold no longer
	limited  bool               // a mode was asked for, now or before
	granted  map[record.ID]bool // patients asked for and not given back since
	// again is whom to ask for while states are being replaced, refused whom of them the server did not let this device hold. They are not stored: what is
	// loaded asks for all of them once more.
	again, refused map[record.ID]bool
}

// The forms of a wish as it is stored. A mode's row has the mode before it.
const (
	wishedAway   = 0
	wished       = 1
	wishWasHeard = 2
)

// maxScopeWishes is how many patients one exchange can add and remove.
const maxScopeWishes = 1000

// LimitScope makes the replica hold whole only the patients it asks for or edits, with a safety index of all others. It is for a new replica, before its
// first exchange.
func (r *Replica) LimitScope() Changes {
	var ch Changes
	r.wishMode(&ch)
	r.started = false
	return ch
}

func (r *Replica) wishMode(ch *Changes) {
	r.wishes.mode, r.wishes.limited = syncv1.ScopeMode_SCOPE_MODE_PATIENTS, true
	ch.put([]byte{tableWishes}, []byte{storedForm, byte(r.wishes.mode), wished})
}

// wishAgain asks anew for what the server may have lost in a restore: the mode, the patients asked for, and those whose records it sent because this
// replica edited them. Until all states are replaced nobody is given back, or what the server still has would be taken for lost.
func (r *Replica) wishAgain(ch *Changes) {
	if !r.wishes.limited {
		return
	}
	r.wishMode(ch)
	r.rememberHeld()
}

// rememberHeld notes whom to ask for while states are being replaced.
func (r *Replica) rememberHeld() {
	r.wishes.again, r.wishes.refused = maps.Clone(r.wishes.granted), map[record.ID]bool{}
	for _, l := range r.locals {
		for _, p := range r.schema.Subjects(l.server) {
			r.wishes.again[p] = true
		}
	}
}

// wishNoMore ends wishAgain. What else is wished goes with the next exchange.
func (r *Replica) wishNoMore() {
	r.wishes.again, r.wishes.refused = nil, nil
	if len(r.wishes.patients) > 0 {
		r.started = false
	}
}

// barred reports whether the server did not let the device ask again for any of the patients whom a record concerns.
func (r *Replica) barred(st *record.State) bool {
	of := r.schema.Subjects(st)
	return len(of) > 0 && !slices.ContainsFunc(of, func(p record.ID) bool { return !r.wishes.refused[p] })
}

// Hold asks for the whole records of a patient at the next exchange; Unhold asks to hold them no longer. Own edits that the server lacks stay.
func (r *Replica) Hold(patient record.ID) Changes { return r.wish(patient, true) }

// Unhold asks to hold a patient's records no longer.
func (r *Replica) Unhold(patient record.ID) Changes { return r.wish(patient, false) }

func (r *Replica) wish(patient record.ID, hold bool) Changes {
	var ch Changes
	r.wishes.patients[patient] = hold
	delete(r.wishes.granted, patient)
	r.started = false
	ch.put(wishKey(patient), []byte{storedForm, flag(hold)})
	return ch
}

// Safety is what is known of the patients whose records the replica does not hold, by their ids. It is no all-clear.
func (r *Replica) Safety() []*syncv1.SafetyEntry {
	out := make([]*syncv1.SafetyEntry, 0, len(r.safety))
	for _, id := range sortedIDs(r.safety) {
		if l := r.locals[patientKey(id)]; l == nil || l.server.Empty() {
			out = append(out, r.safety[id])
		}
	}
	return out
}

func sortedIDs[V any](m map[record.ID]V) []record.ID {
	return slices.SortedFunc(maps.Keys(m), func(a, b record.ID) int { return bytes.Compare(a[:], b[:]) })
}

// scopeChange is the wishes as the next exchange says them; nil when there are none.
func (r *Replica) scopeChange() *syncv1.ScopeChange {
	m := &syncv1.ScopeChange{Mode: r.wishes.mode}
	if r.replacing {
		for _, id := range sortedIDs(r.wishes.again) {
			if len(m.Add) < maxScopeWishes {
				m.Add = append(m.Add, bytes.Clone(id[:]))
			}
		}
	}
	for _, id := range sortedIDs(r.wishes.patients) {
		if r.replacing && (!r.wishes.patients[id] || r.wishes.again[id]) {
			continue
		}
		if list := &m.Remove; len(m.Add) < maxScopeWishes && len(m.Remove) < maxScopeWishes {
			if r.wishes.patients[id] {
				list = &m.Add
			}
			*list = append(*list, bytes.Clone(id[:]))
		}
	}
	if m.Mode == syncv1.ScopeMode_SCOPE_MODE_UNSPECIFIED && len(m.Add)+len(m.Remove) == 0 {
		return nil
	}
	return m
}

// granted forgets the wishes that the server has heard, unless they changed since.
func (r *Replica) granted(m *syncv1.ScopeChange, ch *Changes) {
	if m.GetMode() != syncv1.ScopeMode_SCOPE_MODE_UNSPECIFIED {
		r.wishes.mode = syncv1.ScopeMode_SCOPE_MODE_UNSPECIFIED
		ch.put([]byte{tableWishes}, []byte{storedForm, byte(m.GetMode()), wishWasHeard})
	}
	forget := func(ids [][]byte, hold bool) {
		for _, b := range ids {
			id := record.ID(b)
			if hold {
				delete(r.wishes.again, id)
			}
			if now, said := r.wishes.patients[id]; said && now == hold {
				delete(r.wishes.patients, id)
				if hold {
					r.wishes.granted[id] = true
					ch.put(wishKey(id), []byte{storedForm, wishWasHeard})
				} else {
					ch.delete(wishKey(id))
				}
			}
		}
	}
	forget(m.GetAdd(), true)
	forget(m.GetRemove(), false)
	for _, id := range r.unwished {
		if _, again := r.wishes.patients[id]; !again {
			ch.delete(wishKey(id))
		}
	}
	r.unwished = nil
}

// unwish gives up asking for a patient whom the server does not let the device hold, so that what else there is to exchange is not refused with it. The
// stored wish goes with the next answer; until then it may be asked and given up once more. It reports whether nobody but the replica itself had asked, which
// goes on without her.
func (r *Replica) unwish(refusal *fault.Error) (unasked bool) {
	id, err := record.ParseID(refusal.Meta["patient_id"])
	if err != nil {
		return false
	}
	again := r.wishes.again[id]
	if again {
		delete(r.wishes.again, id)
		r.wishes.refused[id] = refusal.Reason == faultv1.Reason_REASON_NOT_ALLOWED // one who is missing was lost
	}
	if !r.wishes.patients[id] {
		return again
	}
	delete(r.wishes.patients, id)
	r.unwished = append(r.unwished, id)
	return false
}

// takeSafety replaces what was known of patients outside the scope.
func (r *Replica) takeSafety(entries []*syncv1.SafetyEntry, ch *Changes) error {
	for _, e := range entries {
		id, err := record.IDFromBytes(e.GetPatientId())
		if err != nil {
			return fmt.Errorf("safety entry: %w", err)
		}
		b, err := proto.MarshalOptions{Deterministic: true}.Marshal(e)
		if err != nil {
			return fmt.Errorf("safety entry: %w", err)
		}
		r.safety[id] = e
		ch.put(safetyKey(id), append([]byte{storedForm}, b...))
		ch.changed(patientKey(id))
	}
	return nil
}

func (ld *loading) safetyRow(row Row) error {
	m := &syncv1.SafetyEntry{}
	if len(row.Key) != 17 || len(row.Value) == 0 || row.Value[0] != storedForm {
		return errors.New("safety entry: form is not known")
	}
	if err := proto.Unmarshal(row.Value[1:], m); err != nil || !bytes.Equal(m.GetPatientId(), row.Key[1:]) {
		return errors.New("safety entry: is not of its patient")
	}
	ld.r.safety[record.ID(row.Key[1:])] = m
	return nil
}

func (ld *loading) wishRow(row Row) error {
	if len(row.Value) == 0 || row.Value[0] != storedForm {
		return errors.New("scope: form is not known")
	}
	how := row.Value[len(row.Value)-1]
	switch {
	case len(row.Key) == 1 && len(row.Value) == 3 && row.Value[1] == byte(syncv1.ScopeMode_SCOPE_MODE_PATIENTS) && (how == wished || how == wishWasHeard):
		ld.r.wishes.limited = true
		if how == wished {
			ld.r.wishes.mode = syncv1.ScopeMode(row.Value[1])
		}
	case len(row.Key) == 17 && len(row.Value) == 2 && how <= wished:
		ld.r.wishes.patients[record.ID(row.Key[1:])] = how == wished
	case len(row.Key) == 17 && len(row.Value) == 2 && how == wishWasHeard:
		ld.r.wishes.granted[record.ID(row.Key[1:])] = true
	default:
		return errors.New("scope: neither a mode nor a patient that is held or not")
	}
	return nil
}
