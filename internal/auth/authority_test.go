package auth

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var localHosts = []string{"localhost", "needlebook.example", "127.0.0.1", "::1"}

func mustAuthority(t testing.TB, dir string, hosts []string, now func() time.Time) *Authority {
	t.Helper()
	a, err := OpenAuthority(dir, hosts, now)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func clientOf(a *Authority) *http.Client {
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(a.CertificatePEM())
	return &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
}

func serveTLS(t *testing.T, config *tls.Config) *httptest.Server {
	t.Helper()
	s := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { _, _ = io.WriteString(w, "in") }))
	s.TLS = config
	s.Config.ErrorLog = nil
	s.StartTLS()
	t.Cleanup(s.Close)
	return s
}

// TestHandshake reaches a real TLS server by address and by name, and only with the authority trusted.
func TestHandshake(t *testing.T) {
	a := mustAuthority(t, t.TempDir(), localHosts, time.Now)
	config := a.TLSConfig()
	// httptest puts its own certificate first when none is given; a server of ours has only GetCertificate.
	own, err := a.Certificate()
	if err != nil {
		t.Fatal(err)
	}
	config.Certificates = []tls.Certificate{*own}
	s := serveTLS(t, config)
	_, port, _ := net.SplitHostPort(s.Listener.Addr().String())
	for _, host := range []string{"127.0.0.1", "localhost"} {
		resp, err := clientOf(a).Get("https://" + net.JoinHostPort(host, port))
		if err != nil {
			t.Errorf("%s: %v", host, err)
			continue
		}
		body, _ := io.ReadAll(resp.Body)
		resp.Body.Close()
		if string(body) != "in" || resp.TLS.Version < tls.VersionTLS12 {
			t.Errorf("%s: %q over %x", host, body, resp.TLS.Version)
		}
	}
	stranger := mustAuthority(t, t.TempDir(), localHosts, time.Now)
	if resp, err := clientOf(stranger).Get("https://127.0.0.1:" + port); err == nil {
		resp.Body.Close()
		t.Error("a client that trusts another authority got in")
	}
}

// TestGetCertificateHandshake uses only what TLSConfig gives, over a pipe.
func TestGetCertificateHandshake(t *testing.T) {
	a := mustAuthority(t, t.TempDir(), localHosts, time.Now)
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(a.CertificatePEM())
	for name, want := range map[string]bool{"needlebook.example": true, "other.example": false} {
		left, right := net.Pipe()
		server := tls.Server(left, a.TLSConfig())
		go func() { _ = server.Handshake() }()
		err := tls.Client(right, &tls.Config{RootCAs: roots, ServerName: name}).Handshake()
		if (err == nil) != want {
			t.Errorf("%s: %v", name, err)
		}
		left.Close()
		right.Close()
	}
}

func TestAuthorityIsConstrained(t *testing.T) {
	for _, c := range []struct {
		made []string
		ask  string
		want bool
	}{
		{[]string{"needlebook.example"}, "needlebook.example", true},
		{[]string{"needlebook.example"}, "bank.example", false},
		{[]string{"needlebook.example"}, "192.0.2.1", false},
		{[]string{"192.0.2.1"}, "192.0.2.1", true},
		{[]string{"192.0.2.1"}, "192.0.2.2", false},
		{[]string{"192.0.2.1"}, "bank.example", false},
		{[]string{"2001:db8::1"}, "2001:db8::1", true},
		{[]string{"2001:db8::1"}, "2001:db8::2", false},
	} {
		dir := t.TempDir()
		mustAuthority(t, dir, c.made, time.Now)
		_, err := OpenAuthority(dir, []string{c.ask}, time.Now)
		if (err == nil) != c.want || err != nil && !errors.Is(err, ErrHosts) {
			t.Errorf("made for %v, asked for %s: %v", c.made, c.ask, err)
		}
	}
	if _, err := OpenAuthority(t.TempDir(), nil, time.Now); !errors.Is(err, ErrHosts) {
		t.Errorf("no hosts: %v", err)
	}
}

// TestOpenSSLAgrees has another implementation judge the chain and the constraints.
func TestOpenSSLAgrees(t *testing.T) {
	openssl, err := exec.LookPath("openssl")
	if err != nil {
		t.Skip("SKIPPED: no openssl on this machine")
	}
	dir := t.TempDir()
	a := mustAuthority(t, dir, localHosts, time.Now)
	root := filepath.Join(dir, "root.pem")
	if err := os.WriteFile(root, a.CertificatePEM(), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"-verify_hostname", "needlebook.example"}, {"-verify_ip", "127.0.0.1"}} {
		args = append([]string{"verify", "-x509_strict", "-purpose", "sslserver", "-CAfile", root}, args...)
		out, err := exec.Command(openssl, append(args, filepath.Join(dir, serverFile))...).CombinedOutput()
		if err != nil {
			t.Errorf("openssl %v: %v\n%s", args, err, out)
		}
	}
}

func TestCertificateIsRenewed(t *testing.T) {
	c := &clock{time.Now()}
	dir := t.TempDir()
	a := mustAuthority(t, dir, localHosts, c.now)
	first, _ := a.Certificate()
	c.t = first.Leaf.NotAfter.Add(-RenewBefore - time.Minute)
	if same, _ := a.Certificate(); !bytes.Equal(same.Leaf.Raw, first.Leaf.Raw) {
		t.Error("renewed with more than 30 days to go")
	}
	c.t = first.Leaf.NotAfter.Add(-RenewBefore + time.Minute)
	second, err := a.Certificate()
	if err != nil || bytes.Equal(second.Leaf.Raw, first.Leaf.Raw) || !second.Leaf.NotAfter.After(first.Leaf.NotAfter) {
		t.Errorf("not renewed with less than 30 days to go: %v", err)
	}
	again := mustAuthority(t, dir, localHosts, c.now)
	if kept, _ := again.Certificate(); !bytes.Equal(kept.Leaf.Raw, second.Leaf.Raw) {
		t.Error("opening again made another certificate")
	}
	if again.Fingerprint() != a.Fingerprint() {
		t.Error("opening again made another authority")
	}
}

func TestFilesAreForTheServerAlone(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "tls")
	a := mustAuthority(t, dir, localHosts, time.Now)
	for _, name := range []string{authorityFile, serverFile} {
		info, err := os.Stat(filepath.Join(dir, name))
		if err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", name, info.Mode(), err)
		}
	}
	if info, err := os.Stat(dir); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("directory: %v %v", info.Mode(), err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".new-*")); left != nil {
		t.Errorf("left behind: %v", left)
	}
	if bytes.Contains(a.CertificatePEM(), []byte("PRIVATE")) {
		t.Error("the key is handed out")
	}
	if err := os.WriteFile(filepath.Join(dir, serverFile), []byte("damaged"), 0o600); err != nil {
		t.Fatal(err)
	}
	mustAuthority(t, dir, localHosts, time.Now) // a damaged server certificate is made anew
	if err := os.WriteFile(filepath.Join(dir, authorityFile), []byte("damaged"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenAuthority(dir, localHosts, time.Now); !errors.Is(err, errPair) {
		t.Errorf("a damaged authority must not be replaced silently: %v", err)
	}
}

func TestSquareCode(t *testing.T) {
	code, err := SquareCode("https://needlebook.example:8443/authority.pem")
	if err != nil || strings.Count(code, "\n") < 15 {
		t.Errorf("%v\n%s", err, code)
	}
	if _, err := SquareCode(strings.Repeat("x", 5000)); err == nil {
		t.Error("5000 bytes fit a square code")
	}
}

func FuzzParsePair(f *testing.F) {
	p, err := newAuthorityPair(start, localHosts)
	if err != nil {
		f.Fatal(err)
	}
	b, _ := p.bytes()
	f.Add(b)
	f.Add([]byte("-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := parsePair(b)
		if err != nil {
			return
		}
		if again, err := p.bytes(); err != nil || !bytes.Equal(again, b) {
			t.Errorf("reads back other bytes: %v", err)
		}
	})
}
