package audit

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/google/uuid"

	"needlebook/internal/store"
)

// Head is where an organisation's chain ends, or ended when it was copied. Sequence 0 is the empty chain.
type Head struct {
	Org      uuid.UUID
	Sequence uint64
	Hash     Hash
}

const headIntro = "needlebook audit head v1"

// String is the form to keep elsewhere, one line without its end: the intro, organisation, sequence, hash in hex.
func (h Head) String() string {
	return fmt.Sprintf("%s %s %d %s", headIntro, h.Org, h.Sequence, hex.EncodeToString(h.Hash[:]))
}

// ErrHead says that text is no head as String writes it.
var ErrHead = errors.New("not the head of an audit chain")

// ParseHead reads what String writes and nothing else.
func ParseHead(s string) (Head, error) {
	rest, ok := strings.CutPrefix(s, headIntro+" ")
	parts := strings.Split(rest, " ")
	if !ok || len(parts) != 3 || len(s) > 256 {
		return Head{}, ErrHead
	}
	org, err1 := uuid.Parse(parts[0])
	sequence, err2 := strconv.ParseUint(parts[1], 10, 64)
	hash, err3 := hex.DecodeString(parts[2])
	if err1 != nil || err2 != nil || err3 != nil || len(hash) != len(Hash{}) {
		return Head{}, ErrHead
	}
	h := Head{Org: org, Sequence: sequence, Hash: Hash(hash)}
	if h.String() != s {
		return Head{}, ErrHead
	}
	return h, nil
}

// HeadOf returns the head of an organisation's chain; of one without entries, the empty one.
func HeadOf(r store.Reader, org uuid.UUID) (Head, error) {
	b, err := r.Get(headKey(org))
	if errors.Is(err, store.ErrNotFound) {
		return Head{Org: org}, nil
	} else if err != nil {
		return Head{}, err
	}
	h, err := ParseHead(string(b))
	if err != nil || h.Org != org {
		return Head{}, &TamperedError{Org: org, What: "the stored head cannot be read"}
	}
	return h, nil
}

// Organisations returns the organisations that have a head or an entry, ascending.
func Organisations(r store.Reader) (orgs []uuid.UUID, err error) {
	for _, kind := range []byte{keyEntry, keyHead} {
		lo := []byte{table, kind}
		for lo != nil {
			var next *uuid.UUID
			err := r.Scan(lo, []byte{table, kind + 1}, func(key, _ []byte) error {
				if len(key) < 18 {
					return &TamperedError{What: fmt.Sprintf("a key of %d bytes", len(key))}
				}
				org := uuid.UUID(key[2:18])
				next = &org
				return store.Stop
			})
			if err != nil {
				return nil, err
			}
			if lo = nil; next != nil {
				orgs = append(orgs, *next)
				lo = after(append([]byte{table, kind}, next[:]...))
			}
		}
	}
	return unique(orgs), nil
}
