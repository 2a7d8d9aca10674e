package service

import (
	"bytes"
	"crypto/hmac"
	"encoding/base64"
	"slices"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// defaultPage is how many rows an answer holds when the request does not say.
const defaultPage = 100

func pageSize(asked uint32) int {
	if asked == 0 {
		return defaultPage
	}
	return int(asked)
}

const pageTagBytes = 16

// seal makes a page token of where the page ended: base64url of it and a tag over it, the list and the organisation.
func (o Organisation) seal(list string, at []byte) string {
	tag := o.derive("page "+list, at)
	return base64.RawURLEncoding.EncodeToString(append(tag[:pageTagBytes:pageTagBytes], at...))
}

// unseal reads what seal made; the empty token is the beginning.
func (o Organisation) unseal(list, token string) ([]byte, error) {
	if token == "" {
		return nil, nil
	}
	b, err := base64.RawURLEncoding.Strict().DecodeString(token)
	if err != nil || len(b) < pageTagBytes {
		return nil, badPage()
	}
	tag := o.derive("page "+list, b[pageTagBytes:])
	if !hmac.Equal(tag[:pageTagBytes], b[:pageTagBytes]) {
		return nil, badPage()
	}
	return b[pageTagBytes:], nil
}

func badPage() error {
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "page_token", "", "the next_page_token of an answer to the same list")
}

// listed is a row with what it sorts by.
type listed[T any] struct {
	sort []byte
	row  T
}

// page is the rows after a place, at most size, in order, and the place where they end; empty when there are no more.
func page[T any](all []listed[T], after []byte, size int) (rows []T, next []byte) {
	slices.SortFunc(all, func(a, b listed[T]) int { return bytes.Compare(a.sort, b.sort) })
	from, found := slices.BinarySearchFunc(all, after, func(l listed[T], at []byte) int { return bytes.Compare(l.sort, at) })
	if found {
		from++
	}
	to := min(from+size, len(all))
	for _, l := range all[from:to] {
		rows = append(rows, l.row)
	}
	if to < len(all) && to > 0 {
		next = all[to-1].sort
	}
	return rows, next
}

// sortKey orders by a name, then by an id; the name is cut so that a token stays short.
func sortKey(name string, id []byte) []byte {
	if len(name) > 200 {
		name = name[:200]
	}
	return append(append([]byte(name), 0), id...)
}
