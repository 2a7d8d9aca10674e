package chart

import (
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/record"
)

// ChosenEditions is the editions of the formulary that a clinic's record names, those of a choice in conflict among them; none for a record of another kind.
func ChosenEditions(st *record.State) (out []record.ID) {
	if st.Key.Kind != optionsv1.RecordKind_RECORD_KIND_CLINIC {
		return nil
	}
	for _, f := range messages[*chartv1.ClinicFormulary](elementsOf(st), "", "formulary") {
		if id, err := record.ParseID(f.GetEdition().GetEditionId()); err == nil {
			out = append(out, id)
		}
	}
	return out
}
