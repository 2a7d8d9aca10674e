package replica

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// Row is one thing to store. Keys order as bytes.
type Row struct{ Key, Value []byte }

// Changes is what to store, in one transaction, before anything else is done, and which records look different now.
type Changes struct {
	Put     []Row
	Delete  [][]byte // removed before Put
	Records []record.Key

	seen map[record.Key]bool // what Records holds
}

// Empty reports whether there is nothing to store.
func (c *Changes) Empty() bool { return len(c.Put)+len(c.Delete) == 0 }

func (c *Changes) put(key, value []byte) { c.Put = append(c.Put, Row{key, value}) }

func (c *Changes) delete(key []byte) { c.Delete = append(c.Delete, key) }

// deleteNew is delete for a row that these same changes may put.
func (c *Changes) deleteNew(key []byte) {
	c.Put = slices.DeleteFunc(c.Put, func(row Row) bool { return bytes.Equal(row.Key, key) })
	c.delete(key)
}

func (c *Changes) changed(k record.Key) {
	if c.seen == nil {
		c.seen = map[record.Key]bool{}
	}
	if !c.seen[k] {
		c.seen[k] = true
		c.Records = append(c.Records, k)
	}
}

// Tables of a replica's store: the first byte of a key.
const (
	tableMeta      = 'm'
	tableLocals    = 's'
	tableOwn       = 'e' // written once; what the server said of an edit is in the meta row (acknowledged or not) and in tableWaiting
	tableWaiting   = 'w'
	tableRecovered = 'r'
	tableSafety    = 'y'
	tableWishes    = 'q'
)

const storedForm = 1

func localKey(k record.Key) []byte {
	b := binary.BigEndian.AppendUint16([]byte{tableLocals}, uint16(k.Kind))
	return append(b, k.ID[:]...)
}

func ownKey(d causal.Dot) []byte { return dotKey(tableOwn, d) }

func waitingKey(d causal.Dot) []byte { return dotKey(tableWaiting, d) }

func safetyKey(patient record.ID) []byte { return append([]byte{tableSafety}, patient[:]...) }

func wishKey(patient record.ID) []byte { return append([]byte{tableWishes}, patient[:]...) }

func patientKey(id record.ID) record.Key {
	return record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: id}
}

func dotKey(table byte, d causal.Dot) []byte {
	b := append(make([]byte, 0, 25), table)
	b = append(b, d.Replica[:]...)
	return binary.BigEndian.AppendUint64(b, d.Counter)
}

func recoveredKey(rec Recovered) []byte {
	b := append([]byte{tableRecovered}, localKey(rec.Key)[1:]...)
	b = append(b, rec.Sibling.Dot.Replica[:]...)
	b = binary.BigEndian.AppendUint64(b, rec.Sibling.Dot.Counter)
	b = binary.BigEndian.AppendUint32(b, rec.Register.Field)
	return append(b, rec.Register.Path...)
}

func flag(b bool) byte {
	if b {
		return 1
	}
	return 0
}

func (r *Replica) putMeta(ch *Changes) {
	b := []byte{storedForm, flag(r.replacing)}
	b = binary.AppendUvarint(b, uint64(len(r.cursor)))
	b = append(b, r.cursor...)
	b = binary.AppendUvarint(b, uint64(len(r.incarnations)))
	for _, inc := range r.incarnations {
		b = append(b, inc.id[:]...)
		b = binary.AppendUvarint(b, inc.counter)
		b = append(b, inc.head[:]...)
		b = binary.AppendUvarint(b, inc.acked)
		b = append(b, flag(inc.hello || inc.greeting != nil)) // an answer that was not acted on yet is asked for again
	}
	if bytes.Equal(b, r.meta) {
		return
	}
	r.meta = b
	ch.put([]byte{tableMeta}, b)
}

func (r *Replica) readMeta(b []byte) error {
	if len(b) < 2 || b[0] != storedForm || b[1] > 1 {
		return errors.New("meta: form is not known")
	}
	r.meta = bytes.Clone(b)
	r.replacing = b[1] == 1
	n, b, err := causal.Uvarint(b[2:])
	if err != nil || n > uint64(len(b)) {
		return errors.New("meta: cursor ends early")
	}
	r.cursor = slices.Clone(b[:n])
	count, b, err := causal.Uvarint(b[n:])
	if err != nil || count == 0 || count > uint64(len(b))/51 {
		return errors.New("meta: incarnations end early")
	}
	for range count {
		inc := &incarnation{}
		if b, err = inc.read(b); err != nil {
			return fmt.Errorf("meta: %w", err)
		}
		r.incarnations = append(r.incarnations, inc)
	}
	if len(b) > 0 {
		return errors.New("meta: bytes after the end")
	}
	return nil
}

func (inc *incarnation) read(b []byte) ([]byte, error) {
	if len(b) < 51 {
		return nil, errors.New("incarnation ends early")
	}
	copy(inc.id[:], b)
	var err error
	if inc.counter, b, err = causal.Uvarint(b[16:]); err != nil || len(b) < 34 {
		return nil, errors.New("incarnation ends early")
	}
	copy(inc.head[:], b)
	if inc.acked, b, err = causal.Uvarint(b[32:]); err != nil || len(b) < 1 || b[0] > 1 || inc.acked > inc.counter {
		return nil, errors.New("incarnation ends early")
	}
	inc.hello = b[0] == 1
	return b[1:], nil
}

func (r *Replica) putOwn(o *own, ch *Changes) {
	b := append(make([]byte, 0, o.size()+256), storedForm)
	b = append(b, o.edit.Previous[:]...)
	ch.put(ownKey(o.edit.Dot), o.edit.AppendBinary(b))
}

func readOwn(b []byte) (*own, error) {
	if len(b) < 33 || b[0] != storedForm {
		return nil, errors.New("edit: form is not known")
	}
	e, err := record.ParseEdit(b[33:])
	if err != nil {
		return nil, err
	}
	e.Previous = record.Hash(b[1:33])
	return &own{edit: e, hash: record.ChainHash(e.Previous, b[33:])}, nil
}

func (r *Replica) putLocal(k record.Key, ch *Changes) {
	l := r.locals[k]
	b := append(make([]byte, 0, 4096), storedForm, flag(l.stale)|flag(l.letGo)<<1)
	b = binary.AppendUvarint(b, uint64(len(l.held)))
	for i := range l.held {
		h := l.held[i].AppendBinary(nil)
		b = binary.AppendUvarint(b, uint64(len(h)))
		b = append(b, h...)
	}
	ch.put(localKey(k), l.server.AppendBinary(b))
}

func readLocal(b []byte) (*local, error) {
	if len(b) < 2 || b[0] != storedForm || b[1] > 3 {
		return nil, errors.New("record: form is not known")
	}
	l := &local{stale: b[1]&1 != 0, letGo: b[1]&2 != 0}
	n, b, err := causal.Uvarint(b[2:])
	if err != nil || n > uint64(len(b)) {
		return nil, errors.New("record: held edits end early")
	}
	for range n {
		var size uint64
		if size, b, err = causal.Uvarint(b); err != nil || size > uint64(len(b)) {
			return nil, errors.New("record: a held edit ends early")
		}
		h, err := wire.ParseHeld(b[:size])
		if err != nil {
			return nil, err
		}
		l.held = append(l.held, h)
		b = b[size:]
	}
	l.server, err = record.ParseState(b)
	return l, err
}

func (r *Replica) putRecovered(rec Recovered, ch *Changes) { ch.put(recoveredKey(rec), rec.encode()) }

func (rec *Recovered) encode() []byte {
	b := []byte{storedForm, flag(rec.Sibling.Cleared)}
	b = append(b, rec.Info.Author[:]...)
	b = binary.AppendVarint(b, rec.Info.AuthoredAt)
	return append(b, rec.Sibling.Value...)
}

func readRecovered(key, b []byte) (Recovered, error) {
	if len(key) < 47 || len(b) < 19 || b[0] != storedForm || b[1] > 1 {
		return Recovered{}, errors.New("recovered value: form is not known")
	}
	path, err := record.ParsePath(key[47:])
	if err != nil {
		return Recovered{}, fmt.Errorf("recovered value: %w", err)
	}
	d := causal.Dot{Replica: causal.ReplicaID(key[19:35]), Counter: binary.BigEndian.Uint64(key[35:43])}
	rec := Recovered{
		Key:      record.Key{Kind: record.Kind(binary.BigEndian.Uint16(key[1:])), ID: record.ID(key[3:19])},
		Register: record.Register{Path: path, Field: binary.BigEndian.Uint32(key[43:])},
		Info:     record.DotInfo{Dot: d, Author: record.ID(b[2:18])},
		Sibling:  causal.Sibling{Dot: d, Cleared: b[1] == 1},
	}
	at, n := binary.Varint(b[18:])
	if n <= 0 {
		return Recovered{}, errors.New("recovered value: time ends early")
	}
	rec.Info.AuthoredAt = at
	if value := b[18+n:]; len(value) > 0 {
		rec.Sibling.Value = value
	}
	return rec, nil
}

// Load is the replica that rows, which Changes stored, leave. The rows come in ascending order of their keys, and their slices are kept.
func Load(schema *record.Schema, rows []Row) (*Replica, error) {
	ld := loading{
		r: newReplica(schema), own: map[causal.ReplicaID][]*own{}, waiting: map[string]bool{}, sealed: map[causal.Dot]sealing{},
		backedUp: map[causal.ReplicaID]uint64{},
	}
	for i, row := range rows {
		if i > 0 && bytes.Compare(rows[i-1].Key, row.Key) >= 0 {
			return nil, fmt.Errorf("load replica: key %x: is out of order", row.Key)
		}
		if err := ld.row(row); err != nil {
			return nil, fmt.Errorf("load replica: key %x: %w", row.Key, err)
		}
	}
	if len(ld.r.incarnations) == 0 {
		return nil, errors.New("load replica: it has no meta row")
	}
	for _, inc := range ld.r.incarnations {
		if err := ld.adopt(inc); err != nil {
			return nil, fmt.Errorf("load replica: %w", err)
		}
	}
	if ld.r.replacing && ld.r.wishes.limited {
		ld.r.rememberHeld()
	}
	for id := range ld.own { // of no incarnation: they would never be sent
		return nil, fmt.Errorf("load replica: edits of replica %v, which it is not", id)
	}
	if err := errors.Join(ld.sealsTaken(), ld.takeBackedUp()); err != nil {
		return nil, fmt.Errorf("load replica: %w", err)
	}
	return ld.r, nil
}

// errWrongKey says that a row does not stand under the key of what it holds.
var errWrongKey = errors.New("is not the key of what it holds")

// loading is a replica while its rows are read.
type loading struct {
	r       *Replica
	own     map[causal.ReplicaID][]*own
	waiting map[string]bool // dots as in their keys
	sealed  map[causal.Dot]sealing
	// backedUp is by incarnation.
	backedUp map[causal.ReplicaID]uint64
}

func (ld *loading) row(row Row) error {
	if len(row.Key) == 0 {
		return errors.New("empty key")
	}
	switch row.Key[0] {
	case tableMeta:
		if len(row.Key) != 1 {
			return errWrongKey
		}
		return ld.r.readMeta(row.Value)
	case tableLocals:
		l, err := readLocal(row.Value)
		if err == nil && !bytes.Equal(row.Key, localKey(l.server.Key)) {
			err = errWrongKey
		}
		if err == nil {
			ld.r.locals[l.server.Key] = l
		}
		return err
	case tableOwn:
		o, err := readOwn(row.Value)
		if err == nil && !bytes.Equal(row.Key, ownKey(o.edit.Dot)) {
			err = errWrongKey
		}
		if err == nil {
			ld.own[o.edit.Dot.Replica] = append(ld.own[o.edit.Dot.Replica], o)
		}
		return err
	case tableWaiting:
		if len(row.Key) != 25 || !bytes.Equal(row.Value, []byte{storedForm}) {
			return errors.New("waiting edit: form is not known")
		}
		ld.waiting[string(row.Key)] = true
		return nil
	case tableBackedUp:
		return ld.backedUpRow(row)
	case tableSealed:
		return ld.sealedRow(row)
	case tableSafety:
		return ld.safetyRow(row)
	case tableWishes:
		return ld.wishRow(row)
	case tableRecovered:
		rec, err := readRecovered(row.Key, row.Value)
		if err == nil && (!bytes.Equal(row.Key, recoveredKey(rec)) || !bytes.Equal(row.Value, rec.encode())) {
			err = errors.New("recovered value: not in its one form")
		}
		ld.r.recovered = append(ld.r.recovered, rec)
		return err
	}
	return errors.New("table is not known")
}

// adopt gives an incarnation the edits it kept, with what the server said of each.
func (ld *loading) adopt(inc *incarnation) error {
	inc.kept = ld.own[inc.id]
	delete(ld.own, inc.id)
	if err := inc.valid(); err != nil {
		return err
	}
	for _, o := range inc.kept {
		o.sealed = ld.sealed[o.edit.Dot]
		delete(ld.sealed, o.edit.Dot)
		switch {
		case o.edit.Dot.Counter > inc.acked:
			o.fate = pending
		case ld.waiting[string(waitingKey(o.edit.Dot))] && !ld.r.local(o.edit.Key).server.Seen.Covers(o.edit.Dot):
			o.fate = waiting
		default:
			o.fate = settled
		}
		if l := ld.r.local(o.edit.Key); o.fate != settled || !l.server.Seen.Covers(o.edit.Dot) {
			l.own = append(l.own, o)
		}
	}
	return nil
}

// valid reports whether what was kept is the end of the chain that the meta row describes.
func (inc *incarnation) valid() error {
	want := inc.counter - uint64(len(inc.kept))
	for i, o := range inc.kept {
		if want++; o.edit.Dot.Counter != want {
			return fmt.Errorf("edit %v: counter %d was expected", o.edit.Dot, want)
		}
		if i > 0 && o.edit.Previous != inc.kept[i-1].hash {
			return fmt.Errorf("edit %v does not follow the one before it", o.edit.Dot)
		}
	}
	if n := len(inc.kept); n > 0 && inc.kept[n-1].hash != inc.head {
		return fmt.Errorf("edit %v is not the head of the chain", inc.kept[n-1].edit.Dot)
	}
	if inc.counter-inc.acked > uint64(len(inc.kept)) {
		return fmt.Errorf("replica %v: edits that were not acknowledged are missing", inc.id)
	}
	return nil
}
