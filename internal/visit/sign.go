package visit

import (
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
)

// Owed is a signature that a visit lacks.
type Owed struct {
	Meaning syncv1.SignatureMeaning `json:"meaning"`
	// StaffID is who owes it; empty where anybody may who works there as injector or lead.
	StaffID string `json:"staff_id,omitempty"`
	// Text is a sentence.
	Text string `json:"text"`
}

// OwedOf lists the signatures that a visit lacks: of everyone who injected, or of the injector in charge where nothing was injected; of the supervisor,
// where one is named; and, where late entries stand, an addendum. A visit that was cancelled or voided owes none.
func OwedOf(s *chartv1.Session, lateEntries int) (owed []Owed) {
	if st := StandingOf(s); st.Void || st.Step == Cancelled || st.Step == None {
		return nil
	}
	for _, who := range performers(s) {
		if !signedBy(s, syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, who) {
			owed = append(owed, Owed{syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, who, "Who did it has not signed."})
		}
	}
	if who := s.GetSupervisorId(); who != "" && !signedBy(s, syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED, who) {
		owed = append(owed, Owed{syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED, who, "The supervisor has not countersigned."})
	}
	if lateEntries > 0 {
		owed = append(owed, Owed{Meaning: syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM, Text: "What came after a signature is not countersigned."})
	}
	return owed
}

// performers are everyone who injected, ascending; the injector in charge where nobody did.
func performers(s *chartv1.Session) (who []string) {
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if counts(g) && g.GetDone().GetBy() != "" {
				who = append(who, g.GetDone().GetBy())
			}
		}
	}
	if len(who) == 0 && s.GetResponsibleId() != "" {
		who = append(who, s.GetResponsibleId())
	}
	slices.Sort(who)
	return slices.Compact(who)
}

func signedBy(s *chartv1.Session, meaning syncv1.SignatureMeaning, who string) bool {
	return slices.ContainsFunc(s.GetSignatures(), func(x *chartv1.Signature) bool {
		return x.GetContent().GetMeaning() == meaning && x.GetContent().GetSignerId() == who
	})
}

// MaySign reports whether a signature of this meaning may be made by who signs. A treatment in which nothing was given was performed by nobody; who
// injected does not supervise herself; a visit that is under way is not signed yet.
func MaySign(h Hand, s *chartv1.Session, meaning syncv1.SignatureMeaning) error {
	deed := map[syncv1.SignatureMeaning]Deed{
		syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED:  Sign,
		syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED: Supervise,
		syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM:   Addend,
	}[meaning]
	if deed == "" {
		return wrong("meaning", "", "performed, supervised or addendum")
	}
	if err := May(deed, s, h.Roles...); err != nil {
		return err
	}
	switch {
	case deed == Sign && !slices.Contains(performers(s), h.By):
		return wrong("meaning", "performed", "the signature of who injected; who did not may supervise or countersign")
	case deed == Supervise && slices.Contains(performers(s), h.By):
		return wrong("meaning", "supervised", "the signature of someone other than who injected")
	case deed == Supervise && s.GetSupervisorId() != "" && s.GetSupervisorId() != h.By:
		return wrong("meaning", "supervised", "the signature of the supervisor whom the visit names")
	}
	return nil
}

// sided is the muscle of an injection behind its side, as people say it.
func sided(d Difference) string {
	side := strings.ToLower(strings.TrimPrefix(d.Side.String(), "SIDE_"))
	if d.Side == 0 {
		return plainName(d.Muscle)
	}
	return side + " " + plainName(d.Muscle)
}

// Lacking lists what a visit should hold before it is signed and does not, in sentences: what is missing holds nobody, and is signed as missing.
func Lacking(s *chartv1.Session) (lacks []string) {
	add := func(is bool, text string) {
		if is {
			lacks = append(lacks, text)
		}
	}
	st := StandingOf(s)
	add(st.Given && s.GetAfterCare() == nil, "No after-care sheet was given.")
	add(st.Given && s.GetReview() == nil, "No review is set.")
	add(len(st.Pauses) > 0, "An interruption was never ended.")
	for _, d := range Differences(s) {
		if !st.Given && slices.Equal(d.Kinds, []string{"not_given"}) {
			continue
		}
		add(d.ReasonOwed(), "No reason is given why "+sided(d)+" was "+strings.ReplaceAll(strings.Join(d.Kinds, " and "), "_", " ")+".")
	}
	for _, x := range InUse(s) {
		add(true, "A syringe from the vial "+fault.Show(x.GetFilling().GetVialId())+" still holds something and was not put away.")
	}
	return append(lacks, st.Doubts...)
}
