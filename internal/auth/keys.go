package auth

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"

	"github.com/google/uuid"
)

// table is the first byte of every key of this package.
const table = 'a'

// Family of keys under the table: the second byte. docs/format.md has the same table.
//
//	'a' 'b' org(16) staff(16) patient(16)  an open break-glass grant
//	'a' 'c' sha256(code)(32)               an enrolment code
//	'a' 'd' device(16)                     a device
//	'a' 'f' family(16)                     a family of refresh tokens
//	'a' 'i' sha256(token)(32)              an invitation
//	'a' 'k'                                the keyring
//	'a' 'n' name(1..64)                    the staff id behind a name to sign in with
//	'a' 'o' org(16) device(16)             a device of an organisation (value: 1)
//	'a' 'p' org(16) staff(16)              an account of an organisation (value: 1)
//	'a' 'r' replica(16)                    the device that owns a replica
//	'a' 's' staff(16)                      an account
const (
	keyGrant      = 'b'
	keyCode       = 'c'
	keyDevice     = 'd'
	keyFamily     = 'f'
	keyInvitation = 'i'
	keyKeyring    = 'k'
	keyName       = 'n'
	keyOrgDevice  = 'o'
	keyOrgAccount = 'p'
	keyReplica    = 'r'
	keyAccount    = 's'
)

// errKey says that bytes are no key of this package.
var errKey = errors.New("not a key of the access table")

func makeKey(kind byte, parts ...[]byte) []byte {
	return append([]byte{table, kind}, bytes.Join(parts, nil)...)
}

func keyringKey() []byte                        { return makeKey(keyKeyring) }
func accountKey(staff uuid.UUID) []byte         { return makeKey(keyAccount, staff[:]) }
func nameKey(name string) []byte                { return makeKey(keyName, []byte(name)) }
func deviceKey(device uuid.UUID) []byte         { return makeKey(keyDevice, device[:]) }
func replicaKey(id uuid.UUID) []byte            { return makeKey(keyReplica, id[:]) }
func familyKey(family uuid.UUID) []byte         { return makeKey(keyFamily, family[:]) }
func codeKey(sum [32]byte) []byte               { return makeKey(keyCode, sum[:]) }
func invitationKey(sum [32]byte) []byte         { return makeKey(keyInvitation, sum[:]) }
func orgDeviceKey(org, device uuid.UUID) []byte { return makeKey(keyOrgDevice, org[:], device[:]) }
func orgAccountKey(org, staff uuid.UUID) []byte { return makeKey(keyOrgAccount, org[:], staff[:]) }
func grantKey(org, staff, patient uuid.UUID) []byte {
	return makeKey(keyGrant, org[:], staff[:], patient[:])
}

// key is a key taken apart: its kind and its ids, its hash or its name.
type key struct {
	kind byte
	ids  []uuid.UUID
	sum  [sha256.Size]byte
	name string
}

// idsOf is how many ids keys of a kind hold.
func idsOf(kind byte) int {
	switch kind {
	case keyGrant:
		return 3
	case keyOrgDevice, keyOrgAccount:
		return 2
	case keyAccount, keyDevice, keyReplica, keyFamily:
		return 1
	}
	return 0
}

// parseKey takes a key apart; bytes is its inverse.
func parseKey(b []byte) (key, error) {
	if len(b) < 2 || b[0] != table {
		return key{}, errKey
	}
	k := key{kind: b[1]}
	rest := b[2:]
	switch k.kind {
	case keyKeyring:
	case keyCode, keyInvitation:
		if len(rest) != sha256.Size {
			return key{}, fmt.Errorf("%w: %q with %d bytes", errKey, k.kind, len(rest))
		}
		rest = rest[copy(k.sum[:], rest):]
	case keyName:
		if err := CheckName(string(rest)); err != nil {
			return key{}, errKey
		}
		k.name, rest = string(rest), nil
	case keyGrant, keyOrgDevice, keyOrgAccount, keyAccount, keyDevice, keyReplica, keyFamily:
		for range idsOf(k.kind) {
			if len(rest) < 16 {
				return key{}, fmt.Errorf("%w: %q is cut", errKey, k.kind)
			}
			k.ids = append(k.ids, uuid.UUID(rest[:16]))
			rest = rest[16:]
		}
	default:
		return key{}, fmt.Errorf("%w: kind %q", errKey, k.kind)
	}
	if len(rest) != 0 {
		return key{}, fmt.Errorf("%w: %q with %d bytes too many", errKey, k.kind, len(rest))
	}
	return k, nil
}

// bytes makes the key again.
func (k key) bytes() []byte {
	switch k.kind {
	case keyCode, keyInvitation:
		return makeKey(k.kind, k.sum[:])
	case keyName:
		return nameKey(k.name)
	}
	out := makeKey(k.kind)
	for _, id := range k.ids {
		out = append(out, id[:]...)
	}
	return out
}

// after is the least key behind all that begin with prefix.
func after(prefix []byte) []byte {
	end := bytes.Clone(prefix)
	for i := len(end) - 1; i >= 0; i-- {
		if end[i]++; end[i] != 0 {
			return end[:i+1]
		}
	}
	return nil
}
