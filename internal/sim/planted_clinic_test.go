package sim

import (
	"errors"
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/descriptorpb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/blob"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/wire"
)

// clinicMistakes is the mistakes with scope, photos, vials and signatures.
func clinicMistakes(t *testing.T) []mistake {
	unsigned, noteless := unsignedSchema(t), notelessSchema(t)
	out := []mistake{
		{name: "giving a patient back drops unsent edits", plant: func() seams { return seams{unhold: dropUnsent} }},
		{name: "a record that is still held is taken for gone", plant: func() seams { return seams{answer: forgetTooMuch} }},
		{name: "what left the scope stays", plant: func() seams { return seams{answer: forgetNothing} }},
		{name: "a record that comes back is not whole", plant: func() seams { return seams{answer: bringBackLess} }},
		{name: "the scope is lost in a restore", plant: loseScope},
		{name: "an edit covers what left the tablet before it", near: 330, plant: coverWhatLeft},
		{name: "the safety index is without the last treatments", plant: func() seams { return seams{folds: folds{safety: untreated}} }},
		{name: "the safety index loses an entry where an answer is cut", plant: func() seams { return seams{answer: loseLastEntry} }},
		{name: "a session that was taken from a patient stays in her entry", plant: func() seams { return seams{answer: keepFormerEntry} }},
		{name: "a piece of a photo is acknowledged before it is on the disk", plant: lazyDisk},
		{name: "the bytes of a photo are not held against its hash", plant: func() seams { return seams{chunk: anyBytes} }},
		{name: "a photo that cannot be sent blocks the records", plant: func() seams { return seams{album: albumSeams{first: true}} }},
		{name: "photos are not offered again after a restore", plant: func() seams { return seams{album: albumSeams{forgetful: true}} }},
		{name: "a photo is let go as soon as it was sent", near: 250, plant: func() seams { return seams{album: albumSeams{careless: true}} }},
		{name: "a voided draw counts", plant: func() seams { return seams{folds: folds{vial: countVoided}} }},
		{name: "of draws in conflict one counts", near: 200, plant: func() seams { return seams{folds: folds{vial: countOne}} }},
		{name: "a vial is overdrawn only when that is sure", near: 280, plant: func() seams { return seams{folds: folds{overdrawn: onlySure}} }},
		{name: "what was given counts though its session is void", plant: func() seams { return seams{folds: folds{given: countVoidSession}} }},
		{name: "a value that is back is called lost still", near: 390, plant: func() seams { return seams{persist: keepRecovered} }},
		{name: "what a restore lost is not kept for a person", near: 390, plant: func() seams { return seams{persist: dropRecovered} }},
		{name: "an honest signature is refused", plant: func() seams { return seams{exchange: signWithoutNotes(noteless)} }},
		{name: "a record that left is signed", near: 2800, plant: func() seams { return seams{blind: true} }},
		{name: "a late entry is swallowed", plant: func() seams { return seams{folds: folds{late: swallow}} }},
		{name: "a signature over another fold is taken", plant: func() seams { return seams{exchange: signAnything(unsigned, false)} }},
		{name: "a signature in the name of another is taken", plant: func() seams { return seams{exchange: signAnything(unsigned, true)} }},
	}
	for i := range out {
		out[i].in = Clinic
	}
	return out
}

// dropUnsent makes a tablet that gives a patient back begin anew.
func dropUnsent(t *tablet, _ record.ID) {
	if t.r.Unsent() > 0 {
		begin(t)
		t.limitScope()
	}
}

// forgetTooMuch lets another record go with those that left.
func forgetTooMuch(t *tablet, d *delayed) {
	if len(d.rows.GetGone()) == 0 {
		return
	}
	for _, k := range t.r.Keys(0) {
		if !slices.ContainsFunc(d.rows.GetGone(), func(ref *syncv1.RecordRef) bool { return record.ID(ref.GetRecordId()) == k.ID }) {
			d.rows.Gone = append(d.rows.GetGone(), &syncv1.RecordRef{Kind: k.Kind, RecordId: k.ID[:]})
			return
		}
	}
}

func forgetNothing(_ *tablet, d *delayed) {
	if d.rows != nil {
		d.rows.Gone = nil
	}
}

// bringBackLess leaves something out of a record that comes whole to a tablet which is in step.
func bringBackLess(t *tablet, d *delayed) {
	if !t.limited || len(d.step.Exchange.GetCursor()) == 0 {
		return
	}
	for _, row := range d.rows.GetRows() {
		if !row.GetDelta() && len(row.GetFragments()) > 1 {
			dropFragment(row, 0)
		}
	}
}

// loseScope takes from a device's requests what it asks for again after a restore.
func loseScope() seams {
	heard := map[record.ID]bool{}
	return seams{exchange: func(_ *world, device record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error) {
		if heard[device] && len(m.GetCursor()) == 0 {
			m = proto.CloneOf(m)
			m.Scope = nil
		}
		resp, err := take(m)
		heard[device] = heard[device] || err == nil
		return resp, err
	}}
}

// coverWhatLeft lets an edit of a record that a tablet no longer shows supersede what it once showed of it.
func coverWhatLeft() seams {
	seen := map[*tablet]map[record.Key]causal.Vector{}
	return seams{draft: func(t *tablet, d *replica.Draft) {
		if seen[t] == nil {
			seen[t] = map[record.Key]causal.Vector{}
		}
		for _, k := range t.r.Keys(0) {
			seen[t][k] = slices.Clone(t.r.View(k).Seen)
		}
		if d.Context == nil && t.r.View(d.Key).Empty() {
			d.Context = seen[t][d.Key]
		}
	}}
}

func untreated(patient record.ID, states []*record.State) *syncv1.SafetyEntry {
	e := chart.Safety(patient, states)
	e.Treatments = nil
	return e
}

func loseLastEntry(_ *tablet, d *delayed) {
	if n := len(d.rows.GetSafety()); n > 0 && d.rows.GetMore() {
		d.rows.Safety = d.rows.GetSafety()[:n-1]
	}
}

// keepFormerEntry leaves the entries of an answer away that takes a record back.
func keepFormerEntry(_ *tablet, d *delayed) {
	if len(d.rows.GetGone()) > 0 {
		d.rows.Safety = nil
	}
}

// lazyDisk keeps the last piece of a photo in the memory of the server's process until the next one comes.
func lazyDisk() seams {
	var late *piece
	var process *Store
	return seams{chunk: func(w *world, p piece, take takePiece) (int64, bool, error) {
		if late != nil && process == w.server.store {
			_, _, _ = take(*late)
		}
		late = nil
		gaps, err := w.server.blobs.dir.Missing(p.hash, p.size)
		if err == nil && len(gaps) == 1 && gaps[0].Offset >= p.offset && gaps[0].End <= p.offset+int64(len(p.data)) {
			late, process = &p, w.server.store
			return p.size, true, nil
		}
		return take(p)
	}}
}

func anyBytes(_ *world, p piece, take takePiece) (int64, bool, error) {
	through, complete, err := take(p)
	if errors.Is(err, blob.ErrMismatch) {
		return p.size, true, nil
	}
	return through, complete, err
}

// countVoided counts draws that are surely void.
func countVoided(st *record.State, held []wire.Held) chart.VialLedger {
	l := chart.FoldVial(st, held)
	for _, p := range elementsOf(st, fieldDraws) {
		if _, always := voided(st, p, fieldDrawVoid); always {
			units := spread(append(possible(st.Siblings(record.Register{Path: p, Field: fieldAmount}), func(m *chartv1.Draw) int64 {
				return int64(m.GetAmount().GetDoseMilliunits())
			}), 0))
			l.Drawn.Least, l.Drawn.Most = l.Drawn.Least+units.most, l.Drawn.Most+units.most
		}
	}
	return l
}

func countOne(st *record.State, held []wire.Held) chart.VialLedger {
	l := chart.FoldVial(st, held)
	l.Drawn.Most = l.Drawn.Least
	return l
}

func onlySure(vial ...chart.VialLedger) []*dosev1.Finding {
	for i := range vial {
		vial[i].Preparations = slices.Clone(vial[i].Preparations)
		for j := range vial[i].Preparations {
			p := &vial[i].Preparations[j]
			p.Drawn.Most, p.Content.Least = p.Drawn.Least, p.Content.Most
		}
	}
	return chart.OverdrawnFindings(vial...)
}

// countVoidSession counts what was given in a session as if nobody had voided it.
func countVoidSession(st *record.State, held []wire.Held) chart.Given {
	st = st.Clone()
	st.Apply(&record.Edit{
		Dot: causal.Dot{Replica: causal.ReplicaID{1}, Counter: 1}, Key: st.Key, Context: st.Seen, Writes: []record.Write{{Clear: []uint32{fieldSessionVoid}}},
	})
	return chart.FoldSession(st, held)
}

func swallow(s *record.Schema, st *record.State) []record.LateEntry {
	late := s.LateEntries(st)
	return late[:max(0, len(late)-1)]
}

// signAnything lets a server take signatures unread: those in the name of another, or all the others.
func signAnything(unsigned *record.Schema, ofOthers bool) func(*world, record.ID, *syncv1.ExchangeRequest, takeExchange) (*syncv1.ExchangeResponse, error) {
	return func(w *world, _ record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error) {
		forged, some := false, false
		edits, _ := wire.DecodePage(causal.ReplicaID(m.GetReplica()), m.GetPage())
		for i := range edits {
			signatures, _ := w.schemas.now.SignaturesIn(&edits[i].Edit)
			for _, sig := range signatures {
				some = true
				forged = forged || sig.Content.GetSignerId() != edits[i].Edit.Author.String()
			}
		}
		if some && forged == ofOthers {
			schema := w.server.ledger.Schema
			w.server.ledger.Schema = unsigned
			defer func() { w.server.ledger.Schema = schema }()
		}
		return take(m)
	}
}

// keepRecovered never takes a recovered value off the disk.
func keepRecovered(t *tablet, ch replica.Changes) {
	ch.Delete = slices.DeleteFunc(slices.Clone(ch.Delete), func(key []byte) bool { return key[0] == 'r' })
	t.put(ch)
}

// dropRecovered never puts a recovered value on the disk.
func dropRecovered(t *tablet, ch replica.Changes) {
	ch.Put = slices.DeleteFunc(slices.Clone(ch.Put), func(row replica.Row) bool { return row.Key[0] == 'r' })
	t.put(ch)
}

// notelessSchema is the schema of a program that leaves notes out of what is signed.
func notelessSchema(t *testing.T) *record.Schema {
	t.Helper()
	s, err := edited(descriptorBuilder{edit: func(f *descriptorpb.FieldDescriptorProto) {
		if f.GetNumber() == fieldNotes && f.GetTypeName() == ".needlebook.record.v1.Note" {
			if f.Options == nil {
				f.Options = &descriptorpb.FieldOptions{}
			}
			proto.SetExtension(f.Options, optionsv1.E_Signatures, true)
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// signWithoutNotes lets the server fold a record without its notes when it holds a signature against it.
func signWithoutNotes(noteless *record.Schema) func(*world, record.ID, *syncv1.ExchangeRequest, takeExchange) (*syncv1.ExchangeResponse, error) {
	return func(w *world, _ record.ID, m *syncv1.ExchangeRequest, take takeExchange) (*syncv1.ExchangeResponse, error) {
		edits, _ := wire.DecodePage(causal.ReplicaID(m.GetReplica()), m.GetPage())
		for i := range edits {
			if signatures, _ := w.schemas.now.SignaturesIn(&edits[i].Edit); len(signatures) > 0 && len(edits) == 1 {
				schema := w.server.ledger.Schema
				w.server.ledger.Schema = noteless
				defer func() { w.server.ledger.Schema = schema }()
			}
		}
		return take(m)
	}
}
