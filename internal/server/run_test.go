package server_test

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/server"
	"needlebook/internal/store/boltstore"
)

func TestConfig_NamesWhatCannotBe(t *testing.T) {
	for field, change := range map[string]func(*server.Config){
		"data":                         func(c *server.Config) { c.Data = "" },
		"listen":                       func(c *server.Config) { c.Listen = "8740" },
		"tls-cert and tls-key":         func(c *server.Config) { c.CertFile = "chain.pem" },
		"tls-authority":                func(c *server.Config) { c.CertFile, c.KeyFile, c.Authority = "a", "b", true },
		"insecure-http":                func(c *server.Config) { c.InsecureHTTP, c.Authority = true, true },
		"public-url":                   func(c *server.Config) { c.PublicURL = "clinic.example" },
		"metrics-listen":               func(c *server.Config) { c.MetricsListen = "9000" },
		"backup-recipient":             func(c *server.Config) { c.Backup.To, c.Backup.Recipients = "x", []string{"age1x"} },
		"backup-keep and backup-every": func(c *server.Config) { c.Backup.To, c.Backup.Keep = "x", -1 },
	} {
		c := server.Default()
		change(&c)
		var wrong *server.ConfigError
		if err := c.Validate(); !errors.As(err, &wrong) || wrong.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
	if err := server.Default().Validate(); err != nil {
		t.Errorf("the default: %v", err)
	}
}

func TestFirstStartNeedsAName(t *testing.T) {
	c := server.Default()
	c.Data, c.Listen = t.TempDir(), "127.0.0.1:0"
	if _, err := server.Open(t.Context(), c); !errors.Is(err, server.ErrNoName) {
		t.Errorf("%v", err)
	}
}

func TestSecondServerNamesTheFirst(t *testing.T) {
	t.Parallel() // waits for the lock
	w := newWorld(t)
	c := server.Default()
	c.Data, c.Listen, c.Organisation = w.data, "127.0.0.1:0", "x"
	var locked *boltstore.LockedError
	if _, err := server.Open(t.Context(), c); !errors.As(err, &locked) || locked.PID != os.Getpid() {
		t.Errorf("%v", err)
	}
}

// TestAuthority: tablets that trust the clinic's own authority reach the server over TLS and HTTP/2, and are told to stay with it.
func TestAuthority(t *testing.T) {
	c := server.Default()
	c.Data, c.Listen, c.Organisation, c.Authority, c.Hosts, c.HashCost = t.TempDir(), "127.0.0.1:0", "x", true, []string{"127.0.0.1"}, cheap
	s, err := server.Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := contextWithCancel(t)
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx) }()
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(s.Authority().CertificatePEM())
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}, ForceAttemptHTTP2: true}}
	resp, err := client.Get(s.URL() + server.CertificatePath)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	pem, err := io.ReadAll(resp.Body)
	if err != nil || string(pem) != string(s.Authority().CertificatePEM()) {
		t.Errorf("certificate: %v", err)
	}
	if resp.ProtoMajor != 2 || resp.Header.Get("Strict-Transport-Security") == "" || resp.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("HTTP/%d with %v", resp.ProtoMajor, resp.Header)
	}
	if _, err := http.Get(strings.Replace(s.URL(), "https", "http", 1)); err == nil {
		t.Log("plain HTTP gets an answer of net/http that says so")
	}
	client.CloseIdleConnections()
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	for _, name := range []string{"authority/authority.pem", "authority/server.pem", "needlebook.db"} {
		if info, err := os.Stat(filepath.Join(c.Data, name)); err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s: %v %v", name, info.Mode(), err)
		}
	}
}

// TestDiskFull: reads stay up, writes say so and can be tried again, and when there is room again all goes on, the audit entries of the reads
// included.
func TestDiskFull(t *testing.T) {
	var full atomic.Bool
	w := newWorld(t, func(c *server.Config) {
		c.MinFreeBytes = 1
		c.FreeBytes = func() (uint64, error) {
			if full.Load() {
				return 0, nil
			}
			return 1 << 30, nil
		}
	})
	eve, lea := w.hire("eve", accessv1.Role_ROLE_INJECTOR), w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	a, b := w.tablet(eve), w.tablet(eve)
	a.edit(newRecord(kindVial), vial("1"))
	b.sync()
	a.sync()
	full.Store(true)
	b.sync()
	if got := vials(b); !slices.Equal(got, []string{"1"}) {
		t.Errorf("a pull while the disk is full: %q", got)
	}
	if _, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{}); err != nil {
		t.Errorf("a read while the disk is full: %v", err)
	}
	a.edit(newRecord(kindVial), vial("2"))
	err := a.trySync()
	mustRefuse(t, "a push while the disk is full", err, faultv1.Reason_REASON_DISK_FULL)
	if retryOf(err) == 0 || a.r.Unsent() != 1 {
		t.Errorf("%d unsent, to be tried again in %v", a.r.Unsent(), retryOf(err))
	}
	full.Store(false)
	a.sync()
	b.sync()
	sameDigest(t, a, b)
	if err := w.server.Service().Maintain(t.Context()); err != nil {
		t.Error(err)
	}
	device := b.id.String()
	list, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{DeviceId: &device})
	if err != nil {
		t.Fatal(err)
	}
	pulls := 0
	for _, e := range list.GetEntries() {
		if strings.HasSuffix(e.GetProcedure(), "Exchange") {
			pulls++
		}
	}
	if pulls < 2 {
		t.Errorf("%d pulls of the device are in the audit log, want those while the disk was full, too: %v", pulls, list)
	}
}

// TestStopAndStart: what runs ends, what was taken is there, and the next start finds it.
func TestStopAndStart(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	tab.edit(newRecord(kindVial), vial("1"))
	tab.sync()
	w.end()
	w.start()
	if w.server.Link() != "" {
		t.Error("a link for an administrator who has come in long ago")
	}
	tab.signIn()
	tab.edit(newRecord(kindVial), vial("2"))
	tab.sync()
	other := w.tablet(w.signIn("eve"))
	other.sync()
	tab.sync()
	sameDigest(t, tab, other)
	w.end()
	if _, err := server.VerifyFolder(t.Context(), w.data, time.Now); err != nil {
		t.Error(err)
	}
}

// TestBackupAndRestore: edits that came after the backup are lost by the server and offered again by the tablet that made them.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	a, b := w.tablet(eve), w.tablet(eve)
	a.edit(newRecord(kindVial), vial("1"))
	a.sync()
	identity, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	to := t.TempDir()
	config := server.BackupConfig{To: to, Keep: 2, Recipients: []string{identity.Recipient().String()}}
	console, err := server.OpenConsole(w.data)
	if err != nil {
		t.Skipf("no console socket here: %v", err)
	}
	made, err := console.BackUp(t.Context(), config)
	if err != nil {
		t.Fatal(err)
	}
	if r, err := console.Verify(t.Context()); err != nil || r.Pages != 1 || r.AuditEntries == 0 {
		t.Errorf("verify beside the server: %+v %v", r, err)
	}
	sealed, err := os.ReadFile(made.Path)
	if err != nil || !strings.HasPrefix(string(sealed), "age-encryption.org/v1") || strings.Contains(string(sealed), "Island Clinics") {
		t.Errorf("backup of %d bytes is not locked: %v", len(sealed), err)
	}
	a.edit(newRecord(kindVial), vial("2"))
	b.edit(newRecord(kindVial), vial("3"))
	a.sync()
	b.sync()
	w.end()

	keyFile := filepath.Join(t.TempDir(), "key")
	if err := os.WriteFile(keyFile, []byte(identity.String()+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	restored := filepath.Join(t.TempDir(), "new")
	r := server.RestoreConfig{From: made.Path, To: restored, IdentityFile: keyFile, Now: time.Now}
	out, err := server.Restore(t.Context(), r)
	if err != nil || out.Report.Pages != 1 || out.Manifest.Sequence != made.Sequence {
		t.Fatalf("restore: %+v %v", out, err)
	}
	if _, err := server.Restore(t.Context(), r); !errors.Is(err, server.ErrExists) {
		t.Errorf("over an existing folder: %v", err)
	}
	for name, spoilt := range map[string][]byte{
		"cut off": sealed[:len(sealed)-20], "altered": flip(sealed, len(sealed)/2), "altered at its end": flip(sealed, len(sealed)-1),
	} {
		bad := r
		bad.From, bad.To = filepath.Join(t.TempDir(), "bad.age"), filepath.Join(t.TempDir(), "new")
		if err := os.WriteFile(bad.From, spoilt, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := server.Restore(t.Context(), bad); !errors.Is(err, server.ErrBackup) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Stat(bad.To); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s: something was left there", name)
		}
	}

	w.data = restored
	w.start()
	for _, tab := range []*tablet{a, b} {
		tab.signIn()
		tab.sync()
	}
	a.sync()
	sameDigest(t, a, b)
	if got := vials(a); !slices.Equal(got, []string{"1", "2", "3"}) {
		t.Errorf("vials after the restore %q, want all three", got)
	}
}

func flip(b []byte, at int) []byte {
	out := slices.Clone(b)
	out[at] ^= 1
	return out
}

// TestBackups_KeepsTheNewest, and tells the ledger which are gone.
func TestBackups_KeepsTheNewest(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	passphrase := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(passphrase, []byte("too short\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	config := server.BackupConfig{To: t.TempDir(), Keep: 2, PassphraseFile: passphrase}
	var wrong *server.ConfigError
	if _, err := w.server.BackUp(t.Context(), config); !errors.As(err, &wrong) {
		t.Errorf("a short passphrase: %v", err)
	}
	identity, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	config.PassphraseFile, config.Recipients = "", []string{identity.Recipient().String()}
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	var names []string
	for range 4 {
		tab.edit(newRecord(kindVial), vial("1"))
		tab.sync()
		w.pass(time.Second)
		b, err := w.server.BackUp(t.Context(), config)
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, filepath.Base(b.Path))
	}
	files, err := os.ReadDir(config.To)
	if err != nil || len(files) != 2 || files[0].Name() != names[2] || files[1].Name() != names[3] {
		t.Errorf("kept %v of %v, %v", files, names, err)
	}
	id := tab.r.ID()
	resp, err := tab.client.Hello(t.Context(), helloOf(id[:]))
	if err != nil || resp.GetBackedUpCounter() != 3 {
		t.Errorf("backed up to %d (%v), want 3: the oldest backup kept is the third", resp.GetBackedUpCounter(), err)
	}
}

func TestRecover_FromTheConsole(t *testing.T) {
	w := newWorld(t)
	console, err := server.OpenConsole(w.data)
	if err != nil {
		t.Skipf("no console socket here: %v", err)
	}
	invited, err := console.Invite(t.Context(), server.InviteRequest{})
	if err != nil {
		t.Fatal(err)
	}
	_, code, _ := strings.Cut(invited.Link, "#invitation=")
	if back := w.claim(code, "ada.again"); back.id != w.admin.id {
		t.Error("another person came in")
	}
	_, err = w.admin.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{})
	mustRefuse(t, "the token of before", err, faultv1.Reason_REASON_UNAUTHENTICATED)
	if _, err := console.Invite(t.Context(), server.InviteRequest{Staff: uuid.New()}); err == nil {
		t.Error("a link for nobody")
	}
}

// TestPrivateListener: health, readiness and figures, and none of them on the public one.
func TestPrivateListener(t *testing.T) {
	at := freeAddress(t)
	w := newWorld(t, func(c *server.Config) { c.MetricsListen = at })
	for path, want := range map[string]string{"/healthz": "ok", "/readyz": "ready", "/metrics": "needlebook_calls_total"} {
		resp, err := http.Get("http://" + at + path)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(resp.Body)
		resp.Body.Close()
		if err != nil || resp.StatusCode != http.StatusOK || !strings.Contains(string(body), want) {
			t.Errorf("%s: %d %s", path, resp.StatusCode, body)
		}
		if a := w.post(path, "", "{}"); a.reason != "NOT_FOUND" {
			t.Errorf("%s on the public listener: %s", path, a.reason)
		}
	}
}
