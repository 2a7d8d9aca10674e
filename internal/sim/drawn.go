package sim

import (
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/record"
)

// judgeSums holds what is drawn from a vial, as its message says, against the book.
func (w *world) judgeSums(k record.Key, st *record.State) {
	if k.Kind != optionsv1.RecordKind_RECORD_KIND_VIAL {
		return
	}
	var vial chartv1.Vial
	if err := proto.Unmarshal(st.Message(), &vial); err != nil {
		w.found("convergence", "%v: is no vial: %v", k, err)
		return
	}
	var got, want int64
	for _, d := range vial.GetDraws() {
		got += d.GetAmount().GetVolumeNanoliters()
	}
	for r, ats := range look(st) {
		values := map[value]bool{}
		for _, at := range ats {
			values[w.book.edits[at].writes[r]] = true
		}
		if r.Path == "" || r.Field != fieldAmount || len(values) != 1 {
			continue // not a draw's amount, or one that is in conflict and a range
		}
		var d chartv1.Draw
		if err := proto.Unmarshal([]byte(w.book.edits[ats[0]].writes[r].bytes), &d); err == nil {
			want += d.GetAmount().GetVolumeNanoliters()
		}
	}
	if got != want {
		w.found("conservation", "%v: %d nanolitres drawn, the edits in it say %d", k, got, want)
	}
}
