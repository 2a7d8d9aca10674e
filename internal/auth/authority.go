package auth

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/skip2/go-qrcode"
)

// Lives of certificates.
const (
	// authorityLife is ten years: each tablet has to be told to trust the authority by hand.
	authorityLife = 10 * 365 * 24 * time.Hour
	// certificateLife stays below the 825 days that Apple's systems accept of any certificate (their published requirements, from memory).
	certificateLife = 180 * 24 * time.Hour
	// RenewBefore is how long before its end a certificate is made anew.
	RenewBefore = 30 * 24 * time.Hour
	// clockSlack makes certificates good for tablets whose clocks are behind.
	clockSlack = 24 * time.Hour
)

// Files of an authority in its directory. Each holds a certificate and its private key, for the server's user alone.
const (
	authorityFile = "authority.pem"
	serverFile    = "server.pem"
)

// ErrHosts says that the authority was made for other hosts. A new one (another directory) must then be trusted by each tablet.
var ErrHosts = errors.New("the authority may not vouch for this host")

// Authority is the clinic's own certificate authority: tablets that trust it reach the server over TLS though no public authority knows its
// name. It is constrained to the hosts that it was made for (RFC 5280 section 4.2.1.10), so a stolen authority cannot pose as any other
// site. It may be used concurrently.
type Authority struct {
	dir   string
	hosts []string
	now   func() time.Time
	pair  pair

	mu     sync.Mutex
	server *tls.Certificate
}

// pair is a certificate and its key.
type pair struct {
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// OpenAuthority returns the authority kept in a directory, made at first use for the hosts: names and addresses by which tablets reach the
// server. It answers ErrHosts when the one kept may not vouch for one of them.
func OpenAuthority(dir string, hosts []string, now func() time.Time) (*Authority, error) {
	if len(hosts) == 0 {
		return nil, fmt.Errorf("open authority: %w: none given", ErrHosts)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("open authority: %w", err)
	}
	a := &Authority{dir: dir, hosts: slices.Clone(hosts), now: now}
	kept, err := readPair(filepath.Join(dir, authorityFile))
	if errors.Is(err, fs.ErrNotExist) {
		if kept, err = newAuthorityPair(now(), hosts); err == nil {
			err = writePair(filepath.Join(dir, authorityFile), kept)
		}
	}
	if err != nil {
		return nil, fmt.Errorf("open authority: %w", err)
	}
	a.pair = kept
	if _, err := a.Certificate(); err != nil {
		return nil, fmt.Errorf("open authority: %w", err)
	}
	return a, nil
}

// newAuthorityPair makes an authority that may vouch only for the hosts.
func newAuthorityPair(now time.Time, hosts []string) (pair, error) {
	template := &x509.Certificate{
		Subject:                     pkix.Name{CommonName: "Needlebook authority for " + hosts[0], Organization: []string{"Needlebook"}},
		NotBefore:                   now.Add(-clockSlack),
		NotAfter:                    now.Add(authorityLife),
		KeyUsage:                    x509.KeyUsageCertSign | x509.KeyUsageCRLSign,
		BasicConstraintsValid:       true,
		IsCA:                        true,
		MaxPathLenZero:              true,
		PermittedDNSDomainsCritical: true,
	}
	constrain(template, hosts)
	return newPair(template, nil)
}

// constrain permits the hosts and nothing else. A kind of name of which none is permitted would be open, so it is closed: "invalid" is a
// domain that nobody can have (RFC 2606).
func constrain(template *x509.Certificate, hosts []string) {
	for _, h := range hosts {
		ip := net.ParseIP(h)
		if ip == nil {
			template.PermittedDNSDomains = append(template.PermittedDNSDomains, h)
			continue
		}
		if v4 := ip.To4(); v4 != nil {
			ip = v4
		}
		template.PermittedIPRanges = append(template.PermittedIPRanges, &net.IPNet{IP: ip, Mask: net.CIDRMask(8*len(ip), 8*len(ip))})
	}
	if len(template.PermittedDNSDomains) == 0 {
		template.PermittedDNSDomains = []string{"invalid"}
	}
	if len(template.PermittedIPRanges) == 0 {
		for _, all := range []string{"0.0.0.0/0", "::/0"} {
			_, n, _ := net.ParseCIDR(all)
			template.ExcludedIPRanges = append(template.ExcludedIPRanges, n)
		}
	}
}

// newPair makes a key and its certificate, signed by the parent or, without one, by itself.
func newPair(template *x509.Certificate, parent *pair) (pair, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return pair{}, fmt.Errorf("make key: %w", err)
	}
	if template.SerialNumber, err = rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127)); err != nil {
		return pair{}, fmt.Errorf("make serial: %w", err)
	}
	signer := pair{cert: template, key: key}
	if parent != nil {
		signer = *parent
	}
	der, err := x509.CreateCertificate(rand.Reader, template, signer.cert, &key.PublicKey, signer.key)
	if err != nil {
		return pair{}, fmt.Errorf("make certificate: %w", err)
	}
	cert, err := x509.ParseCertificate(der)
	return pair{cert: cert, key: key}, err
}

// Certificate returns the server's certificate for the hosts, made anew when it has less than RenewBefore to go, is of other hosts, or
// cannot be read.
func (a *Authority) Certificate() (*tls.Certificate, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.server != nil && a.usable(a.server.Leaf) {
		return a.server, nil
	}
	path := filepath.Join(a.dir, serverFile)
	if kept, err := readPair(path); err == nil && a.usable(kept.cert) {
		a.server = kept.tls(a.pair.cert)
		return a.server, nil
	}
	fresh, err := a.issue()
	if err != nil {
		return nil, err
	}
	if err := writePair(path, fresh); err != nil {
		return nil, err
	}
	a.server = fresh.tls(a.pair.cert)
	return a.server, nil
}

// usable reports whether a certificate is this authority's, for each host, and far from its end.
func (a *Authority) usable(c *x509.Certificate) bool {
	return a.vouches(c) == nil && a.now().Add(RenewBefore).Before(c.NotAfter)
}

func (a *Authority) vouches(c *x509.Certificate) error {
	roots := x509.NewCertPool()
	roots.AddCert(a.pair.cert)
	for _, h := range a.hosts {
		if _, err := c.Verify(x509.VerifyOptions{Roots: roots, DNSName: h, CurrentTime: a.now()}); err != nil {
			return fmt.Errorf("%w: %q: %w", ErrHosts, h, err)
		}
	}
	return nil
}

func (a *Authority) issue() (pair, error) {
	now := a.now()
	template := &x509.Certificate{
		Subject:               pkix.Name{CommonName: a.hosts[0]},
		NotBefore:             now.Add(-clockSlack),
		NotAfter:              now.Add(certificateLife),
		KeyUsage:              x509.KeyUsageDigitalSignature,
		ExtKeyUsage:           []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true,
	}
	for _, h := range a.hosts {
		if ip := net.ParseIP(h); ip != nil {
			template.IPAddresses = append(template.IPAddresses, ip)
		} else {
			template.DNSNames = append(template.DNSNames, h)
		}
	}
	fresh, err := newPair(template, &a.pair)
	if err != nil {
		return pair{}, err
	}
	return fresh, a.vouches(fresh.cert)
}

// TLSConfig returns a server's configuration that renews its certificate by itself.
func (a *Authority) TLSConfig() *tls.Config {
	return &tls.Config{
		MinVersion:     tls.VersionTLS12,
		GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return a.Certificate() },
	}
}

// CertificatePEM returns the authority's own certificate, which tablets are told to trust. It is no secret.
func (a *Authority) CertificatePEM() []byte {
	return pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: a.pair.cert.Raw})
}

// Fingerprint is SHA-256 over the authority's certificate, in pairs of hex digits with colons, to compare by eye with what the tablet shows.
func (a *Authority) Fingerprint() string {
	sum := sha256.Sum256(a.pair.cert.Raw)
	return strings.ReplaceAll(fmt.Sprintf("% X", sum), " ", ":")
}

// SquareCode returns a text as a square code for a terminal, dark on light, two rows of modules a line.
func SquareCode(text string) (string, error) {
	q, err := qrcode.New(text, qrcode.Medium)
	if err != nil {
		return "", fmt.Errorf("make square code of %d bytes: %w", len(text), err)
	}
	return q.ToSmallString(false), nil
}

func (p pair) tls(issuer *x509.Certificate) *tls.Certificate {
	return &tls.Certificate{Certificate: [][]byte{p.cert.Raw, issuer.Raw}, PrivateKey: p.key, Leaf: p.cert}
}

// bytes is the form of a pair in its file: the certificate, then the key, as PEM.
func (p pair) bytes() ([]byte, error) {
	key, err := x509.MarshalPKCS8PrivateKey(p.key)
	if err != nil {
		return nil, fmt.Errorf("encode key: %w", err)
	}
	cert := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: p.cert.Raw})
	return append(cert, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: key})...), nil
}

var errPair = errors.New("not a certificate and its P-256 key as written here")

// parsePair reads what bytes writes and nothing else.
func parsePair(b []byte) (pair, error) {
	certBlock, rest := pem.Decode(b)
	if certBlock == nil || len(b) > 64<<10 {
		return pair{}, errPair
	}
	keyBlock, _ := pem.Decode(rest)
	if keyBlock == nil {
		return pair{}, errPair
	}
	cert, err1 := x509.ParseCertificate(certBlock.Bytes)
	parsed, err2 := x509.ParsePKCS8PrivateKey(keyBlock.Bytes)
	key, ok := parsed.(*ecdsa.PrivateKey)
	if err1 != nil || err2 != nil || !ok || !key.PublicKey.Equal(cert.PublicKey) {
		return pair{}, errPair
	}
	p := pair{cert: cert, key: key}
	if again, err := p.bytes(); err != nil || !bytes.Equal(again, b) {
		return pair{}, errPair
	}
	return p, nil
}

func readPair(path string) (pair, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return pair{}, err
	}
	p, err := parsePair(b)
	if err != nil {
		return pair{}, fmt.Errorf("read %s: %w", path, err)
	}
	return p, nil
}

// writePair writes the file whole or not at all: under a temporary name in the same directory, synced, then renamed, and the directory synced.
func writePair(path string, p pair) error {
	b, err := p.bytes()
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".new-*") // made with 0600
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	defer os.Remove(f.Name())
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return errors.Join(dir.Sync(), dir.Close())
}
