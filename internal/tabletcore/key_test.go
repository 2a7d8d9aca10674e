package tabletcore_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"

	"needlebook/internal/auth"
)

// testKey is a key that any test may use.
var testKey = newTestKey()

func newTestKey() auth.DeviceKey {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		panic(err)
	}
	public, ok := auth.DeviceKeyOf(&key.PublicKey)
	if !ok {
		panic("a new key is no P-256 key")
	}
	return public
}
