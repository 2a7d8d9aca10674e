// Package replica is one installation's side of the sync, without a disk, a network or a clock: it says what to store, what to send, and what
// changed. A tablet and the command line drive the same one.
//
// A Replica holds the server's states and its own edits that are not yet in them apart; what it shows (View) is their join. Every method that changes
// it returns Changes: rows to put and delete in one durable transaction. The host stores them before it calls another method, shows a thing as
// saved, or sends anything; when storing fails it throws the Replica away and loads it anew.
//
//	for step := r.Next(); ; step = r.Next() {
//		switch {
//		case step.Hello != nil:    // send, then r.ReceiveHello(step, answer, freshID)
//		case step.Exchange != nil: // sign step.Statement when there is one, send, then r.Receive(step, answer)
//		default:                   // in step with the server
//		}
//	}
//
// When the server refuses, Refused says whether the next step mends it. A Replica is for one goroutine.
package replica

import (
	"crypto/sha256"
	"encoding/binary"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// Replica is one installation with everything it holds.
//
// Invariants:
//  1. incarnations is never empty; only the last makes new edits;
//  2. of each incarnation, kept ascends by counter without a gap up to counter, and holds every edit that the server has not acknowledged;
//  3. an edit that is not in a local record's server state is in its own list, in the order in which edits were made, unless it was refused; those that
//     took effect come before those that wait or are not acknowledged.
type Replica struct {
	// Limits bounds one exchange. The host may set it between calls; it is not stored.
	Limits Limits

	schema       *record.Schema
	incarnations []*incarnation
	cursor       []byte
	more         bool // the last answer said that there is more to pull
	replacing    bool // the server's states are being replaced: a restore lost some of what they were made of
	started      bool // something was received since the replica was made or loaded
	locals       map[record.Key]*local
	recovered    []Recovered
	safety       map[record.ID]*syncv1.SafetyEntry // of patients whose records are not held
	wishes       scopeWishes
	unwished     []record.ID // wishes that were given up, whose rows go with the next answer
	meta         []byte      // the meta row as it was last given to be stored
}

// Limits bounds what one exchange carries, for lines that are bad or dear. Zero stands for as much as the protocol allows.
type Limits struct {
	PageEdits int    // the most edits in a page
	Rows      uint32 // the most records in an answer
}

// incarnation is one chain of edits.
type incarnation struct {
	id      causal.ReplicaID
	counter uint64 // of the newest edit
	head    record.Hash
	acked   uint64 // counters up to this are on the server
	kept    []*own
	hello   bool // must say hello before it sends
	// backedUp is the counter up to which the server's newest good backup holds it, as the server last said.
	backedUp uint64
	// greeting is the server's answer to hello, until all that were asked for are there.
	greeting *greeting
}

// fate is what the server said of an edit. It is not stored: an edit is pending beyond the acknowledged counter, and waiting when it is listed so.
type fate int

const (
	pending fate = 1 // not acknowledged
	waiting fate = 2 // on the server, waits for others
	settled fate = 3 // on the server: in its state, held, or known under another dot
)

// own is an edit that this installation made.
type own struct {
	edit   record.Edit
	hash   record.Hash
	fate   fate
	sealed sealing
}

// local is a record as this replica has it.
type local struct {
	server *record.State // what the server holds, as far as it was pulled, with own edits that the server acknowledged
	own    []*own        // own edits that are not in server, in the order they were made
	held   []wire.Held   // by the server, ascending by dot
	stale  bool          // server is from before a restore or was left out of scope; the next row replaces it
	// letGo: own edits of it were let go, because the server and its oldest backup hold them. A vector that names a later own edit covers them too.
	letGo bool
}

// Recovered is a value that this replica had from the server and that a restore of the server lost. A person may take it with a new edit.
type Recovered struct {
	Key      record.Key
	Register record.Register
	Sibling  causal.Sibling
	Info     record.DotInfo
}

// New is a replica that has made and seen nothing. id is 16 fresh random bytes.
func New(schema *record.Schema, id causal.ReplicaID) (*Replica, Changes) {
	r := newReplica(schema)
	r.incarnations = []*incarnation{{id: id, hello: true}}
	var ch Changes
	r.putMeta(&ch)
	return r, ch
}

func newReplica(schema *record.Schema) *Replica {
	return &Replica{
		schema: schema, locals: map[record.Key]*local{}, safety: map[record.ID]*syncv1.SafetyEntry{},
		wishes: scopeWishes{patients: map[record.ID]bool{}, granted: map[record.ID]bool{}},
	}
}

// ID is the incarnation that makes new edits.
func (r *Replica) ID() causal.ReplicaID { return r.current().id }

func (r *Replica) current() *incarnation { return r.incarnations[len(r.incarnations)-1] }

// Keys is the records that the replica holds, of one kind or of all when kind is 0, ascending.
func (r *Replica) Keys(kind record.Kind) []record.Key {
	var out []record.Key
	for k, l := range r.locals {
		if (kind == 0 || k.Kind == kind) && (!l.server.Empty() || len(l.own) > 0) {
			out = append(out, k)
		}
	}
	slices.SortFunc(out, record.Key.Compare)
	return out
}

// View is a record as this replica shows it: the server's state joined with its own edits that are not in it. It is never nil; a record that the
// replica does not hold is an empty state. The caller must not change it.
func (r *Replica) View(k record.Key) *record.State {
	l := r.locals[k]
	if l == nil {
		return record.NewState(k)
	}
	var v *record.State
	switch {
	case l.left():
		// What the server had seen of it then nobody sees any more, so no edit may say that its author did.
		v = record.NewState(k)
	case len(l.own) == 0:
		return l.server
	default:
		v = l.server.Clone()
	}
	for _, o := range l.own {
		v.Apply(&o.edit)
	}
	return v
}

// Whole reports whether View shows all that this replica ever wrote into a record. It does not once the record left the scope, until it comes back: what is
// written meanwhile is shown alone. Such a record is not to be signed: the signature would cover, by the replica's counters, what its signer does not see.
func (r *Replica) Whole(k record.Key) bool {
	l := r.locals[k]
	return l == nil || !l.stale || r.replacing && !l.left() || len(l.server.Seen) == 0
}

// CheckWhole is for a host to ask before it signs a record, or edits it from a read whose context is given. STALE_READ when part of the record left this
// replica and the context is not empty: the edit would supersede, by the replica's counters, values that its author does not see. What is added from nothing
// supersedes nothing.
func (r *Replica) CheckWhole(k record.Key, context causal.Vector) error {
	if len(context) == 0 || r.Whole(k) {
		return nil
	}
	return fault.New(faultv1.Reason_REASON_STALE_READ, "context", "",
		"a record that this tablet holds whole; part of this one left it: ask for the patient again and exchange with the server first")
}

// left reports whether the record left the scope and has not come back.
func (l *local) left() bool { return l.stale && l.server.Empty() }

// Held is the edits of a record that the server holds back or that wait there, with what became of those judged since.
func (r *Replica) Held(k record.Key) []wire.Held {
	if l := r.locals[k]; l != nil {
		return l.held
	}
	return nil
}

// Recovered is the values that a restore of the server lost and that nobody took yet.
func (r *Replica) Recovered() []Recovered { return r.recovered }

// Unsent counts the edits that are not on the server.
func (r *Replica) Unsent() int {
	n := 0
	for _, inc := range r.incarnations {
		n += int(inc.counter - inc.acked)
	}
	return n
}

// Digest is over every record's digest: equal on replicas that hold the same edits of the same records.
func (r *Replica) Digest() record.Hash {
	h := sha256.New()
	h.Write([]byte("needlebook replica 1\x00"))
	for _, k := range r.Keys(0) {
		h.Write(binary.AppendUvarint(nil, uint64(k.Kind)))
		h.Write(k.ID[:])
		d := r.View(k).Digest()
		h.Write(d[:])
	}
	return record.Hash(h.Sum(nil))
}

// Draft is an edit to be made.
type Draft struct {
	ID         record.ID // a fresh UUIDv7
	Key        record.Key
	Context    causal.Vector // of the View that was edited from; nil for the View as it is now
	Author     record.ID
	AuthoredAt int64 // the device's clock, milliseconds since 1970 UTC
	Writes     []record.Write
}

// Edit makes an edit. An edit that the schema does not allow is an error that names the field, and nothing is made.
func (r *Replica) Edit(d Draft) (record.Edit, Changes, error) {
	inc := r.current()
	if d.Context == nil {
		d.Context = r.View(d.Key).Seen
	}
	e := record.Edit{
		ID: d.ID, Key: d.Key, Context: d.Context, Author: d.Author, AuthoredAt: d.AuthoredAt, Writes: d.Writes,
		Dot: causal.Dot{Replica: inc.id, Counter: inc.counter + 1}, Previous: inc.head,
	}
	if err := e.Valid(); err != nil {
		return record.Edit{}, Changes{}, notCanonical(err)
	}
	if refusal := r.schema.Check(&e, record.FromDevice); refusal != nil {
		return record.Edit{}, Changes{}, refusal
	}
	var ch Changes
	r.append(inc, e, &ch)
	r.putMeta(&ch)
	return e, ch, nil
}

// append makes e the newest edit of inc. Its dot and Previous continue the chain.
func (r *Replica) append(inc *incarnation, e record.Edit, ch *Changes) {
	o := &own{edit: e, hash: e.Hash(), fate: pending}
	inc.counter, inc.head = e.Dot.Counter, o.hash
	inc.kept = append(inc.kept, o)
	l := r.local(e.Key)
	l.own = append(l.own, o)
	r.putOwn(o, ch)
	ch.changed(e.Key)
}

// local is the record under k, made when the replica does not hold it.
func (r *Replica) local(k record.Key) *local {
	l := r.locals[k]
	if l == nil {
		l = &local{server: record.NewState(k)}
		r.locals[k] = l
	}
	return l
}
