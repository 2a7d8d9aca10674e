package service

import (
	"context"
	"encoding/binary"
	"math"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/tidwall/btree"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/chart"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// index finds records by what they hold: patients by name, sessions by day. It is kept in memory, one part for each organisation, and follows the
// ledger: before each use it takes in what changed since, which is nothing or little. A stored index would have to be written in every commit,
// tablets' pages included, and be migrated with every idea of what is worth finding; this one is built anew when the server starts. It may be used
// concurrently.
type index struct {
	ledger *ledger.Ledger
	chart  *chart.Chart

	mu   sync.Mutex // guards orgs
	orgs map[record.ID]*orgIndex
}

func newIndex(l *ledger.Ledger, c *chart.Chart) *index {
	return &index{ledger: l, chart: c, orgs: map[record.ID]*orgIndex{}}
}

// orgIndex is the index of one organisation.
//
// Invariant: entries and keys hold exactly the facts of the records as they stood at sequence last.
type orgIndex struct {
	following sync.Mutex // held while the ledger is followed, so that it is followed once

	mu      sync.RWMutex // guards all below
	last    uint64
	entries map[record.Key]*chart.Facts
	keys    btree.Map[string, *chart.Facts]
}

// followAtOnce bounds how many records one snapshot of the ledger is held for.
const followAtOnce = 2000

// follow brings the index of an organisation up to what is durable now.
func (x *index) follow(ctx context.Context, org record.ID) (*orgIndex, error) {
	x.mu.Lock()
	o := x.orgs[org]
	if o == nil {
		o = &orgIndex{entries: map[record.Key]*chart.Facts{}}
		x.orgs[org] = o
	}
	x.mu.Unlock()
	o.following.Lock()
	defer o.following.Unlock()
	for {
		var changed []*indexed
		last, more, err := x.ledger.Follow(ctx, org, o.last, followAtOnce, func(r ledger.Record) error {
			changed = append(changed, x.read(r.State))
			return nil
		})
		if err != nil {
			return nil, err
		}
		o.take(changed, last)
		if !more {
			return o, nil
		}
	}
}

// indexed is a record's facts with the keys that it is found by.
type indexed struct {
	facts *chart.Facts
	keys  []string
}

func (x *index) read(st *record.State) *indexed {
	f := x.chart.FoldFacts(st)
	for _, slot := range chart.SlotsOf(st) {
		zone, err := time.LoadLocation(slot.GetTimeZone())
		if err != nil {
			zone = time.UTC
		}
		at := slot.GetBeginsAt().AsTime().In(zone)
		f.Days = append(f.Days, &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())})
	}
	return &indexed{&f, keysOf(&f)}
}

func (o *orgIndex) take(changed []*indexed, last uint64) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, c := range changed {
		if old := o.entries[c.facts.Key]; old != nil {
			for _, k := range keysOf(old) {
				o.keys.Delete(k)
			}
		}
		o.entries[c.facts.Key] = c.facts
		for _, k := range c.keys {
			o.keys.Set(k, c.facts)
		}
	}
	o.last = last
}

// Keys of the index; each ends with the record's kind and id.
//
//	'w' word 0                a patient by a word of the name
//	'b' date                  a patient by the date of birth
//	'i' identifier 0          a patient by an identifier
//	's' date, latest first    a session
//	'p' patient               a record of a patient
//	'l' patient               a patient whose record links to that one
//	'k'                       a record
//	'x'                       a record with a field in conflict
const (
	byWord       = 'w'
	byBirth      = 'b'
	byIdentifier = 'i'
	byDay        = 's'
	byPatient    = 'p'
	byLink       = 'l'
	byKey        = 'k'
	byConflict   = 'x'
)

// keysOf is the keys that a record is found by.
func keysOf(f *chart.Facts) []string {
	end := string(keyBytes(f.Key))
	var out []string
	switch f.Key.Kind {
	case optionsv1.RecordKind_RECORD_KIND_PATIENT:
		for _, w := range f.Words {
			for _, part := range parts(w) {
				out = append(out, string(byWord)+part+"\x00"+end)
			}
		}
		for _, d := range f.Births {
			out = append(out, string(byBirth)+dateKey(d)+end)
		}
		for _, i := range f.Identifiers {
			out = append(out, string(byIdentifier)+i+"\x00"+end)
		}
		for _, l := range f.Linked {
			out = append(out, string(byLink)+string(l[:])+end)
		}
	case optionsv1.RecordKind_RECORD_KIND_SESSION:
		out = append(out, string(byDay)+latestFirst(f.Days)+end)
		fallthrough
	default:
		for _, p := range f.Patients {
			out = append(out, string(byPatient)+string(p[:])+end)
		}
		out = append(out, string(byKey)+end)
	}
	if f.Disputed {
		out = append(out, string(byConflict)+end)
	}
	return out
}

// parts is a word with, in scripts that put no spaces between words, what is left of it from each later character on.
func parts(word string) []string {
	out := []string{word}
	for i, r := range word {
		if i > 0 && r >= 0x0e00 && unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul, unicode.Thai, unicode.Lao, unicode.Khmer,
			unicode.Myanmar) {
			out = append(out, word[i:])
		}
	}
	return out
}

func keyBytes(k record.Key) []byte {
	return append(binary.BigEndian.AppendUint16(nil, uint16(k.Kind)), k.ID[:]...)
}

// dateKey orders as days do.
func dateKey(d *recordv1.Date) string {
	return string(binary.BigEndian.AppendUint32(nil, dateNumber(d)))
}

func dateNumber(d *recordv1.Date) uint32 {
	return uint32(d.GetYear())*10000 + uint32(d.GetMonth())*100 + uint32(d.GetDay())
}

// latestFirst orders a later day before an earlier one, and no day last. Of several in conflict the latest counts.
func latestFirst(days []*recordv1.Date) string {
	n := uint32(0)
	for _, d := range days {
		n = max(n, dateNumber(d))
	}
	return string(binary.BigEndian.AppendUint32(nil, ^n))
}

// found is a key of the index with the facts of its record. Facts are never changed once they are in the index.
type found struct {
	key   string
	facts *chart.Facts
}

// some is the first n of the keys that begin with prefix, in order, those behind after.
func (o *orgIndex) some(prefix, after string, n int) []found {
	o.mu.RLock()
	defer o.mu.RUnlock()
	var out []found
	o.keys.Ascend(max(prefix, after), func(k string, f *chart.Facts) bool {
		if !strings.HasPrefix(k, prefix) || len(out) == n {
			return false
		}
		if k != after {
			out = append(out, found{k, f})
		}
		return true
	})
	return out
}

// get is the facts of a record; nil when it is not there.
func (o *orgIndex) get(k record.Key) *chart.Facts {
	o.mu.RLock()
	defer o.mu.RUnlock()
	return o.entries[k]
}

func (o *orgIndex) size() int {
	o.mu.RLock()
	defer o.mu.RUnlock()
	return len(o.entries)
}

func (o *orgIndex) nameOf(k record.Key) string {
	if f := o.get(k); f != nil {
		return f.Name
	}
	return ""
}

// linked is the records that a patient's links to, and those that link to it.
func (o *orgIndex) linked(patient record.ID) []record.ID {
	var out []record.ID
	if f := o.get(record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_PATIENT, ID: patient}); f != nil {
		out = append(out, f.Linked...)
	}
	for _, l := range o.some(string(byLink)+string(patient[:]), "", math.MaxInt) {
		out = append(out, l.facts.Key.ID)
	}
	return out
}

// known is the records of a kind as of the last time that the index was followed; it follows nothing, so it may be asked in a transaction.
func (x *index) known(org record.ID, kind record.Kind) (out []record.Key) {
	x.mu.Lock()
	o := x.orgs[org]
	x.mu.Unlock()
	if o == nil {
		return nil
	}
	for _, f := range o.some(string(byKey)+string(keyBytes(record.Key{Kind: kind})[:2]), "", math.MaxInt) {
		out = append(out, f.facts.Key)
	}
	return out
}
