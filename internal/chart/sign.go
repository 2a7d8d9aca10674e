package chart

import (
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
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
// names the field. An addendum needs a signature before it and something that came after; without these it is a fault of meaning.
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
