package ledger_test

import (
	"slices"
	"testing"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
)

// TestFollow_TellsEachRecordAtItsLatestChange follows in small steps while records change, and wants every record told, the changed ones again.
func TestFollow_TellsEachRecordAtItsLatestChange(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	var keys []record.Key
	for range 7 {
		k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: w.id()}
		keys = append(keys, k)
		a.edit(k, &chartv1.Session{Kind: chartv1.SessionKind_SESSION_KIND_REVIEW.Enum()})
	}
	a.sync()
	last := uint64(0)
	follow := func(limit int) (told []record.Key, steps int) {
		for more := true; more; steps++ {
			var err error
			last, more, err = w.ledger.Follow(t.Context(), org, last, limit, func(r ledger.Record) error {
				told = append(told, r.State.Key)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		return told, steps
	}
	if told, steps := follow(3); !slices.Equal(told, keys) || steps != 3 {
		t.Errorf("told %v in %d steps, want %v in 3", told, steps, keys)
	}
	if told, _ := follow(3); len(told) != 0 {
		t.Errorf("told again: %v", told)
	}
	a.edit(keys[2], &chartv1.Session{Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum()})
	a.sync()
	if told, _ := follow(3); !slices.Equal(told, keys[2:3]) {
		t.Errorf("told %v, want the one that changed", told)
	}
}

// TestFindEditAndReadAt finds an edit by its id, and the record as it was before it.
func TestFindEditAndReadAt(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := record.Key{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, ID: w.id()}
	a.edit(k, &chartv1.Session{Kind: chartv1.SessionKind_SESSION_KIND_REVIEW.Enum()})
	before := a.r.View(k).Clone()
	second := a.edit(k, &chartv1.Session{Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum()})
	a.sync()
	e, seq, err := w.ledger.FindEdit(t.Context(), org, second.ID)
	if err != nil || e.Dot != second.Dot || e.BodyHash() != second.BodyHash() || seq != 2 {
		t.Errorf("found %v at %d, %v", e.Dot, seq, err)
	}
	st, err := w.ledger.ReadAt(t.Context(), org, k, before.Seen)
	if err != nil || st.Digest() != before.Digest() {
		t.Errorf("the record before: %v, %v", st, err)
	}
	if st, err = w.ledger.ReadAt(t.Context(), org, k, a.r.View(k).Seen); err != nil || st.Digest() != a.r.View(k).Digest() {
		t.Errorf("the record now: %v, %v", st, err)
	}
}
