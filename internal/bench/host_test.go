package bench_test

import (
	"context"
	"crypto/rand"
	"net/http"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/gen/needlebook/access/v1/accessv1connect"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/auth"
	"needlebook/internal/causal"
	"needlebook/internal/chart"
	"needlebook/internal/device"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/server"
)

// host is the whole server, as `needlebook serve` runs it, on loopback: rights, audit, limits and logs included.
type host struct {
	schema *record.Schema
	source *source
	url    string
	clinic string
	token  string // of the administrator
	staff  record.ID
	ahead  atomic.Int64 // of the server's clock, so that many may enrol from one address without waiting; nanoseconds
}

const password = "long enough to measure with"

func newHost(b *testing.B) *host {
	b.Helper()
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		b.Fatal(err)
	}
	h := &host{schema: sch, source: newSource(9)}
	c := server.Default()
	c.Data, c.Listen, c.Organisation, c.Clinic, c.MinFreeBytes = b.TempDir(), "127.0.0.1:0", "Measured Clinics", "One", -1
	c.Now = func() time.Time { return time.Now().Add(time.Duration(h.ahead.Load())) }
	c.HashCost = auth.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}
	s, err := server.Open(b.Context(), c)
	if err != nil {
		b.Fatal(err)
	}
	running, cancel := context.WithCancel(context.WithoutCancel(b.Context()))
	done := make(chan error, 1)
	go func() { done <- s.Serve(running) }()
	b.Cleanup(func() { cancel(); <-done })
	orgs, err := s.Service().Organisations(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	h.url, h.clinic = s.URL(), orgs[0].Clinic.String()
	h.token = h.claim(b, s.Link(), "root")
	h.staff = h.hire(b, "ada")
	return h
}

type bearer struct{ token string }

func (t bearer) RoundTrip(r *http.Request) (*http.Response, error) {
	if t.token != "" {
		r.Header.Set("Authorization", "Bearer "+t.token)
	}
	return http.DefaultTransport.RoundTrip(r)
}

func (h *host) access() accessv1connect.AccessServiceClient {
	return accessv1connect.NewAccessServiceClient(&http.Client{Transport: bearer{h.token}}, h.url)
}

func (h *host) claim(b *testing.B, link, name string) string {
	b.Helper()
	_, code, _ := strings.Cut(link, "#invitation=")
	m, err := h.access().ClaimInvitation(b.Context(), &accessv1.ClaimInvitationRequest{RequestId: uuid.NewString(), Token: code, SignInName: name, Password: password})
	if err != nil {
		b.Fatal(err)
	}
	return m.GetTokens().GetAccessToken()
}

// hire adds an injector who signs in by this name.
func (h *host) hire(b *testing.B, name string) record.ID {
	b.Helper()
	m, err := h.access().AddStaff(b.Context(), &accessv1.AddStaffRequest{
		RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: "Ada Measure"},
		Assignments: []*accessv1.RoleAssignment{{Roles: []accessv1.Role{accessv1.Role_ROLE_INJECTOR, accessv1.Role_ROLE_MEDICAL_LEAD}}},
	})
	if err != nil {
		b.Fatal(err)
	}
	h.claim(b, m.GetInvitationUrl(), name)
	id, err := record.ParseID(m.GetStaff().GetId())
	if err != nil {
		b.Fatal(err)
	}
	return id
}

// tablet is an enrolled device with a folder of its own.
type tablet struct {
	h *host
	*device.Device
	first spent // the first exchange, which brings everything that is there
}

func (h *host) tablet(b *testing.B) *tablet {
	b.Helper()
	m, err := h.access().CreateEnrolmentCode(b.Context(), &accessv1.CreateEnrolmentCodeRequest{
		RequestId: uuid.NewString(), ClinicId: h.clinic, Kind: accessv1.DeviceKind_DEVICE_KIND_COMMAND_LINE,
	})
	if err != nil {
		b.Fatal(err)
	}
	cfg := device.Config{Dir: filepath.Join(b.TempDir(), "tablet"), Now: time.Now, Random: rand.Reader}
	d, err := device.Create(b.Context(), cfg, device.Enrolment{Server: h.url, Code: m.GetCode()})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { d.Close() })
	if err := d.SignIn(b.Context(), "ada", password); err != nil {
		b.Fatal(err)
	}
	t := &tablet{h: h, Device: d}
	t.first, _ = t.sync(b)
	return t
}

// sync exchanges until there is nothing more, and returns how long it took and what went over the wire.
func (t *tablet) sync(b *testing.B) (spent, device.Traffic) {
	b.Helper()
	start, cpu := time.Now(), cpuTime()
	report, err := t.Sync(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	if len(report.Refused) > 0 {
		b.Fatalf("%d edits were refused, the first: %v", len(report.Refused), report.Refused[0].Detail)
	}
	return since(start, cpu), report.Traffic
}

func (t *tablet) edit(b *testing.B, k record.Key, writes []record.Write) {
	b.Helper()
	seen := t.State(k).Seen
	if seen == nil {
		seen = causal.Vector{}
	}
	if _, err := t.Edit(b.Context(), chart.Change{Key: k, Context: seen, Writes: writes}); err != nil {
		b.Fatal(err)
	}
}

// fill makes n sessions on the tablet and returns their keys, ids and messages.
func (t *tablet) fill(b *testing.B, n int) (keys []record.Key, ids, docs [][]byte) {
	b.Helper()
	for range n {
		k, m := t.h.source.session(t.h.staff, t.h.clinic)
		doc, err := proto.Marshal(m)
		if err != nil {
			b.Fatal(err)
		}
		writes, err := t.h.schema.Split(k.Kind, doc)
		if err != nil {
			b.Fatal(err)
		}
		t.edit(b, k, writes)
		keys, ids, docs = append(keys, k), append(ids, k.ID[:]), append(docs, doc)
	}
	return keys, ids, docs
}
