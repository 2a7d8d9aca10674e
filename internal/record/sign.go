package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"

	"google.golang.org/protobuf/proto"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
)

// signedContentField is the number of the register that holds what was signed, in every element of a collection of signatures.
const signedContentField = 2

// signatureFields is the numbers of the collections of signatures of records of kind k.
func (s *Schema) signatureFields(k Kind) []uint32 {
	sh := s.kinds[k]
	if sh == nil {
		return nil
	}
	return sh.signatures
}

// IsSignature reports whether a path leads into a collection of signatures, and so is not part of what is signed.
func (s *Schema) IsSignature(k Kind, p Path) bool {
	if p == "" {
		return false
	}
	step, _ := p.Cut()
	for _, f := range s.signatureFields(k) {
		if f == step.Field {
			return true
		}
	}
	return false
}

// ToSign is what a signature over s as it stands would cover: the vector, the values and their digest. While a field is in conflict there is
// nothing to sign: the error says UNSETTLED_CONFLICT and names the field.
func (s *Schema) ToSign(st *State) (*syncv1.SignedContent, error) {
	for _, c := range st.Conflicts() {
		if !s.IsSignature(st.Key.Kind, c.Register.Path) {
			return nil, fault.New(faultv1.Reason_REASON_UNSETTLED_CONFLICT, s.RegisterText(st.Key.Kind, c.Register), "", "")
		}
	}
	values := st.message(s.signatureFields(st.Key.Kind))
	vector := st.Seen.AppendBinary(nil)
	return &syncv1.SignedContent{Vector: vector, Values: values, Digest: signedDigest(st.Key, vector, values)}, nil
}

func signedDigest(key Key, vector, values []byte) []byte {
	b := []byte("needlebook signed 1\x00")
	b = binary.AppendUvarint(b, uint64(key.Kind))
	b = append(b, key.ID[:]...)
	b = appendBytes(b, vector)
	b = appendBytes(b, values)
	sum := sha256.Sum256(b)
	return sum[:]
}

// Signature is one signature found in a record.
type Signature struct {
	Path    Path
	Vector  causal.Vector
	Content *syncv1.SignedContent
}

// SignaturesIn is the signatures that an edit writes. A signature that cannot be read is an error: NOT_CANONICAL.
func (s *Schema) SignaturesIn(e *Edit) ([]Signature, error) {
	var out []Signature
	var err error
	for i := range e.Writes {
		w := &e.Writes[i]
		if !s.IsSignature(e.Key.Kind, w.Path) {
			continue
		}
		w.each(func(f uint32, value []byte, cleared bool) {
			if f != signedContentField || cleared || err != nil {
				return
			}
			var sig Signature
			if sig, err = parseSignature(w.Path, value); err == nil {
				out = append(out, sig)
			}
		})
	}
	return out, err
}

func parseSignature(p Path, tagged []byte) (Signature, error) {
	content, err := contentOf(tagged)
	sig := Signature{Path: p, Content: &syncv1.SignedContent{}}
	if err == nil {
		err = proto.Unmarshal(content, sig.Content)
	}
	var rest []byte
	if err == nil {
		sig.Vector, rest, err = causal.CutVector(sig.Content.GetVector())
	}
	if err != nil || len(rest) > 0 {
		return Signature{}, fault.New(faultv1.Reason_REASON_NOT_CANONICAL, "signatures", "", "signed content with a canonical vector")
	}
	return sig, nil
}

// Signatures is the signatures that the record holds, by path.
func (s *Schema) Signatures(st *State) []Signature {
	var out []Signature
	st.eachRegister(func(p Path, r *register) {
		if r.field != signedContentField || !s.IsSignature(st.Key.Kind, p) {
			return
		}
		for _, x := range r.siblings {
			if sig, err := parseSignature(p, x.Value); err == nil && !x.Cleared {
				out = append(out, sig)
			}
		}
	})
	return out
}

// CheckSignature holds a signature against at, which is the fold of exactly the edits that its vector names. It fails with SIGNED_VALUES_DIFFER when
// the values or the digest are not what at gives, or with UNSETTLED_CONFLICT.
func (s *Schema) CheckSignature(at *State, sig *syncv1.SignedContent) error {
	want, err := s.ToSign(at)
	if err != nil {
		return err
	}
	if !bytes.Equal(want.Digest, sig.GetDigest()) || !bytes.Equal(want.Values, sig.GetValues()) || !bytes.Equal(want.Vector, sig.GetVector()) {
		return fault.New(faultv1.Reason_REASON_SIGNED_VALUES_DIFFER, "signatures", "", "")
	}
	return nil
}

// LateEntry is a value that came after the record was signed, and waits for an addendum.
type LateEntry struct {
	Register Register
	Sibling  causal.Sibling
}

// LateEntries is the values that no signature of the record covers; none when it was never signed. A signature is never itself late.
func (s *Schema) LateEntries(st *State) []LateEntry {
	signatures := s.Signatures(st)
	if len(signatures) == 0 {
		return nil
	}
	var signed causal.Vector
	for _, sig := range signatures {
		signed = signed.Join(sig.Vector)
	}
	var out []LateEntry
	st.eachRegister(func(p Path, r *register) {
		if s.IsSignature(st.Key.Kind, p) {
			return
		}
		for _, x := range r.siblings {
			if !signed.Covers(x.Dot) {
				out = append(out, LateEntry{Register{p, r.field}, x})
			}
		}
	})
	return out
}
