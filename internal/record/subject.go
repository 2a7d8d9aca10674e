package record

import (
	"slices"

	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// subjectField is the name of the register that says which patient a record concerns.
const subjectField = "patient_id"

// Subjects is the patients that a record concerns: itself when it is one, else what its patient_id says. While that is in conflict it concerns all of
// them; a record without one concerns everybody. Each patient is named once, in the order of the siblings.
func (s *Schema) Subjects(st *State) []ID {
	if st.Key.Kind == optionsv1.RecordKind_RECORD_KIND_PATIENT {
		return []ID{st.Key.ID}
	}
	r, ok := s.SubjectRegister(st.Key.Kind)
	if !ok {
		return nil
	}
	var out []ID
	for _, x := range st.Siblings(r) {
		text, err := contentOf(x.Value)
		if id, ok := parseID(string(text)); err == nil && ok && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// SubjectRegister is the register that says which patient a record of a kind concerns; ok is false when records of the kind have none.
func (s *Schema) SubjectRegister(k Kind) (r Register, ok bool) {
	sh := s.kinds[k]
	if sh == nil {
		return Register{}, false
	}
	f := sh.byName(subjectField)
	if f == nil {
		return Register{}, false
	}
	return Register{Field: f.number}, true
}
