package device

import (
	"context"
	"crypto/rand"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/gen/needlebook/access/v1/accessv1connect"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/record"
	"needlebook/internal/server"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

const password = "seven brown otters, singing"

// clinic is a server on loopback with an injector, eve.
type clinic struct {
	testing.TB
	server *server.Server
	client *http.Client
	token  string
	home   string

	mu    sync.Mutex
	ahead time.Duration
}

func (c *clinic) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Now().Add(c.ahead)
}

func newClinic(t testing.TB, config ...func(*server.Config)) *clinic {
	t.Helper()
	c := &clinic{TB: t}
	cfg := server.Default()
	cfg.Data, cfg.Listen, cfg.Organisation, cfg.Clinic = filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "Island", "Harbour"
	cfg.MinFreeBytes, cfg.Now = -1, c.now
	cfg.HashCost = auth.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}
	for _, f := range config {
		f(&cfg)
	}
	s, err := server.Open(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	c.server = s
	c.client = &http.Client{Transport: c.transport()}
	orgs, err := s.Service().Organisations(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	c.home = orgs[0].Clinic.String()
	_, code, _ := strings.Cut(s.Link(), "#invitation=")
	c.token = c.claim(code, "root")
	resp, err := c.access().AddStaff(t.Context(), &accessv1.AddStaffRequest{
		RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: "Eve"},
		Assignments: []*accessv1.RoleAssignment{{Roles: []accessv1.Role{accessv1.Role_ROLE_INJECTOR}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	_, code, _ = strings.Cut(resp.GetInvitationUrl(), "#invitation=")
	c.claim(code, "eve")
	return c
}

func (c *clinic) authority() string {
	if a := c.server.Authority(); a != nil {
		return string(a.CertificatePEM())
	}
	return ""
}

func (c *clinic) transport() http.RoundTripper {
	t, err := Transport(c.authority())
	if err != nil {
		c.Fatal(err)
	}
	return t
}

type bearer struct {
	token string
	next  http.RoundTripper
}

func (b bearer) RoundTrip(r *http.Request) (*http.Response, error) {
	if b.token != "" {
		r.Header.Set("Authorization", "Bearer "+b.token)
	}
	return b.next.RoundTrip(r)
}

func (c *clinic) access() accessv1connect.AccessServiceClient {
	return accessv1connect.NewAccessServiceClient(&http.Client{Transport: bearer{c.token, c.client.Transport}}, c.server.URL())
}

func (c *clinic) claim(code, name string) (token string) {
	c.Helper()
	resp, err := c.access().ClaimInvitation(c.Context(), &accessv1.ClaimInvitationRequest{
		RequestId: uuid.NewString(), Token: code, SignInName: name, Password: password,
	})
	if err != nil {
		c.Fatal(err)
	}
	return resp.GetTokens().GetAccessToken()
}

func (c *clinic) enrolment() Enrolment {
	c.Helper()
	resp, err := c.access().CreateEnrolmentCode(c.Context(), &accessv1.CreateEnrolmentCodeRequest{
		RequestId: uuid.NewString(), ClinicId: c.home, Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE,
	})
	if err != nil {
		c.Fatal(err)
	}
	return Enrolment{Server: c.server.URL(), Code: resp.GetCode(), Label: "Room 1", Authority: c.authority()}
}

func config(t testing.TB) Config {
	return Config{Dir: filepath.Join(t.TempDir(), "tablet"), Now: time.Now, Random: rand.Reader, Pause: time.Millisecond}
}

// tablet is an enrolled device with eve signed in.
func (c *clinic) tablet(cfg Config) *Device {
	c.Helper()
	d, err := Create(c.Context(), cfg, c.enrolment())
	if err != nil {
		c.Fatal(err)
	}
	c.Cleanup(func() { _ = d.Close() }) // a second Close answers as the first
	if err := d.SignIn(c.Context(), "eve", password); err != nil {
		c.Fatal(err)
	}
	return d
}

func put(t testing.TB, d *Device, number string) (record.Key, error) {
	t.Helper()
	c, err := d.Chart().Edit(&chartv1.EditRecordRequest{
		Record: &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: &chartv1.Vial{Id: uuid.NewString(), ShortNumber: &number}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	_, err = d.Edit(t.Context(), c)
	return c.Key, err
}

func mustPut(t testing.TB, d *Device, number string) record.Key {
	t.Helper()
	k, err := put(t, d, number)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func mustSync(t testing.TB, d *Device) Report {
	t.Helper()
	rep, err := d.Sync(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

func TestOpen_WhatWasMadeIsThere(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	d := c.tablet(cfg)
	k := mustPut(t, d, "11")
	digest, id := d.Digest(), d.Identity()
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if again.Digest() != digest || again.Unsent() != 1 || again.State(k).Empty() || again.Person().Name != "Eve" {
		t.Errorf("%d unsent, %+v", again.Unsent(), again.Person())
	}
	if got := again.Identity(); got.Device != id.Device || got.Server != id.Server || got.Fingerprint != id.Fingerprint || len(got.SealingKey) != 32 {
		t.Errorf("identity %+v, want %+v", got, id)
	}
	info, err := os.Stat(filepath.Join(cfg.Dir, keyFile))
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode of the key: %v, %v", info.Mode(), err)
	}
}

func TestOpen_OneProcessAtATime(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	cfg.LockWithin = 20 * time.Millisecond
	d := c.tablet(cfg)
	var locked *boltstore.LockedError
	if _, err := Open(t.Context(), cfg); !errors.As(err, &locked) || locked.PID != os.Getpid() {
		t.Errorf("opened twice: %v", err)
	}
	mustPut(t, d, "11")
}

func TestCreate_GoesOnAfterALostAnswerOrAnotherCode(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	lossy := &losing{next: c.transport(), every: 1}
	cfg.Transport = lossy
	first := c.enrolment()
	var away *AwayError
	if _, err := Create(t.Context(), cfg, first); !errors.As(err, &away) {
		t.Fatalf("enrolled without an answer: %v", err)
	}
	if _, err := Open(t.Context(), cfg); !errors.Is(err, ErrNotEnrolled) {
		t.Errorf("opened: %v", err)
	}
	lossy.every = 0
	// The first code was used by the server; another one makes another device, whose replica must not be the first one's.
	d, err := Create(t.Context(), cfg, c.enrolment())
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(d.SignIn(t.Context(), "eve", password), d.Close()); err != nil {
		t.Fatal(err)
	}
	other := cfg
	other.Dir, other.Transport = filepath.Join(t.TempDir(), "other"), &losing{next: c.transport(), every: 2}
	again, err := Create(t.Context(), other, c.enrolment())
	if err != nil {
		t.Fatalf("with one answer lost: %v", err)
	}
	defer again.Close()
	if _, err := Create(t.Context(), cfg, c.enrolment()); !errors.Is(err, ErrExists) {
		t.Errorf("made twice: %v", err)
	}
}

// losing carries calls to the server and loses the answer of each when every is 1, of each first when it is 2.
type losing struct {
	next  http.RoundTripper
	every int
	n     int
}

var errLost = errors.New("the answer was lost")

func (l *losing) RoundTrip(r *http.Request) (*http.Response, error) {
	resp, err := l.next.RoundTrip(r)
	if l.n++; err != nil || l.every == 0 || l.n%l.every != l.every-1 {
		return resp, err
	}
	_ = resp.Body.Close()
	return nil, errLost
}

// TestSync_LostAnswers loses the answer to every first try of every call, the refresh of the token included.
func TestSync_LostAnswers(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	d := c.tablet(cfg)
	other := c.tablet(config(t))
	d.cfg.Transport = &losing{next: c.transport(), every: 2}
	d.replica.Limits.PageEdits = 2
	for range 7 {
		mustPut(t, d, "11")
	}
	mustSync(t, d)
	c.mu.Lock()
	c.ahead = 2 * time.Hour // the access token is over, the refresh token is not
	c.mu.Unlock()
	mustPut(t, d, "12")
	before := d.Person().Refresh
	mustSync(t, d)
	if d.Person().Refresh == before {
		t.Error("the refresh token was not traded")
	}
	mustSync(t, other)
	mustSync(t, d)
	if d.Digest() != other.Digest() || d.Unsent() != 0 || len(d.Keys(kindVial)) != 8 {
		t.Errorf("%d unsent, %d vials", d.Unsent(), len(d.Keys(kindVial)))
	}
}

const kindVial = 5 // RECORD_KIND_VIAL

func TestSync_ServerAway(t *testing.T) {
	c := newClinic(t)
	d := c.tablet(config(t))
	k := mustPut(t, d, "11")
	portal := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		_, _ = w.Write([]byte("<html>Sign in to the guest network</html>"))
	}))
	defer portal.Close()
	for name, next := range map[string]http.RoundTripper{
		"every answer is lost":        &losing{next: c.transport(), every: 1},
		"a guest network's own page":  redirected{portal.URL},
		"a server that is not opened": redirected{"http://127.0.0.1:1"},
	} {
		d.cfg.Transport = next
		var away *AwayError
		if _, err := d.Sync(t.Context()); !errors.As(err, &away) {
			t.Errorf("%s: %v", name, err)
		}
		if d.State(k).Empty() {
			t.Errorf("%s: the vial is gone", name)
		}
	}
	d.cfg.Transport = nil
	mustSync(t, d)
	if d.Unsent() != 0 || d.Exchanges().LastMS == 0 {
		t.Errorf("%d unsent; %+v", d.Unsent(), d.Exchanges())
	}
}

// redirected carries every call to another address.
type redirected struct{ to string }

func (r redirected) RoundTrip(req *http.Request) (*http.Response, error) {
	other, err := http.NewRequestWithContext(req.Context(), req.Method, r.to+req.URL.Path, req.Body)
	if err != nil {
		return nil, err
	}
	other.Header = req.Header
	return http.DefaultTransport.RoundTrip(other)
}

func TestSync_ClocksThatDiffer(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	cfg.Now = func() time.Time { return time.Now().Add(5 * time.Minute) }
	d := c.tablet(cfg)
	k := mustPut(t, d, "11")
	mustSync(t, d)
	if off := time.Duration(d.Exchanges().OffsetMS) * time.Millisecond; off < 4*time.Minute || off > 6*time.Minute {
		t.Errorf("offset %v, want about 5 minutes", off)
	}
	infos := d.State(k).Infos()
	if at := time.UnixMilli(infos[0].AuthoredAt); time.Until(at) < 4*time.Minute {
		t.Errorf("authored at %v, want by the device's clock", at)
	}
	// A clock set back makes the next sync compare anew.
	d.cfg.Now = func() time.Time { return time.Now().Add(-time.Hour) }
	mustSync(t, d)
	if off := time.Duration(d.Exchanges().OffsetMS) * time.Millisecond; off > -59*time.Minute || off < -61*time.Minute {
		t.Errorf("offset %v, want an hour behind", off)
	}
}

func TestTLS_AuthorityOfTheClinicsOwn(t *testing.T) {
	c := newClinic(t, func(cfg *server.Config) { cfg.Authority = true })
	d := c.tablet(config(t))
	mustPut(t, d, "11")
	mustSync(t, d)
	cfg, e := config(t), c.enrolment()
	e.Authority = ""
	var away *AwayError
	if _, err := Create(t.Context(), cfg, e); !errors.As(err, &away) || !distrusted(err) {
		t.Errorf("a certificate that nobody vouches for: %v", err)
	}
}

// full is a store whose disk can be full.
type full struct {
	Store
	on bool
}

func (f *full) Update(ctx context.Context, fn func(store.Writer) error) error {
	if f.on {
		return store.ErrDiskFull
	}
	return f.Store.Update(ctx, fn)
}

func TestEdit_NothingIsShownThatWasNotStored(t *testing.T) {
	c := newClinic(t)
	d := c.tablet(config(t))
	disk := &full{Store: d.store}
	d.store = disk
	mustPut(t, d, "11")
	disk.on = true
	k, err := put(t, d, "12")
	if !errors.Is(err, store.ErrDiskFull) || !d.State(k).Empty() || d.Unsent() != 1 {
		t.Errorf("%v; %d unsent", err, d.Unsent())
	}
	if _, err := d.Sync(t.Context()); !errors.Is(err, store.ErrDiskFull) {
		t.Errorf("sync: %v", err)
	}
	disk.on = false
	mustPut(t, d, "13")
	mustSync(t, d)
	if n := len(d.Keys(kindVial)); n != 2 {
		t.Errorf("%d vials, want 2", n)
	}
}

func TestSync_WhatCameIsThereAfterwards(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	d, other := c.tablet(cfg), c.tablet(config(t))
	mustPut(t, d, "11")
	theirs := mustPut(t, other, "12")
	mustSync(t, other)
	mustSync(t, d)
	digest := d.Digest()
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if again.Digest() != digest || again.Unsent() != 0 || again.State(theirs).Empty() {
		t.Errorf("%d unsent; what came with the sync is gone: %v", again.Unsent(), again.State(theirs).Empty())
	}
	rep := mustSync(t, again)
	if rep.Up+rep.Down != 0 || rep.Traffic.RoundTrips != 1 || rep.Traffic.BytesUp > 300 || rep.Traffic.BytesDown > 300 {
		t.Errorf("nothing changed, and the sync did %+v", rep)
	}
}

// losingPath carries calls and loses every answer to one of them.
type losingPath struct {
	next http.RoundTripper
	path string
}

func (l losingPath) RoundTrip(r *http.Request) (*http.Response, error) {
	resp, err := l.next.RoundTrip(r)
	if err == nil && strings.HasSuffix(r.URL.Path, l.path) {
		_ = resp.Body.Close()
		return nil, errLost
	}
	return resp, err
}

// TestSignIn_ARefreshThatWasNeverAnswered: the server traded the token and nobody heard. The same request asks again, also from another process.
func TestSignIn_ARefreshThatWasNeverAnswered(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	d := c.tablet(cfg)
	mustPut(t, d, "11")
	c.mu.Lock()
	c.ahead = 2 * time.Hour
	c.mu.Unlock()
	d.cfg.Transport = losingPath{c.transport(), "/Refresh"}
	var away *AwayError
	if _, err := d.Sync(t.Context()); !errors.As(err, &away) {
		t.Fatalf("synced without a token: %v", err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	again, err := Open(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	mustSync(t, again)
	if again.Unsent() != 0 || !again.Person().SignedIn() {
		t.Errorf("%d unsent, %+v", again.Unsent(), again.Person())
	}
}

// TestFork_ACopiedFolderGoesOnUnderANewReplica: and what it became is on the disk.
func TestFork_ACopiedFolderGoesOnUnderANewReplica(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	d := c.tablet(cfg)
	mustPut(t, d, "11")
	mustSync(t, d)
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	copied := cfg
	copied.Dir = filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(copied.Dir, os.DirFS(cfg.Dir)); err != nil {
		t.Fatal(err)
	}
	var ids []string
	for i, one := range []Config{cfg, copied, cfg} {
		d, err := Open(t.Context(), one)
		if err != nil {
			t.Fatal(err)
		}
		if i < 2 {
			mustPut(t, d, []string{"12", "13"}[i])
		}
		if rep := mustSync(t, d); rep.Forked != (i == 1) {
			t.Errorf("sync %d: forked %v", i, rep.Forked)
		}
		if err := d.Close(); err != nil {
			t.Fatal(err)
		}
	}
	for _, one := range []Config{cfg, copied} {
		d, err := Open(t.Context(), one)
		if err != nil {
			t.Fatal(err)
		}
		digest := d.Digest()
		ids = append(ids, d.ReplicaID().String()+string(digest[:]))
		if n := len(d.Keys(kindVial)); n != 3 || d.Unsent() != 0 {
			t.Errorf("%d vials, want 3; %d unsent", n, d.Unsent())
		}
		if err := d.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if ids[0][:32] == ids[1][:32] || ids[0][32:] != ids[1][32:] {
		t.Error("the copy has the same replica, or other edits")
	}
}
