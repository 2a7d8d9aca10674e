package ledger

import (
	"context"
	"encoding/binary"
	"errors"
	"slices"
	"sync"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// Summarise folds what a device must know of a patient whose records it does not hold, from the patient's record and the others that concern the
// patient. It must be a function of the states only.
type Summarise func(patient record.ID, states []*record.State) *syncv1.SafetyEntry

// A device's scope is in tableScope: under kind 'm' its mode, under 'p' and a patient the sequence at which the patient entered, under 'l' and a
// sequence the patient that entered or left there. scopekeep.go says what else.
const (
	scopeMode    = 'm'
	scopePatient = 'p'
	scopeLog     = 'l'
)

// The counters by which the log says which way a patient went.
const (
	scopeEntered = 1
	scopeLeft    = 2
)

func scopeKey(device record.ID, part byte) []byte {
	b := append(make([]byte, 0, 40), tableScope)
	b = append(b, device[:]...)
	return append(b, part)
}

func scopePatientKey(device, patient record.ID) []byte {
	return append(scopeKey(device, scopePatient), patient[:]...)
}

func scopeLogKey(device record.ID, seq uint64) []byte {
	return binary.BigEndian.AppendUint64(scopeKey(device, scopeLog), seq)
}

// subjectKey is the index of the records that concern a patient.
func subjectKey(org, patient record.ID, k record.Key) []byte {
	b := append(make([]byte, 0, 64), tableSubjects)
	b = append(b, org[:]...)
	b = append(b, patient[:]...)
	b = binary.BigEndian.AppendUint16(b, uint16(k.Kind))
	return append(b, k.ID[:]...)
}

// indexSubjects notes which patients a record concerns, and when it changed. A record that concerned a patient once stays in her index, so that what is
// folded of her is folded anew without it.
func (p *pendingRow) indexSubjects(w store.Writer, l *Ledger, org record.ID) error {
	now := l.Schema.Subjects(p.state)
	for _, patient := range append(now, p.concerned...) {
		if err := w.Put(subjectKey(org, patient, p.state.Key), binary.BigEndian.AppendUint64(nil, p.last)); err != nil {
			return err
		}
	}
	return nil
}

// recordsOf is the records that concern a patient, ascending, and the sequence of the latest change among them.
func recordsOf(r store.Reader, org, patient record.ID) (keys []record.Key, latest uint64, err error) {
	prefix := subjectKey(org, patient, record.Key{})[:33]
	err = r.Scan(prefix, after(prefix), func(key, v []byte) error {
		if len(v) != 8 {
			return errors.New("subject entry is not of its size")
		}
		latest = max(latest, binary.BigEndian.Uint64(v))
		keys = append(keys, record.Key{Kind: record.Kind(binary.BigEndian.Uint16(key[33:])), ID: record.ID(key[35:])})
		return nil
	})
	return keys, latest, err
}

// summaries remembers what was folded of patients lately: many tablets ask for the same one after every change. It may be used concurrently.
type summaries struct {
	mu   sync.Mutex
	kept map[patientAt]summarised
}

type patientAt struct{ org, patient record.ID }

// summarised is a summary with the sequence of the latest change that is in it. That sequence names the states that it was made of.
type summarised struct {
	latest uint64
	entry  *syncv1.SafetyEntry
}

// maxSummaries bounds what is remembered; then all is forgotten and made again as it is asked for.
const maxSummaries = 50_000

func (c *summaries) get(at patientAt, latest uint64) (*syncv1.SafetyEntry, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	s, ok := c.kept[at]
	return s.entry, ok && s.latest == latest
}

func (c *summaries) put(at patientAt, s summarised) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.kept == nil || len(c.kept) >= maxSummaries {
		c.kept = map[patientAt]summarised{}
	}
	c.kept[at] = s
}

// summary is what must be known of a patient, as r has her records. The entry is shared: it is not to be changed.
func (l *Ledger) summary(r store.Reader, org, patient record.ID) (*syncv1.SafetyEntry, error) {
	keys, latest, err := recordsOf(r, org, patient)
	if err != nil {
		return nil, err
	}
	at := patientAt{org, patient}
	if entry, ok := l.summaries.get(at, latest); ok {
		return entry, nil
	}
	var states []*record.State
	for _, k := range keys {
		row, err := readRow(r, org, k)
		if err != nil {
			return nil, err
		}
		if slices.Contains(l.Schema.Subjects(row.state), patient) {
			states = append(states, row.state)
		}
	}
	s := summarised{latest, l.Summarise(patient, states)}
	l.summaries.put(at, s)
	return s.entry, nil
}

// changeScope makes the change that a request asks for, and those that what is booked and the time ask for. It is done before edits are taken, and is durable
// on its own: done again it changes nothing.
func (l *Ledger) changeScope(ctx context.Context, c Caller, m *syncv1.ScopeChange) error {
	if err := l.grantWishes(ctx, c, m); err != nil {
		return err
	}
	return l.keepScope(ctx, c)
}

func (l *Ledger) grantWishes(ctx context.Context, c Caller, m *syncv1.ScopeChange) error {
	if m == nil {
		return nil
	}
	return l.inBatch(ctx, c.Org, func(b *batch) error {
		if err := b.setScopeMode(c.Device, m.GetMode()); err != nil {
			return err
		}
		for _, id := range m.GetAdd() {
			if err := b.moveScope(c, id, true); err != nil {
				return err
			}
		}
		for _, id := range m.GetRemove() {
			if err := b.moveScope(c, id, false); err != nil {
				return err
			}
		}
		return nil
	})
}

func (b *batch) setScopeMode(device record.ID, mode syncv1.ScopeMode) error {
	if mode == syncv1.ScopeMode_SCOPE_MODE_UNSPECIFIED {
		return nil
	}
	have, err := readScopeMode(b.w, device)
	if err != nil || have == mode {
		return err
	}
	if have != syncv1.ScopeMode_SCOPE_MODE_UNSPECIFIED {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "scope.mode", mode.String(), have.String()+", which this device began with")
	}
	if err := b.logScope(device, record.ID{}, true); err != nil { // so that no cursor outlives the mode
		return err
	}
	return b.w.Put(scopeKey(device, scopeMode), []byte{byte(mode)})
}

func readScopeMode(r store.Reader, device record.ID) (syncv1.ScopeMode, error) {
	v, err := r.Get(scopeKey(device, scopeMode))
	if errors.Is(err, store.ErrNotFound) {
		return syncv1.ScopeMode_SCOPE_MODE_UNSPECIFIED, nil
	}
	if err != nil || len(v) != 1 {
		return 0, err
	}
	return syncv1.ScopeMode(v[0]), nil
}

// ScopeOf says what a device holds whole: every patient, or how many.
func (l *Ledger) ScopeOf(ctx context.Context, device record.ID) (all bool, patients int, err error) {
	err = l.store.View(ctx, func(r store.Reader) error {
		mode, err := readScopeMode(r, device)
		if all = mode != syncv1.ScopeMode_SCOPE_MODE_PATIENTS; err != nil || all {
			return err
		}
		prefix := scopeKey(device, scopePatient)
		return r.Scan(prefix, after(prefix), func(_, _ []byte) error { patients++; return nil })
	})
	return all, patients, err
}

// moveScope lets a patient enter or leave a device's scope by its wish. One whom something else holds stays when she is given back.
func (b *batch) moveScope(c Caller, id []byte, enters bool) error {
	patient, err := record.IDFromBytes(id)
	if err != nil {
		return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "scope", "", "patient ids of 16 bytes")
	}
	have, err := readHolding(b.w, c.Device, patient)
	if err != nil || have.asked && enters {
		return err
	}
	if !enters {
		return b.hold(c.Device, patient, holding{booked: have.booked})
	}
	if c.MayHold != nil {
		if err := c.MayHold(b.w, patient); fault.Of(err) != nil && have.booked {
			return nil // what is booked holds her, without the right to keep her longer
		} else if err != nil {
			return err
		}
	}
	end, err := c.opened(b.w, patient)
	if err != nil {
		return err
	}
	if end > 0 {
		have.untilMS = max(have.untilMS, end)
	} else {
		have.asked, have.untilMS = true, 0
	}
	return b.hold(c.Device, patient, have)
}

// opened is until when a patient's records are open to the caller only because they were opened with a reason, in milliseconds since 1970 UTC; 0 when not so.
func (c *Caller) opened(r store.Reader, patient record.ID) (uint64, error) {
	if c.Opened == nil {
		return 0, nil
	}
	end, err := c.Opened(r, patient)
	if err != nil || end.IsZero() {
		return 0, err
	}
	return uint64(max(end.UnixMilli(), 1)), nil
}

// cross lets a patient enter or leave a device's scope, as an event of the log.
func (b *batch) cross(device, patient record.ID, enters bool) error {
	err := b.logScope(device, patient, enters)
	if err != nil {
		return err
	}
	direction := byte(0)
	if enters {
		direction = 1
		err = b.w.Put(scopePatientKey(device, patient), binary.BigEndian.AppendUint64(nil, b.head.seq))
	} else {
		err = b.w.Delete(scopePatientKey(device, patient))
	}
	if err != nil {
		return err
	}
	return b.w.Put(scopeLogKey(device, b.head.seq), append(patient[:], direction))
}

// enterScope lets the patients whose records a device edited enter its scope: it treats them, so it must hold what others know of them.
func (b *batch) enterScope(c Caller, edits []admission) error {
	mode, err := readScopeMode(b.w, c.Device)
	if err != nil || mode != syncv1.ScopeMode_SCOPE_MODE_PATIENTS {
		return err
	}
	for i := range edits {
		row, err := b.row(edits[i].edit.Key)
		if err != nil {
			return err
		}
		for _, p := range b.l.Schema.Subjects(row.state) {
			if err := b.treat(c, p); err != nil {
				return err
			}
		}
	}
	return nil
}

// treat holds a patient whose record the device edited: as long as it is open to it, or as TreatedFor says.
func (b *batch) treat(c Caller, patient record.ID) error {
	have, err := readHolding(b.w, c.Device, patient)
	if err != nil || have.asked {
		return err
	}
	end, err := c.opened(b.w, patient)
	if err != nil {
		return err
	}
	if end == 0 {
		end = b.treatedUntil(c.TreatedFor)
	}
	if have.untilMS = max(have.untilMS, end); end == 0 {
		have.asked, have.untilMS = true, 0
	}
	return b.hold(c.Device, patient, have)
}

// logScope appends the event of a device's scope; that of its mode names no patient. It is linked to no record: it changes none.
func (b *batch) logScope(device, patient record.ID, enters bool) error {
	e := event{
		outcome: scoped, org: b.org, seq: b.head.seq + 1, atMS: b.atMS, key: record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: patient},
		ref: causal.Dot{Replica: causal.ReplicaID(device), Counter: scopeLeft},
	}
	if enters {
		e.ref.Counter = scopeEntered
	}
	e.commit = nextCommit(b.head.commit, &e, record.Hash{})
	b.head = head{e.seq, e.commit}
	return b.w.Put(eventKey(e.seq), e.encode())
}

// scope is a device's scope as one answer sees it.
type scope struct {
	r       store.Reader
	device  record.ID
	limited bool
	entered map[record.ID]uint64 // by patient, 0 for outside; filled as it is asked for
}

func readScope(r store.Reader, device record.ID) (*scope, error) {
	mode, err := readScopeMode(r, device)
	return &scope{r: r, device: device, limited: mode == syncv1.ScopeMode_SCOPE_MODE_PATIENTS, entered: map[record.ID]uint64{}}, err
}

// since is the sequence at which the patient entered the scope; 0 when the patient is outside.
func (s *scope) since(patient record.ID) (uint64, error) {
	if seq, ok := s.entered[patient]; ok {
		return seq, nil
	}
	v, err := s.r.Get(scopePatientKey(s.device, patient))
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return 0, err
	}
	if err == nil && len(v) == 8 {
		s.entered[patient] = binary.BigEndian.Uint64(v)
	} else {
		s.entered[patient] = 0
	}
	return s.entered[patient], nil
}

// place says how a record stands to the scope: whether the device holds it, since which sequence at the latest (0 for always), and the patients outside
// of whom something must be known.
func (s *scope) place(subjects []record.ID) (held bool, since uint64, outside []record.ID, err error) {
	if !s.limited || len(subjects) == 0 {
		return true, 0, nil, nil
	}
	for _, p := range subjects {
		seq, err := s.since(p)
		if err != nil {
			return false, 0, nil, err
		}
		if seq == 0 {
			outside = append(outside, p)
			continue
		}
		if !held || seq < since {
			since = seq
		}
		held = true
	}
	return held, since, outside, nil
}
