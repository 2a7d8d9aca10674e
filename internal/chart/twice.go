package chart

import (
	"cmp"
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// Identity is a patient as far as telling persons apart goes. Where fields are in conflict every value stands.
type Identity struct {
	Patient record.Key
	// Marks is a birth date with a name, for each value of both: equal marks mean that two records may be of one person.
	Marks []string
	// Linked is the records that are known to be of the same person.
	Linked []record.ID
	// Void is true when the record does not count, or is for practice and of nobody.
	Void bool
}

// FoldIdentity folds a patient's record. The name counts without case, diacritics, punctuation and the order of its words.
func FoldIdentity(st *record.State) Identity {
	e := elementsOf(st)
	out := Identity{Patient: st.Key}
	_, out.Void = e.voided("")
	for _, mark := range messages[*chartv1.PracticeMark](e, "", "practice") {
		out.Void = out.Void || mark != nil
	}
	for _, name := range messages[*recordv1.PersonName](e, "", "name") {
		for _, birth := range messages[*chartv1.BirthDate](e, "", "birth") {
			if words := Tokens(name.GetFull()); len(words) > 0 && birth.GetDate() != nil {
				out.Marks = append(out.Marks, civil(birth.GetDate()).Format("2006-01-02")+" "+strings.Join(words, " "))
			}
		}
	}
	out.Linked = e.links()
	return out
}

// links is the records that a patient's is linked to.
func (e elements) links() []record.ID {
	var out []record.ID
	for _, p := range e.in("", "links") {
		if _, undone := e.voided(p); undone {
			continue
		}
		for _, claim := range messages[*chartv1.LinkClaim](e, p, "claim") {
			if id, err := record.ParseID(claim.GetPatientId()); err == nil {
				out = append(out, id)
			}
		}
	}
	return out
}

// TwiceFindings says which records may be of one person who was entered twice: those with the same date of birth and name that are not linked yet. It
// is a note; nothing is joined by it.
func TwiceFindings(patients []Identity) []*dosev1.Finding {
	same := map[string][]*Identity{}
	var marks []string
	for i := range patients {
		p := &patients[i]
		for _, mark := range p.Marks {
			if p.Void || slices.Contains(same[mark], p) {
				continue
			}
			if same[mark] == nil {
				marks = append(marks, mark)
			}
			same[mark] = append(same[mark], p)
		}
	}
	slices.Sort(marks)
	var out []*dosev1.Finding
	for _, mark := range marks {
		out = append(out, twiceAmong(same[mark])...)
	}
	slices.SortFunc(out, func(a, b *dosev1.Finding) int { return cmp.Compare(a.GetFindingId(), b.GetFindingId()) })
	return slices.CompactFunc(out, func(a, b *dosev1.Finding) bool { return a.GetFindingId() == b.GetFindingId() })
}

// twiceAmong is a finding for each two of the patients that are not linked.
func twiceAmong(patients []*Identity) []*dosev1.Finding {
	var out []*dosev1.Finding
	for i, a := range patients {
		for _, b := range patients[:i] {
			if slices.Contains(a.Linked, b.Patient.ID) || slices.Contains(b.Linked, a.Patient.ID) {
				continue
			}
			f := newFinding(CodePatientTwice, []record.Key{a.Patient, b.Patient})
			f.Level = formularyv1.Level_LEVEL_NOTE
			f.Text = "Two patient records have the same date of birth and the same name. If they are of one person, link them."
			out = append(out, f)
		}
	}
	return out
}
