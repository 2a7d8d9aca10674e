package ledger_test

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/record"
)

// pullRows syncs t with answers of at most n records each; between two answers it runs meanwhile, when there is one.
func (t *tablet) pullRows(n uint32, meanwhile func()) {
	t.w.Helper()
	t.r.Poll()
	for range 10_000 {
		s := t.r.Next()
		switch {
		case s.Hello != nil:
			if _, err := t.step(false); err != nil {
				t.w.Fatal(err)
			}
			continue
		case s.Exchange == nil:
			return
		}
		s.Exchange.MaxRows = n
		if s.Statement != nil {
			s.Exchange.Page.Signature = t.sign(s.Statement)
		}
		m, err := t.w.ledger.Exchange(t.w.Context(), t.caller(), s.Exchange)
		if err != nil {
			t.w.Fatal(err)
		}
		ch, err := t.r.Receive(s, m)
		if err != nil {
			t.w.Fatal(err)
		}
		t.store(ch)
		if meanwhile != nil {
			meanwhile()
		}
	}
	t.w.Fatal("sync does not come to an end")
}

// TestPull_ARecordThatAnEarlierAnswerPassedOverComesWhole: a record whose latest change lies behind the end of one answer is sent in a later one, and
// there with everything since the whole pull began, not since that answer.
func TestPull_ARecordThatAnEarlierAnswerPassedOverComesWhole(t *testing.T) {
	w := newWorld(t)
	a := w.tablet()
	twice, once := w.vial(), w.vial()
	a.edit(twice, note("11"))
	a.sync()
	a.edit(once, note("12"))
	a.sync()
	a.edit(twice, draw(w, 4000))
	a.sync()
	fresh := w.tablet()
	fresh.pullRows(1, nil)
	sameDigest(t, a, fresh)
}

// TestLaw_PulledInPiecesEqualsPulledWhole draws histories by several tablets, and one that pulls now and then, in pieces of any size, while others go
// on. In the end it holds what a fresh tablet gets in one answer, and so do they all.
func TestLaw_PulledInPiecesEqualsPulledWhole(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := newWorldIn(t, rt)
		tablets := []*tablet{w.tablet(), w.tablet(), w.tablet()}
		keys := []record.Key{w.vial(), w.vial(), w.vial(), w.vial()}
		touch := func() {
			who := tablets[rapid.IntRange(0, 1).Draw(rt, "who")]
			k := keys[rapid.IntRange(0, len(keys)-1).Draw(rt, "record")]
			if rapid.Bool().Draw(rt, "draw") {
				who.edit(k, draw(w, int32(rapid.IntRange(1, 9).Draw(rt, "dose"))))
			} else {
				who.edit(k, note(fmt.Sprint(rapid.IntRange(1, 99).Draw(rt, "number"))))
			}
			if rapid.IntRange(0, 2).Draw(rt, "push") == 0 {
				who.pullRows(uint32(rapid.IntRange(1, 3).Draw(rt, "rows")), nil)
			}
		}
		for range rapid.IntRange(2, 12).Draw(rt, "steps") {
			touch()
			if rapid.IntRange(0, 2).Draw(rt, "pull") == 0 {
				left := 4
				tablets[2].pullRows(uint32(rapid.IntRange(1, 3).Draw(rt, "rows")), func() {
					if left--; left > 0 && rapid.Bool().Draw(rt, "meanwhile") {
						touch()
					}
				})
			}
		}
		for range 2 {
			for _, x := range tablets {
				x.pullRows(1, nil)
			}
		}
		fresh := w.tablet()
		fresh.sync()
		sameDigest(rt, append(tablets, fresh)...)
		w.check()
		w.close()
	})
}
