package server_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"needlebook/internal/server"
)

// writeCertificate makes a certificate with a serial number of its own and writes it and its key.
func writeCertificate(t *testing.T, chain, key string, serial int64) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	of := &x509.Certificate{SerialNumber: big.NewInt(serial), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, of, of, &private.PublicKey, private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	for path, block := range map[string]*pem.Block{chain: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if path == "" {
			continue
		}
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
		at := time.Unix(1_700_000_000+serial, 0) // a file system's clock may be coarse
		if err := os.Chtimes(path, at, at); err != nil {
			t.Fatal(err)
		}
	}
}

// TestCertificate_IsReadAnewWhenRenewed: a handshake after the files were written has the new certificate, without a start; while only one of the two was
// written, the one before serves on, and the log says so once.
func TestCertificate_IsReadAnewWhenRenewed(t *testing.T) {
	folder := t.TempDir()
	chain, key := filepath.Join(folder, "chain.pem"), filepath.Join(folder, "key.pem")
	writeCertificate(t, chain, key, 1)
	w := &world{TB: t, logs: &lockedBuffer{}, data: t.TempDir(), config: func(c *server.Config) { c.CertFile, c.KeyFile = chain, key }}
	w.start()
	defer func() { w.end() }()
	serial := func() int64 {
		t.Helper()
		c, err := tls.Dial("tcp", strings.TrimPrefix(w.url, "https://"), &tls.Config{InsecureSkipVerify: true}) // which one is asked, not whose
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		return c.ConnectionState().PeerCertificates[0].SerialNumber.Int64()
	}
	if got := serial(); got != 1 {
		t.Errorf("at the start %d", got)
	}
	writeCertificate(t, chain, "", 2)
	for range 3 {
		if got := serial(); got != 1 {
			t.Errorf("with half of the files written %d", got)
		}
	}
	if n := strings.Count(w.logs.String(), "cannot be read"); n != 1 {
		t.Errorf("the log says %d times that it cannot be read", n)
	}
	writeCertificate(t, chain, key, 3)
	if got := serial(); got != 3 {
		t.Errorf("after the renewal %d", got)
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	if got := serial(); got != 3 {
		t.Errorf("with the key gone %d", got)
	}
}

func TestCertificate_ThatCannotBeReadAtTheStart(t *testing.T) {
	folder := t.TempDir()
	chain, key := filepath.Join(folder, "chain.pem"), filepath.Join(folder, "key.pem")
	writeCertificate(t, chain, "", 1)
	c := server.Default()
	c.Data, c.Listen, c.Organisation, c.CertFile, c.KeyFile = t.TempDir(), "127.0.0.1:0", "x", chain, key
	if _, err := server.Open(t.Context(), c); err == nil || !strings.Contains(err.Error(), key) {
		t.Errorf("without a key: %v", err)
	}
}
