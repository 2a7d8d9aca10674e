package chart

import (
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/fault"
	"needlebook/internal/record"
)

// Signing is a signature to be made.
type Signing struct {
	// ID is the new element's.
	ID      record.ID
	By      Act
	Meaning syncv1.SignatureMeaning
	// Statement is the sentence that stood over the button.
	Statement string
	// Proof is how the person showed who she is: password, passkey or unlocked_device; empty when that is not recorded.
	Proof string
	// Role is the one in which she signs; unspecified when that is not recorded.
	Role accessv1.Role
}

// Sign is the change that signs st as it stands, which is the state that the signer saw. While a field is in conflict it is UNSETTLED_CONFLICT and
// names the field. An addendum needs a signature before it and something that came after; without these it is a fault of meaning. So is "I did this" over a
// treatment in which nothing was given, and "I supervised this" by who injected.
func (c *Chart) Sign(st *record.State, s Signing) (Change, error) {
	content, err := c.schema.ToSign(st)
	if err != nil {
		return Change{}, err
	}
	switch {
	case s.Meaning == syncv1.SignatureMeaning_SIGNATURE_MEANING_UNSPECIFIED:
		return Change{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "meaning", "", "what the signature says")
	case s.Meaning == syncv1.SignatureMeaning_SIGNATURE_MEANING_ADDENDUM && len(c.schema.LateEntries(st)) == 0:
		return Change{}, fault.New(faultv1.Reason_REASON_INVALID_FIELD, "meaning", s.Meaning.String(), "a signed record with entries after the signature")
	}
	if err := signable(st, s); err != nil {
		return Change{}, err
	}
	content.SignerId, content.Meaning, content.SignedAtUnixMs = s.By.Staff.String(), s.Meaning, s.By.At.UnixMilli()
	element := &chartv1.Signature{Id: s.ID.String(), Content: content}
	if s.Statement != "" {
		element.Statement = proto.String(s.Statement)
	}
	if s.Proof != "" {
		element.Proof = proto.String(s.Proof)
	}
	if s.Role != accessv1.Role_ROLE_UNSPECIFIED {
		element.Role = s.Role.Enum()
	}
	writes, err := c.element(st.Key, "signatures", element.GetId(), element)
	return Change{Key: st.Key, Context: contextOf(st), Writes: writes}, err
}

// signable refuses what a session shows to be untrue: that something was done in a treatment in which nothing was given, and that who injected supervised
// herself. In a consultation or a review nothing is injected, and what was done there may be signed.
func signable(st *record.State, s Signing) error {
	if st.Key.Kind != optionsv1.RecordKind_RECORD_KIND_SESSION {
		return nil
	}
	e := elementsOf(st)
	given, injectors := e.whoGave()
	switch s.Meaning {
	case syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED:
		if !given && e.mayTreat() {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "meaning", "performed", "a visit in which something was given: in this treatment nothing "+
				"was, so nobody did it; record what was given, or cancel the visit or make it a consultation")
		}
	case syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED:
		if injectors[s.By.Staff.String()] {
			return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "meaning", "supervised", "the signature of someone other than who injected")
		}
	}
	return nil
}

// whoGave says whether something was given that may count, and who gave it.
func (e elements) whoGave() (given bool, by map[string]bool) {
	by = map[string]bool{}
	for _, injection := range e.in("", "injections") {
		for _, giving := range e.in(injection, "givings") {
			if _, never := e.voided(giving); never {
				continue
			}
			for _, m := range messages[*chartv1.GivenDose](e, giving, "given") {
				given = given || m != nil
			}
			for _, done := range messages[*recordv1.Act](e, giving, "done") {
				by[done.GetBy()] = true
			}
		}
	}
	return given, by
}

// mayTreat reports whether a session is, or may be, one in which injections are given. One whose kind nobody stated may be.
func (e elements) mayTreat() bool {
	for _, v := range e.options("", "kind") {
		kind := chartv1.SessionKind_SESSION_KIND_UNSPECIFIED
		if v.IsValid() {
			kind = chartv1.SessionKind(v.Enum())
		}
		if kind != chartv1.SessionKind_SESSION_KIND_CONSULTATION && kind != chartv1.SessionKind_SESSION_KIND_REVIEW {
			return true
		}
	}
	return false
}
