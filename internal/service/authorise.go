package service

import (
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/encoding/protowire"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/auth"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/store"
)

// authorise says whether an edit's author may make it, by the accounts as they stand now: she is of the organisation and one of her roles may write
// this kind of record. It is asked in the transaction that applies the edit, so a role taken away holds what was charted with it, for a person
// to judge.
func (s *Service) authorise(r store.Reader, org record.ID, e *record.Edit) *fault.Error {
	p, err := s.admitted.Author(r, uuid.UUID(org), uuid.UUID(e.Author))
	switch {
	case fault.Has(err, faultv1.Reason_REASON_NOT_FOUND):
		return authorNotAllowed(e, "a member of staff of this organisation")
	case err != nil:
		return fault.Wrap(faultv1.Reason_REASON_INTERNAL, err)
	case auth.MayEdit(p.Roles(), e.Key.Kind), ownEntry(e):
		return s.unchanged(r, org, e)
	}
	return authorNotAllowed(e, "an author whose roles may write "+strings.ToLower(strings.TrimPrefix(e.Key.Kind.String(), "RECORD_KIND_")))
}

func authorNotAllowed(e *record.Edit, want string) *fault.Error {
	return fault.New(faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED, "author", e.Author.String(), want)
}

// Fields of a staff record that a person may write of herself: name, sign_in_name (which only the server writes, for her), contact.
const (
	staffName, staffSignInName, staffContact = 2, 3, 4
)

// ownEntry reports whether a person writes no more of her own staff record than her name and how she is reached.
func ownEntry(e *record.Edit) bool {
	if e.Key.Kind != optionsv1.RecordKind_RECORD_KIND_STAFF || e.Key.ID != e.Author {
		return false
	}
	for _, w := range e.Writes {
		if w.Path != "" || len(w.Clear) > 0 {
			return false
		}
		for b := w.Set; len(b) > 0; {
			number, _, n := protowire.ConsumeField(b)
			if n < 0 || number < staffName || number > staffContact {
				return false
			}
			b = b[n:]
		}
	}
	return true
}
