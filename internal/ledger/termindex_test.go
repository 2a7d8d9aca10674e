package ledger_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// termsOfTest finds a record by each value of its short number. Every test of this package keeps the index and has it checked at its end.
func termsOfTest(version uint64) ledger.Terms {
	return ledger.Terms{Version: version, Of: func(st *record.State) []string {
		var out []string
		for _, s := range st.Siblings(shortNumber) {
			if !s.Cleared {
				out = append(out, "n"+string(s.Value[2:])+"\x00")
			}
		}
		if version > 1 {
			out = append(out, "again")
		}
		return out
	}}
}

// found is every term and the record under it.
func (w *world) found(l *ledger.Ledger, prefix string) (out []string, err error) {
	err = w.store.View(w.Context(), func(r store.Reader) error {
		return l.FindIn(r, org, prefix, func(term string, k record.Key) error {
			out = append(out, term+" "+k.String())
			return nil
		})
	})
	return out, err
}

// Whatever edits come, in whatever order and from whomever: the index holds exactly the terms of the states. Check recomputes it, and so does a plain model.
func TestTerms_AreThoseOfTheStates(t *testing.T) {
	w := newWorld(t)
	tablets := []*tablet{w.tablet(), w.tablet()}
	rapid.Check(t, func(rt *rapid.T) {
		keys := []record.Key{w.vial(), w.vial(), w.vial()}
		for range rapid.IntRange(1, 20).Draw(rt, "edits") {
			a := rapid.SampledFrom(tablets).Draw(rt, "tablet")
			a.edit(rapid.SampledFrom(keys).Draw(rt, "key"), note(fmt.Sprint(rapid.IntRange(1, 9).Draw(rt, "number"))))
			if rapid.Bool().Draw(rt, "sync") {
				a.sync()
			}
		}
		tablets[0].sync()
		tablets[1].sync()
		var want []string
		err := w.ledger.Scan(t.Context(), org, keys[0].Kind, func(st *record.State) error {
			for _, term := range termsOfTest(1).Of(st) {
				if entry := term + " " + st.Key.String(); !slices.Contains(want, entry) {
					want = append(want, entry)
				}
			}
			return nil
		})
		if err != nil {
			rt.Fatal(err)
		}
		got, err := w.found(w.ledger, "n")
		slices.Sort(want)
		slices.Sort(got)
		if err != nil || !slices.Equal(got, want) {
			rt.Fatalf("found %q, want %q (%v)", got, want, err)
		}
	})
}

// A ledger whose index is of another version does not answer from it, makes it anew once, and finds the same as one that kept it.
func TestTerms_AreMadeAnewForAnotherVersion(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	for i := range 50 {
		a.edit(w.vial(), note(fmt.Sprint(i%7)))
	}
	a.sync()
	before, err := w.found(w.ledger, "n")
	if err != nil || len(before) != 50 {
		t.Fatalf("%d found, want 50 (%v)", len(before), err)
	}
	next, err := ledger.Open(t.Context(), w.store, ledger.Config{Schema: w.schema, Now: time.Now, Terms: termsOfTest(2)})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.found(next, "n"); !errors.Is(err, ledger.ErrNoTerms) {
		t.Errorf("an index of another version answers (%v)", err)
	}
	for _, want := range []bool{true, false} {
		if made, err := next.MakeTerms(t.Context()); err != nil || made != want {
			t.Errorf("made %v, want %v (%v)", made, want, err)
		}
	}
	after, err := w.found(next, "n")
	if err != nil || !slices.Equal(before, after) {
		t.Errorf("%d found after, %d before (%v)", len(after), len(before), err)
	}
	var distinct []string
	err = w.store.View(t.Context(), func(r store.Reader) error {
		return next.DistinctIn(r, org, "", func(term string) error {
			distinct = append(distinct, strings.TrimSuffix(term, "\x00"))
			return nil
		})
	})
	if want := []string{"again", "n0", "n1", "n2", "n3", "n4", "n5", "n6"}; err != nil || !slices.Equal(distinct, want) {
		t.Errorf("terms %q, want %q (%v)", distinct, want, err)
	}
	if _, err := next.Check(t.Context(), nil); err != nil {
		t.Error(err)
	}
	if made, err := w.ledger.MakeTerms(t.Context()); err != nil || !made {
		t.Errorf("made %v again for the version of the test (%v)", made, err)
	}
}

// An index that another program left behind the log is made anew; an entry too many or too few is found by Check.
func TestTerms_DamageAndNeglectAreFound(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	k := w.vial()
	a.edit(k, note("11"))
	a.sync()
	plain, err := ledger.Open(t.Context(), w.store, ledger.Config{Schema: w.schema, Now: time.Now, Authorise: w.authorise})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := plain.Edit(t.Context(), org, ledger.Draft{ID: w.id(), Key: w.vial(), Author: author, Writes: w.split(k, note("12"))}); err != nil {
		t.Fatal(err)
	}
	if _, err := w.found(w.ledger, "n"); !errors.Is(err, ledger.ErrNoTerms) {
		t.Errorf("an index behind the log answers (%v)", err)
	}
	if made, err := w.ledger.MakeTerms(t.Context()); err != nil || !made {
		t.Errorf("made %v (%v)", made, err)
	}
	if got, err := w.found(w.ledger, "n"); err != nil || len(got) != 2 {
		t.Errorf("found %q (%v)", got, err)
	}
	key := append(append([]byte{'t'}, org[:]...), "n11\x00"...)
	key = append(key, 0, byte(k.Kind))
	key = append(key, k.ID[:]...)
	change := func(fn func(store.Writer) error) {
		if err := w.store.Update(t.Context(), fn); err != nil {
			t.Fatal(err)
		}
	}
	change(func(w store.Writer) error { return w.Delete(key) })
	if _, err := w.ledger.Check(t.Context(), nil); err == nil {
		t.Error("a missing entry passes")
	}
	change(func(w store.Writer) error { return w.Put(key, []byte{1}) })
	extra := append(slices.Clone(key[:17]), append([]byte("n99\x00"), key[len(key)-18:]...)...)
	change(func(w store.Writer) error { return w.Put(extra, []byte{1}) })
	if _, err := w.ledger.Check(t.Context(), nil); err == nil {
		t.Error("an entry too many passes")
	}
	change(func(w store.Writer) error { return w.Delete(extra) })
}
