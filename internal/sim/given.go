package sim

import (
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
	"needlebook/internal/wire"
)

// judgeGiven holds what the program says was given in a session against a plain count over its givings: those that are voided do not count, nor does any of
// a voided session, and what is in conflict is a range.
func (w *world) judgeGiven(k record.Key, st *record.State, held []wire.Held) {
	if k.Kind != optionsv1.RecordKind_RECORD_KIND_SESSION {
		return
	}
	var want span
	perhaps, never := voided(st, "", fieldSessionVoid)
	for _, p := range givingsOf(st) {
		if never {
			break
		}
		one := amountOf(st, p, fieldGiven, fieldGivingVoid, func(m *chartv1.Giving) int64 { return int64(m.GetGiven().GetDose().GetDoseMilliunits()) })
		if perhaps {
			one.least = 0
		}
		want = want.plus(one)
	}
	if want.most > 0 && perhaps {
		w.count("sessions that may be void")
	}
	got := w.seams.folds.given(st, held).Sum(func(chart.Target) bool { return true })
	if spanOf(got) != want {
		w.found("conservation", "%v: %v milliunits given; its elements say %v", k, got, want)
	}
}

// givingsOf is the givings of every injection of a session.
func givingsOf(st *record.State) []record.Path {
	var out []record.Path
	seen := map[record.Path]bool{}
	for _, c := range st.Values() {
		p := c.Register.Path
		if within(p, fieldInjections) && p.Parent() != "" && !seen[p] {
			seen[p] = true
			out = append(out, p)
		}
	}
	return out
}

// judgeRefusals holds that no signature is held for its values without a reason: it was altered, or a fork or a restore gave other edits its dots, or an edit
// that it covers was held, too.
func (w *world) judgeRefusals(k record.Key, held []wire.Held) {
	others := 0
	for i := range held {
		if m := w.book.edits[held[i].Edit.AuthoredAt]; m == nil || m.signed == nil {
			others++
		}
	}
	for i := range held {
		h := &held[i]
		m := w.book.edits[h.Edit.AuthoredAt]
		if m == nil || m.signed == nil || h.Status != syncv1.HeldStatus_HELD_STATUS_HELD {
			continue
		}
		w.count("signatures refused")
		differs := h.Reason == faultv1.Reason_REASON_SIGNED_VALUES_DIFFER || h.Reason == faultv1.Reason_REASON_UNSETTLED_CONFLICT
		if differs && !m.altered && others == 0 && w.counts["forks"]+w.counts["restores"] == 0 {
			w.found("conservation", "%v: the signature of edit %d is held, though it is over what its signer saw", k, m.at)
		}
	}
}
