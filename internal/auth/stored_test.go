package auth

import (
	"bytes"
	"errors"
	"testing"

	"github.com/google/uuid"
)

// FuzzDecode runs every kind of value over the same bytes: what decodes encodes to the same bytes.
func FuzzDecode(f *testing.F) {
	key, _ := ParseDeviceKey(mustHex(f, rfc6979Key))
	for _, v := range []any{ada(), Device{ID: clinicA, Key: key, Label: "room <1>"}, Enrolment{Org: clinicA}, Invitation{Staff: clinicA, Name: "ada"},
		family{Staff: clinicA, Current: make([]byte, 32)},
		Grant{Reason: "swelling"}, storedKeyring{Keys: []storedKey{{Seed: make([]byte, 32)}}}, clinicA} {
		b, err := encode(v)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("\x01{\"staff\":\"0190b5a0-0000-7000-8000-000000000001\",\"staff\":\"\"}"))
	f.Fuzz(func(t *testing.T, b []byte) {
		again[Account](t, b)
		again[Device](t, b)
		again[Enrolment](t, b)
		again[Invitation](t, b)
		again[family](t, b)
		again[Grant](t, b)
		again[storedKeyring](t, b)
		again[uuid.UUID](t, b)
	})
}

func again[T any](t *testing.T, b []byte) {
	t.Helper()
	v, err := decode[T](b)
	if err != nil {
		if !errors.Is(err, ErrStored) {
			t.Errorf("%T: %v is not ErrStored", v, err)
		}
		return
	}
	if got, err := encode(v); err != nil || !bytes.Equal(got, b) {
		t.Errorf("%T reads back other bytes: %q, %v", v, got, err)
	}
}

func FuzzParseKey(f *testing.F) {
	a, b := uuid.New(), uuid.New()
	for _, k := range [][]byte{keyringKey(), accountKey(a), nameKey("ada"), deviceKey(a), replicaKey(a), familyKey(a),
		codeKey([32]byte{1}), invitationKey([32]byte{2}),
		orgDeviceKey(a, b), orgAccountKey(a, b), grantKey(a, b, a)} {
		if _, err := parseKey(k); err != nil {
			f.Fatalf("%q: %v", k, err)
		}
		f.Add(k)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		k, err := parseKey(b)
		if err == nil && !bytes.Equal(k.bytes(), b) {
			t.Errorf("%q makes %q", b, k.bytes())
		}
	})
}
