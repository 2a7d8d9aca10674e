package device

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"filippo.io/age"

	"needlebook/internal/auth"
	"needlebook/internal/durable"
)

// Errors of the device's key.
var (
	// ErrSealed: the key is sealed under a passphrase, and none was given or it is another one.
	ErrSealed = errors.New("the device's key is sealed: the passphrase is absent or wrong")
	// ErrKey: the file of the key holds none.
	ErrKey = errors.New("the file of the device's key does not hold a P-256 key")
)

const (
	keyFile    = "device.key"
	pemBlock   = "PRIVATE KEY"
	sealedMark = "age-encryption.org/"
)

// signer is the device's key. A sealed one is opened when it is first needed, since opening it is slow by intent and charting needs no key.
type signer struct {
	path       string
	passphrase string
	random     io.Reader
	key        *ecdsa.PrivateKey
	locked     bool // it was found that key cannot be opened with what is here
}

// makeKey makes the file of the key unless there is one: a try to enrol that was cut off left it, and the code may be bound to it by now.
// One that was left unsealed is sealed when a passphrase is given now.
func (s *signer) makeKey() error {
	file, err := os.ReadFile(s.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if s.key, err = ecdsa.GenerateKey(elliptic.P256(), s.random); err != nil {
			return fmt.Errorf("make device key: %w", err)
		}
	case err != nil:
		return err
	case s.passphrase == "" || bytes.HasPrefix(file, []byte(sealedMark)):
		return nil
	default:
		if _, err := s.open(); err != nil {
			return err
		}
	}
	return s.write()
}

// write puts the key into its file, sealed when there is a passphrase.
func (s *signer) write() error {
	file, err := encodeKey(s.key)
	if err != nil {
		return fmt.Errorf("write device key: %w", err)
	}
	if s.passphrase != "" {
		if file, err = seal(file, s.passphrase); err != nil {
			return fmt.Errorf("seal device key: %w", err)
		}
	}
	return durable.WriteFile(s.path, file, 0o600)
}

func seal(text []byte, passphrase string) ([]byte, error) {
	to, err := age.NewScryptRecipient(passphrase)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	w, err := age.Encrypt(&out, to)
	if err != nil {
		return nil, err
	}
	_, err = w.Write(text)
	err = errors.Join(err, w.Close()) // the last of it is written by Close
	return out.Bytes(), err
}

func unseal(file []byte, passphrase string) ([]byte, error) {
	if passphrase == "" {
		return nil, ErrSealed
	}
	with, err := age.NewScryptIdentity(passphrase)
	if err != nil {
		return nil, ErrSealed
	}
	r, err := age.Decrypt(bytes.NewReader(file), with)
	if err != nil {
		return nil, ErrSealed
	}
	return io.ReadAll(r)
}

// open reads the key.
func (s *signer) open() (*ecdsa.PrivateKey, error) {
	if s.key != nil {
		return s.key, nil
	}
	file, err := os.ReadFile(s.path)
	if err != nil {
		return nil, fmt.Errorf("read device key: %w", err)
	}
	if bytes.HasPrefix(file, []byte(sealedMark)) {
		if file, err = unseal(file, s.passphrase); err != nil {
			return nil, err
		}
	}
	s.key, err = parseKey(file)
	return s.key, err
}

// encodeKey is a key as its file has it: PKCS #8 in PEM.
func encodeKey(key *ecdsa.PrivateKey) ([]byte, error) {
	der, err := x509.MarshalPKCS8PrivateKey(key)
	return pem.EncodeToMemory(&pem.Block{Type: pemBlock, Bytes: der}), err
}

// parseKey is the inverse of encodeKey and takes nothing else: ErrKey.
func parseKey(file []byte) (*ecdsa.PrivateKey, error) {
	block, _ := pem.Decode(file)
	if block == nil {
		return nil, ErrKey
	}
	parsed, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	key, ok := parsed.(*ecdsa.PrivateKey)
	if err != nil || !ok || key.Curve != elliptic.P256() {
		return nil, ErrKey
	}
	if again, err := encodeKey(key); err != nil || !bytes.Equal(again, file) {
		return nil, ErrKey
	}
	return key, nil
}

// remove forgets the key for good; one that is gone already is no error.
func (s *signer) remove() error {
	s.key, s.locked = nil, true
	if err := os.Remove(s.path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return durable.SyncDir(filepath.Dir(s.path))
}

// sign is the device's signature over a statement: r and s, 32 bytes each.
func (s *signer) sign(statement []byte) ([]byte, error) {
	key, err := s.open()
	if err != nil {
		return nil, err
	}
	return auth.SignP256(s.random, key, statement)
}

// public is the key's public half.
func (s *signer) public() (auth.DeviceKey, error) {
	key, err := s.open()
	if err != nil {
		return auth.DeviceKey{}, err
	}
	public, ok := auth.DeviceKeyOf(&key.PublicKey)
	if !ok {
		return auth.DeviceKey{}, ErrKey
	}
	return public, nil
}

func keyPath(dir string) string { return filepath.Join(dir, keyFile) }
