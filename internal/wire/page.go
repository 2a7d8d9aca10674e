// Package wire turns edits and states into the messages of needlebook.sync.v1 and back. Both ends of an exchange use it, so that they agree on
// every byte that is hashed or signed. It is pure. Decoding accepts only what encoding makes; what is wrong carries a fault reason.
package wire

import (
	"bytes"
	"encoding/binary"
	"math"
	"slices"
	"strconv"

	"google.golang.org/protobuf/proto"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// Limits of a page. A page is refused whole beyond them.
const (
	MaxPageEdits = 1000
	MaxPageBytes = 3 << 20
)

// Tables is the replicas and authors that messages refer to by index, so that each id crosses the wire once an answer.
type Tables struct {
	Replicas [][]byte
	Authors  [][]byte

	replicas map[causal.ReplicaID]int
	authors  map[record.ID]int
}

// Replica is the index of r, added when it is new.
func (t *Tables) Replica(r causal.ReplicaID) int {
	if i, ok := t.replicas[r]; ok {
		return i
	}
	if t.replicas == nil {
		t.replicas = map[causal.ReplicaID]int{}
	}
	i := len(t.Replicas)
	t.replicas[r] = i
	t.Replicas = append(t.Replicas, r[:])
	return i
}

// Author is the index of a, added when it is new.
func (t *Tables) Author(a record.ID) int {
	if i, ok := t.authors[a]; ok {
		return i
	}
	if t.authors == nil {
		t.authors = map[record.ID]int{}
	}
	i := len(t.Authors)
	t.authors[a] = i
	t.Authors = append(t.Authors, a[:])
	return i
}

// ids is tables as they were received, checked.
type ids struct {
	replicas []causal.ReplicaID
	authors  []record.ID
}

func readTables(replicas, authors [][]byte) (ids, error) {
	out := ids{replicas: make([]causal.ReplicaID, len(replicas)), authors: make([]record.ID, len(authors))}
	for i, b := range replicas {
		if len(b) != len(causal.ReplicaID{}) {
			return ids{}, notCanonical("replicas", "ids of 16 bytes")
		}
		out.replicas[i] = causal.ReplicaID(b)
	}
	for i, b := range authors {
		id, err := record.IDFromBytes(b)
		if err != nil {
			return ids{}, notCanonical("authors", "ids of 16 bytes")
		}
		out.authors[i] = id
	}
	return out, nil
}

func notCanonical(field, want string) *fault.Error {
	return fault.New(faultv1.Reason_REASON_NOT_CANONICAL, field, "", want)
}

// vector reads pairs of index and counter.
func (t ids) vector(pairs []uint64) (causal.Vector, error) {
	if len(pairs)%2 != 0 {
		return nil, notCanonical("context", "pairs of index and counter")
	}
	v := make(causal.Vector, 0, len(pairs)/2)
	for i := 0; i < len(pairs); i += 2 {
		if pairs[i] >= uint64(len(t.replicas)) {
			return nil, notCanonical("context", "an index into the table of replicas")
		}
		v = append(v, causal.Dot{Replica: t.replicas[pairs[i]], Counter: pairs[i+1]})
	}
	if err := v.Valid(); err != nil {
		return nil, notCanonical("context", err.Error())
	}
	return v, nil
}

func (t *Tables) pairs(v causal.Vector) []uint64 {
	out := make([]uint64, 0, 2*len(v))
	for _, d := range v {
		out = append(out, uint64(t.Replica(d.Replica)), d.Counter)
	}
	return out
}

func (t ids) author(i uint32) (record.ID, error) {
	if uint64(i) >= uint64(len(t.authors)) {
		return record.ID{}, notCanonical("author", "an index into the table of authors")
	}
	return t.authors[i], nil
}

func (t ids) replica(i uint32) (causal.ReplicaID, error) {
	if uint64(i) >= uint64(len(t.replicas)) {
		return causal.ReplicaID{}, notCanonical("replica", "an index into the table of replicas")
	}
	return t.replicas[i], nil
}

// EncodePage makes a page of edits of one replica with contiguous counters, not yet signed. It shares the edits' slices.
func EncodePage(edits []record.Edit) *syncv1.Page {
	var t Tables
	p := &syncv1.Page{FirstCounter: edits[0].Dot.Counter, Previous: bytes.Clone(edits[0].Previous[:])}
	for i := range edits {
		p.Edits = append(p.Edits, t.edit(&edits[i]))
	}
	p.Replicas, p.Authors = t.Replicas, t.Authors
	return p
}

func (t *Tables) edit(e *record.Edit) *syncv1.Edit {
	m := &syncv1.Edit{
		EditId: bytes.Clone(e.ID[:]), Kind: e.Key.Kind, RecordId: bytes.Clone(e.Key.ID[:]), Context: t.pairs(e.Context),
		Author: uint32(t.Author(e.Author)), AuthoredAtUnixMs: e.AuthoredAt,
	}
	m.Writes = make([]*syncv1.Write, len(e.Writes))
	for i, w := range e.Writes {
		m.Writes[i] = &syncv1.Write{Path: []byte(w.Path), Set: w.Set, Clear: w.Clear}
	}
	return m
}

// Chained is an edit with the chain hash after it.
type Chained struct {
	Edit record.Edit
	Hash record.Hash
}

// DecodePage reads a page of the replica that sent it, and chains its edits. An edit that is not valid makes the page NOT_CANONICAL: its place in
// the chain cannot be trusted, since a well-made replica never signs such a thing.
func DecodePage(replica causal.ReplicaID, p *syncv1.Page) ([]Chained, error) {
	if err := checkPage(p); err != nil {
		return nil, err
	}
	t, err := readTables(p.GetReplicas(), p.GetAuthors())
	if err != nil {
		return nil, err
	}
	previous := record.Hash(p.GetPrevious())
	out := make([]Chained, len(p.GetEdits()))
	for i, m := range p.GetEdits() {
		e, err := t.decodeEdit(m)
		e.Dot = causal.Dot{Replica: replica, Counter: p.GetFirstCounter() + uint64(i)}
		e.Previous = previous
		if err == nil {
			err = e.Valid()
		}
		if err != nil {
			return nil, notCanonical("page.edits["+strconv.Itoa(i)+"]", err.Error())
		}
		previous = e.Hash()
		out[i] = Chained{e, previous}
	}
	return out, checkTables(p, out)
}

// checkPage checks what can be told of a page before its edits are read.
func checkPage(p *syncv1.Page) error {
	edits := uint64(len(p.GetEdits()))
	switch {
	case len(p.GetPrevious()) != len(record.Hash{}) || p.GetFirstCounter() == 0 || edits == 0:
		return notCanonical("page", "a first counter, a hash of 32 bytes and at least one edit")
	case edits > MaxPageEdits:
		return fault.New(faultv1.Reason_REASON_TOO_LARGE, "page.edits", strconv.FormatUint(edits, 10), "at most "+strconv.Itoa(MaxPageEdits))
	case p.GetFirstCounter() > math.MaxUint64-(edits-1):
		return notCanonical("page.first_counter", "counters that do not wrap")
	}
	if size := proto.Size(p); size > MaxPageBytes {
		return fault.New(faultv1.Reason_REASON_TOO_LARGE, "page", strconv.Itoa(size), "at most "+strconv.Itoa(MaxPageBytes)+" bytes")
	}
	return nil
}

// checkTables reports whether the tables are those that EncodePage makes: each id once, in the order in which the edits name them, and no other.
func checkTables(p *syncv1.Page, edits []Chained) error {
	var t Tables
	for i := range edits {
		for _, d := range edits[i].Edit.Context {
			t.Replica(d.Replica)
		}
		t.Author(edits[i].Edit.Author)
	}
	if !slices.EqualFunc(t.Replicas, p.GetReplicas(), bytes.Equal) {
		return notCanonical("page.replicas", "each replica that the edits name, once, in their order")
	}
	if !slices.EqualFunc(t.Authors, p.GetAuthors(), bytes.Equal) {
		return notCanonical("page.authors", "each author that the edits name, once, in their order")
	}
	return nil
}

// decodeEdit reads what a message says of an edit; its dot and chain are the caller's to fill. The edit shares the message's slices.
func (t ids) decodeEdit(m *syncv1.Edit) (record.Edit, error) {
	var e record.Edit
	var err error
	if e.ID, err = record.IDFromBytes(m.GetEditId()); err != nil {
		return e, err
	}
	e.Key.Kind = m.GetKind()
	if e.Key.ID, err = record.IDFromBytes(m.GetRecordId()); err != nil {
		return e, err
	}
	if e.Context, err = t.vector(m.GetContext()); err != nil {
		return e, err
	}
	if e.Author, err = t.author(m.GetAuthor()); err != nil {
		return e, err
	}
	e.AuthoredAt = m.GetAuthoredAtUnixMs()
	e.Writes = make([]record.Write, len(m.GetWrites()))
	for i, w := range m.GetWrites() {
		e.Writes[i] = record.Write{Path: record.Path(w.GetPath()), Set: w.GetSet(), Clear: w.GetClear()}
	}
	return e, nil
}

// Statement is what a device signs for a page: that these counters of this replica end in this head. One signature covers every edit through the chain.
func Statement(replica causal.ReplicaID, first, last uint64, head record.Hash) []byte {
	b := []byte("needlebook page 1\x00")
	b = append(b, replica[:]...)
	b = binary.BigEndian.AppendUint64(b, first)
	b = binary.BigEndian.AppendUint64(b, last)
	return append(b, head[:]...)
}
