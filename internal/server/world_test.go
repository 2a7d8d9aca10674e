package server_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/gen/needlebook/access/v1/accessv1connect"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/gen/needlebook/sync/v1/syncv1connect"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/record"
	"needlebook/internal/replica"
	"needlebook/internal/schema"
	"needlebook/internal/server"
	"needlebook/internal/service"
)

// password is good enough for CheckPassword.
const password = "seven brown otters, singing"

// cheap is a cost that keeps tests short.
var cheap = auth.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}

// world is a server on a real loopback listener, with its first administrator.
type world struct {
	testing.TB
	server *server.Server
	logs   *lockedBuffer
	data   string
	url    string
	end    func()
	schema *record.Schema
	admin  *person
	clinic string
	// clock is added to the machine's clock.
	mu     sync.Mutex
	ahead  time.Duration
	config func(*server.Config)
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

func newWorld(t testing.TB, config ...func(*server.Config)) *world {
	t.Helper()
	w := &world{TB: t, logs: &lockedBuffer{}, data: t.TempDir(), config: func(c *server.Config) {
		for _, f := range config {
			f(c)
		}
	}}
	var err error
	if w.schema, err = record.NewSchema(schema.Records()...); err != nil {
		t.Fatal(err)
	}
	w.start()
	t.Cleanup(func() { w.end() })
	_, code, ok := strings.Cut(w.server.Link(), "#invitation=")
	if !ok {
		t.Fatalf("link %q holds no invitation", w.server.Link())
	}
	w.admin = w.claim(code, "ada")
	w.clinic = w.clinics()[0]
	return w
}

func (w *world) now() time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return time.Now().Add(w.ahead)
}

func (w *world) pass(d time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ahead += d
}

func (w *world) start() {
	w.Helper()
	c := server.Default()
	c.Data, c.Listen, c.Organisation, c.HashCost, c.MinFreeBytes, c.Now = w.data, "127.0.0.1:0", "Island Clinics", cheap, -1, w.now
	c.Log = slog.New(slog.NewJSONHandler(w.logs, nil))
	w.config(&c)
	s, err := server.Open(w.Context(), c)
	if err != nil {
		w.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx) }()
	w.server, w.url = s, s.URL()
	w.end = sync.OnceFunc(func() {
		cancel()
		if err := <-done; err != nil {
			w.Errorf("serve: %v", err)
		}
	})
}

// person is someone signed in.
type person struct {
	w     *world
	id    uuid.UUID
	name  string
	token string
}

type bearer struct{ token string }

func (b bearer) RoundTrip(r *http.Request) (*http.Response, error) {
	if b.token != "" {
		r.Header.Set("Authorization", "Bearer "+b.token)
	}
	return http.DefaultTransport.RoundTrip(r)
}

func (w *world) client(token string) *http.Client { return &http.Client{Transport: bearer{token}} }

func (w *world) access(token string) accessv1connect.AccessServiceClient {
	return accessv1connect.NewAccessServiceClient(w.client(token), w.url)
}

func (p *person) access() accessv1connect.AccessServiceClient { return p.w.access(p.token) }

func (w *world) claim(code, name string) *person {
	w.Helper()
	resp, err := w.access("").ClaimInvitation(w.Context(), &accessv1.ClaimInvitationRequest{
		RequestId: uuid.NewString(), Token: code, SignInName: name, Password: password,
	})
	if err != nil {
		w.Fatalf("claim invitation of %s: %v", name, err)
	}
	return &person{w: w, id: uuid.MustParse(resp.GetStaff().GetId()), name: name, token: resp.GetTokens().GetAccessToken()}
}

// hire adds a person with roles in the whole organisation, and signs her in.
func (w *world) hire(name string, roles ...accessv1.Role) *person {
	w.Helper()
	return w.hireAt(nil, name, roles...)
}

func (w *world) hireAt(clinic *string, name string, roles ...accessv1.Role) *person {
	w.Helper()
	resp, err := w.admin.access().AddStaff(w.Context(), &accessv1.AddStaffRequest{
		RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: name}, Assignments: []*accessv1.RoleAssignment{{ClinicId: clinic, Roles: roles}},
	})
	if err != nil {
		w.Fatalf("add %s: %v", name, err)
	}
	_, code, _ := strings.Cut(resp.GetInvitationUrl(), "#invitation=")
	return w.claim(code, name)
}

func (w *world) clinics() (ids []string) {
	w.Helper()
	orgs, err := w.server.Service().Organisations(w.Context())
	if err != nil {
		w.Fatal(err)
	}
	for _, o := range orgs {
		ids = append(ids, o.Clinic.String())
	}
	return ids
}

// tablet is a device with its key and a replica whose rows are kept in memory.
type tablet struct {
	w      *world
	who    *person // signed in on it
	id     uuid.UUID
	key    *ecdsa.PrivateKey
	r      *replica.Replica
	rows   map[string][]byte
	client syncv1connect.SyncServiceClient
	access string // the access token
}

func (w *world) enrolCode() string {
	w.Helper()
	resp, err := w.admin.access().CreateEnrolmentCode(w.Context(), &accessv1.CreateEnrolmentCodeRequest{
		RequestId: uuid.NewString(), ClinicId: w.clinic, Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE,
	})
	if err != nil {
		w.Fatalf("create code: %v", err)
	}
	return resp.GetCode()
}

func newKey(t testing.TB) (*ecdsa.PrivateKey, auth.DeviceKey) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	public, ok := auth.DeviceKeyOf(&key.PublicKey)
	if !ok {
		t.Fatal("not a P-256 key")
	}
	return key, public
}

func enrolRequest(t testing.TB, code string, key *ecdsa.PrivateKey, public auth.DeviceKey, first uuid.UUID) *accessv1.EnrolDeviceRequest {
	t.Helper()
	c, err := auth.ParseCode(code)
	if err != nil {
		t.Fatal(err)
	}
	proof, err := auth.SignP256(rand.Reader, key, auth.EnrolStatement(c, public))
	if err != nil {
		t.Fatal(err)
	}
	return &accessv1.EnrolDeviceRequest{
		RequestId: uuid.NewString(), Code: code, Label: "Room 1", Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE, PublicKey: public.Bytes(),
		ReplicaId: first.String(), Proof: proof,
	}
}

func (w *world) tablet(who *person) *tablet {
	w.Helper()
	key, public := newKey(w)
	first := uuid.New()
	resp, err := w.access("").EnrolDevice(w.Context(), enrolRequest(w, w.enrolCode(), key, public, first))
	if err != nil {
		w.Fatalf("enrol: %v", err)
	}
	if len(resp.GetEpoch()) != 16 || len(resp.GetSealingKey()) != 32 || resp.GetOrganisationName() != "Island Clinics" ||
		resp.GetKeyFingerprint() != public.Fingerprint() {
		w.Errorf("enrolled: %v", resp)
	}
	t := &tablet{w: w, who: who, id: uuid.MustParse(resp.GetDevice().GetId()), key: key, rows: map[string][]byte{}}
	r, ch := replica.New(w.schema, causal.ReplicaID(first))
	t.r = r
	t.store(ch)
	t.signIn()
	return t
}

func (t *tablet) proof(statement []byte) []byte {
	proof, err := auth.SignP256(rand.Reader, t.key, statement)
	if err != nil {
		t.w.Fatal(err)
	}
	return proof
}

func (t *tablet) signIn() *accessv1.Tokens {
	t.w.Helper()
	device, request := t.id.String(), uuid.NewString()
	resp, err := t.w.access("").SignIn(t.w.Context(), &accessv1.SignInRequest{
		SignInName: t.who.name, Password: password, DeviceId: &device, RequestId: &request, Proof: t.proof(auth.SignInStatement(t.who.name, request)),
	})
	if err != nil {
		t.w.Fatalf("sign in: %v", err)
	}
	t.use(resp.GetTokens().GetAccessToken())
	return resp.GetTokens()
}

func (t *tablet) use(token string) {
	t.access = token
	t.client = syncv1connect.NewSyncServiceClient(t.w.client(token), t.w.url)
}

func (t *tablet) store(ch replica.Changes) {
	for _, k := range ch.Delete {
		delete(t.rows, string(k))
	}
	for _, row := range ch.Put {
		t.rows[string(row.Key)] = row.Value
	}
}

// step does one step of the sync over the wire.
func (t *tablet) step() (more bool, err error) {
	s := t.r.Next()
	switch {
	case s.Hello != nil:
		m, err := t.client.Hello(t.w.Context(), s.Hello)
		if err != nil {
			return false, err
		}
		t.store(t.r.ReceiveHello(s, m, causal.ReplicaID(uuid.New())))
	case s.Exchange != nil:
		if s.Statement != nil {
			signature, err := auth.SignP256(rand.Reader, t.key, s.Statement)
			if err != nil {
				return false, err
			}
			s.Exchange.Page.Signature = signature
		}
		m, err := t.client.Exchange(t.w.Context(), s.Exchange)
		if err != nil {
			reason := reasonOf(err)
			if refused := t.r.Refused(s, fault.New(reason, "", "", "")); refused != nil {
				return false, err
			}
			return true, nil
		}
		ch, err := t.r.Receive(s, m)
		if err != nil {
			return false, err
		}
		t.store(ch)
	default:
		return false, nil
	}
	return true, nil
}

func (t *tablet) trySync() error {
	t.r.Poll()
	for range 1000 {
		more, err := t.step()
		if err != nil || !more {
			return err
		}
	}
	return errors.New("sync does not come to an end")
}

func (t *tablet) sync() {
	t.w.Helper()
	if err := t.trySync(); err != nil {
		t.w.Fatalf("sync: %v", err)
	}
}

func (t *tablet) edit(k record.Key, m proto.Message) record.Edit {
	t.w.Helper()
	return t.editAs(t.who.id, k, m)
}

func (t *tablet) editAs(author uuid.UUID, k record.Key, m proto.Message) record.Edit {
	t.w.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		t.w.Fatal(err)
	}
	writes, err := t.w.schema.Split(k.Kind, b)
	if err != nil {
		t.w.Fatal(err)
	}
	e, ch, err := t.r.Edit(replica.Draft{
		ID: record.ID(uuid.Must(uuid.NewV7())), Key: k, Author: record.ID(author), AuthoredAt: t.w.now().UnixMilli(), Writes: writes,
	})
	if err != nil {
		t.w.Fatal(err)
	}
	t.store(ch)
	return e
}

func newRecord(kind optionsv1.RecordKind) record.Key {
	return record.Key{Kind: kind, ID: record.ID(uuid.New())}
}

func vial(short string) *chartv1.Vial { return &chartv1.Vial{ShortNumber: &short} }

// infoOf is the ErrorInfo of an error from the wire; nil when it has none.
func infoOf(err error) *errdetails.ErrorInfo {
	var wire *connect.Error
	if !errors.As(err, &wire) {
		return nil
	}
	for _, d := range wire.Details() {
		if m, err := d.Value(); err == nil {
			if info, ok := m.(*errdetails.ErrorInfo); ok {
				return info
			}
		}
	}
	return nil
}

// reasonOf is the reason that an error from the wire carries.
func reasonOf(err error) faultv1.Reason {
	info := infoOf(err)
	if info == nil || info.GetDomain() != service.Domain {
		return faultv1.Reason_REASON_UNSPECIFIED
	}
	return faultv1.Reason(faultv1.Reason_value["REASON_"+info.GetReason()])
}

// mustRefuse checks code and reason of a refusal, and that its details are in order.
func mustRefuse(t testing.TB, what string, err error, want faultv1.Reason) {
	t.Helper()
	entry, _ := fault.Lookup(want)
	if err == nil || reasonOf(err) != want || connect.CodeOf(err).String() != string(entry.Class) {
		t.Errorf("%s: %v (reason %s), want %s", what, err, reasonOf(err), want)
		return
	}
	if infoOf(err).GetMetadata()["request_id"] == "" {
		t.Errorf("%s: no request id in %v", what, infoOf(err))
	}
}

func sameDigest(t testing.TB, tablets ...*tablet) {
	t.Helper()
	for _, o := range tablets[1:] {
		if o.r.Digest() != tablets[0].r.Digest() {
			t.Error("tablets differ")
		}
	}
}

func vials(t *tablet) (out []string) {
	for _, k := range t.r.Keys(optionsv1.RecordKind_RECORD_KIND_VIAL) {
		m := &chartv1.Vial{}
		if err := proto.Unmarshal(t.r.View(k).Message(), m); err != nil {
			t.w.Fatal(err)
		}
		out = append(out, m.GetShortNumber())
	}
	slices.Sort(out)
	return out
}

func contextWithCancel(t testing.TB) (context.Context, context.CancelFunc) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	return ctx, cancel
}

func helloOf(replica []byte) *syncv1.HelloRequest { return &syncv1.HelloRequest{Replica: replica} }

// freeAddress is a loopback address that nobody listens on at this moment.
func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}
