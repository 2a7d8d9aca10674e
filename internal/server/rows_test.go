package server_test

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"image"
	"image/png"
	"net/http"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"github.com/klauspost/compress/zstd"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/auth"
	"needlebook/internal/record"
	"needlebook/internal/service"
	"needlebook/internal/wire"
)

// The rows are those of the table of what a broken or hostile tablet sends.

func TestRow04_AnotherDevicesReplica(t *testing.T) {
	w := newWorld(t)
	eve, lea := w.hire("eve", accessv1.Role_ROLE_INJECTOR), w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	a, b := w.tablet(eve), w.tablet(eve)
	a.edit(newRecord(kindVial), vial("1"))
	a.sync()
	id := a.r.ID()
	_, err := b.client.Exchange(t.Context(), &syncv1.ExchangeRequest{Replica: id[:], HeadCounter: 1})
	mustRefuse(t, "pull as another's replica", err, faultv1.Reason_REASON_ACTOR_NOT_YOURS)
	_, err = b.client.Hello(t.Context(), &syncv1.HelloRequest{Replica: id[:]})
	mustRefuse(t, "hello as another's replica", err, faultv1.Reason_REASON_ACTOR_NOT_YOURS)
	device := b.id.String()
	list, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{DeviceId: &device})
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, e := range list.GetEntries() {
		if e.GetReason() == faultv1.Reason_REASON_ACTOR_NOT_YOURS && e.GetOutcome() == accessv1.AuditOutcome_AUDIT_OUTCOME_REFUSED {
			found++
		}
	}
	if found != 2 {
		t.Errorf("%d entries in the audit log, want 2: %v", found, list)
	}
}

func TestRow08_WhatIsElsewhereIsMissing(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	svc := w.server.Service()
	other, err := svc.Found(t.Context(), service.Founding{Organisation: "Other", Clinic: "Other"})
	if err != nil {
		t.Fatal(err)
	}
	blank := regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}`)
	same := func(procedure, token, body, there, nowhere string) {
		t.Helper()
		a, b := w.post(procedure, token, fmt.Sprintf(body, there)), w.post(procedure, token, fmt.Sprintf(body, nowhere))
		if a.code != "not_found" || a.status != b.status || a.message != b.message || a.reason != b.reason ||
			len(blank.ReplaceAll(a.body, nil)) != len(blank.ReplaceAll(b.body, nil)) {
			t.Errorf("%s: another organisation's %s, nowhere %s", procedure, a.body, b.body)
		}
	}
	const access = "/needlebook.access.v1.AccessService/"
	same(access+"CreateEnrolmentCode", w.admin.token, `{"request_id": "`+uuid.NewString()+`", "kind": "DEVICE_KIND_TABLET", "clinic_id": "%s"}`,
		other.Clinic.String(), uuid.NewString())
	same(access+"SetStaffRoles", w.admin.token, `{"request_id": "`+uuid.NewString()+`", "reason": "x", "staff_id": "%s"}`,
		other.Administrator.String(), uuid.NewString())
}

// send pushes edits that the replica's own code would not make.
func (t *tablet) send(edits ...record.Edit) (*syncv1.ExchangeResponse, error) {
	t.w.Helper()
	id := t.r.ID()
	previous := record.Hash{}
	for i := range edits {
		e := &edits[i]
		e.Dot.Replica, e.Dot.Counter, e.Previous = id, uint64(i)+1, previous
		previous = e.Hash()
	}
	page := wire.EncodePage(edits)
	signature, err := auth.SignP256(nil, t.key, wire.Statement(id, 1, uint64(len(edits)), previous))
	if err != nil {
		t.w.Fatal(err)
	}
	page.Signature = signature
	return t.client.Exchange(t.w.Context(), &syncv1.ExchangeRequest{Replica: id[:], HeadCounter: uint64(len(edits)), HeadHash: previous[:], Page: page})
}

func (t *tablet) raw(author uuid.UUID, k record.Key, m proto.Message) record.Edit {
	t.w.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		t.w.Fatal(err)
	}
	writes, err := t.w.schema.Split(k.Kind, b)
	if err != nil {
		t.w.Fatal(err)
	}
	return record.Edit{ID: record.ID(uuid.Must(uuid.NewV7())), Key: k, Author: record.ID(author), AuthoredAt: 1, Writes: writes}
}

func TestRow09_FieldsThatOnlyTheServerSets(t *testing.T) {
	w := newWorld(t)
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	tab := w.tablet(eve)
	name := "root"
	position := &accessv1.Position{Id: uuid.NewString(), Assignment: &accessv1.Assignment{
		Roles: []accessv1.Role{accessv1.Role_ROLE_ADMINISTRATOR}, Granted: nil,
	}}
	own := record.Key{Kind: kindStaff, ID: record.ID(eve.id)}
	resp, err := tab.send(
		tab.raw(eve.id, own, &accessv1.Staff{SignInName: &name}),
		tab.raw(eve.id, own, &accessv1.Staff{Positions: []*accessv1.Position{position}}),
		tab.raw(w.admin.id, own, &accessv1.Staff{Positions: []*accessv1.Position{position}}), // in another's name
		tab.raw(uuid.New(), newRecord(kindVial), vial("1")),                                  // in nobody's
	)
	if err != nil {
		t.Fatal(err)
	}
	want := []faultv1.Reason{
		faultv1.Reason_REASON_OUTPUT_ONLY, faultv1.Reason_REASON_OUTPUT_ONLY, faultv1.Reason_REASON_OUTPUT_ONLY, faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED,
	}
	if len(resp.GetVerdicts()) != len(want) {
		t.Fatalf("verdicts %v", resp.GetVerdicts())
	}
	for i, v := range resp.GetVerdicts() {
		if v.GetHeld().GetReason() != want[i] {
			t.Errorf("edit %d: %v, want %v", i+1, v, want[i])
		}
	}
	_, err = eve.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{})
	mustRefuse(t, "the role that she gave herself", err, faultv1.Reason_REASON_NOT_ALLOWED)
}

func TestRow12_ExpiredTokenKeepsTheEdits(t *testing.T) {
	w := newWorld(t)
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	tab.sync()
	tab.edit(newRecord(kindVial), vial("1"))
	w.pass(auth.AccessLife)
	mustRefuse(t, "an expired token", tab.trySync(), faultv1.Reason_REASON_UNAUTHENTICATED)
	if tab.r.Unsent() != 1 {
		t.Errorf("%d unsent, want 1", tab.r.Unsent())
	}
	tab.signIn()
	tab.sync()
	if tab.r.Unsent() != 0 {
		t.Errorf("%d unsent after signing in, want 0", tab.r.Unsent())
	}
}

func TestRow13_RevokedDevice(t *testing.T) {
	w := newWorld(t)
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	tab.sync()
	tab.edit(newRecord(kindVial), vial("1"))
	revoke := &accessv1.RevokeDeviceRequest{RequestId: uuid.NewString(), DeviceId: tab.id.String(), Reason: "lost"}
	first, err := w.admin.access().RevokeDevice(t.Context(), revoke)
	if err != nil || first.GetStatus().GetDevice().GetRevoked().GetReason() != "lost" {
		t.Fatalf("revoke: %v %v", first, err)
	}
	if again, err := w.admin.access().RevokeDevice(t.Context(), revoke); err != nil || !proto.Equal(first, again) {
		t.Errorf("again: %v %v", again, err)
	}
	mustRefuse(t, "its next exchange", tab.trySync(), faultv1.Reason_REASON_DEVICE_REVOKED)
	if tab.r.Unsent() != 1 {
		t.Errorf("%d unsent, want 1", tab.r.Unsent())
	}
	request, device := uuid.NewString(), tab.id.String()
	_, err = w.access("").SignIn(t.Context(), &accessv1.SignInRequest{
		SignInName: "eve", Password: password, DeviceId: &device, RequestId: &request, Proof: tab.proof(auth.SignInStatement("eve", request)),
	})
	mustRefuse(t, "a sign-in on it", err, faultv1.Reason_REASON_DEVICE_REVOKED)
}

func TestRow14_ForgedTokens(t *testing.T) {
	w := newWorld(t)
	good := strings.Split(w.admin.token, ".")
	head := func(s string) string { return base64.RawURLEncoding.EncodeToString([]byte(s)) }
	tokens := map[string]string{
		"alg none":         head(`{"alg":"none","typ":"at+jwt"}`) + "." + good[1] + ".",
		"HS256":            head(`{"alg":"HS256","typ":"at+jwt"}`) + "." + good[1] + "." + good[2],
		"kid of a file":    head(`{"alg":"EdDSA","kid":"../../dev/null","typ":"at+jwt"}`) + "." + good[1] + "." + good[2],
		"kid of SQL":       head(`{"alg":"EdDSA","kid":"' or 1=1","typ":"at+jwt"}`) + "." + good[1] + "." + good[2],
		"jku":              head(`{"alg":"EdDSA","jku":"http://127.0.0.1/","typ":"at+jwt"}`) + "." + good[1] + "." + good[2],
		"another's claims": good[0] + "." + head(`{"sub":"x"}`) + "." + good[2],
		"no signature":     good[0] + "." + good[1] + ".",
		"cut":              w.admin.token[:len(w.admin.token)-1],
		"8 KB":             strings.Repeat("a", 8<<10),
		"empty":            "",
		"nested":           strings.Join(good, ".") + "." + good[0] + "." + good[1],
	}
	var message string
	for name, token := range tokens {
		a := w.post("/needlebook.access.v1.AccessService/ListStaff", token, "{}")
		if a.code != "unauthenticated" || a.reason != "UNAUTHENTICATED" || message != "" && a.message != message {
			t.Errorf("%s: %s %s %q", name, a.code, a.reason, a.message)
		}
		message = a.message
	}
	if a := w.post("/needlebook.access.v1.AccessService/ListStaff", w.admin.token, "{}"); a.code != "ok" {
		t.Errorf("the good one: %s", a.code)
	}
}

// TestRow15_Bombs sends what is small on the wire and large in memory; everything that the process allocates meanwhile, client included, must
// stay below 64 MiB.
func TestRow15_Bombs(t *testing.T) {
	w := newWorld(t)
	tab := w.tablet(w.admin)
	var gz bytes.Buffer
	zw := gzip.NewWriter(&gz)
	encoder, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	zeros := make([]byte, 1<<20)
	for range 128 {
		_, _ = zw.Write(zeros) // to memory
	}
	zw.Close()
	zst := encoder.EncodeAll(make([]byte, 64<<20), nil)
	edits := bytes.Repeat(protowire.AppendBytes(protowire.AppendTag(nil, 5, protowire.BytesType), nil), 2<<20-8)
	page := protowire.AppendBytes(protowire.AppendTag(nil, 5, protowire.BytesType), edits[:3<<20])
	chain := bytes.Repeat(protowire.AppendBytes(protowire.AppendTag(nil, 2, protowire.BytesType), nil), 2<<20-8)
	runtime.GC()
	for name, c := range map[string]struct {
		procedure, kind, encoding string
		body                      []byte
		want                      string
	}{
		"128 MiB in gzip":        {"Exchange", "proto", "gzip", gz.Bytes(), "TOO_LARGE"},
		"64 MiB in zstd":         {"Exchange", "proto", "zstd", zst, "TOO_LARGE"},
		"5 MiB plain":            {"Exchange", "proto", "", make([]byte, 5<<20), "TOO_LARGE"},
		"1.5 million edits":      {"Exchange", "proto", "", page, "INVALID_FIELD"},
		"2 million chain points": {"Hello", "proto", "", chain, "INVALID_FIELD"},
		"deep JSON":              {"Hello", "json", "", []byte(`{"chain":` + strings.Repeat("[", 1<<20)), "INVALID_FIELD"},
		"a million in JSON":      {"Hello", "json", "", []byte(`{"chain":[` + strings.Repeat("{},", 1<<20) + `{}]}`), "INVALID_FIELD"},
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, w.url+"/needlebook.sync.v1.SyncService/"+c.procedure, bytes.NewReader(c.body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/"+c.kind)
		r.Header.Set("Authorization", "Bearer "+tab.access)
		if c.encoding != "" {
			r.Header.Set("Content-Encoding", c.encoding)
		}
		a := w.do(r)
		runtime.ReadMemStats(&after)
		used := (after.TotalAlloc - before.TotalAlloc) >> 20
		t.Logf("%s: %d bytes sent, %s, %d MiB allocated", name, len(c.body), a.reason, used)
		if a.reason != c.want || used >= 64 {
			t.Errorf("%s: %s %s, %d MiB allocated; want %s and less than 64", name, a.code, a.reason, used, c.want)
		}
	}
}

func TestRow17_Photos(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	put := func(data []byte, whole []byte, offset uint64) (*syncv1.PutPhotoChunkResponse, error) {
		sum := sha256.Sum256(whole)
		return tab.client.PutPhotoChunk(t.Context(), &syncv1.PutPhotoChunkRequest{Sha256: sum[:], Size: uint64(len(whole)), Offset: offset, Data: data})
	}
	var small bytes.Buffer
	if err := png.Encode(&small, image.NewGray(image.Rect(0, 0, 100, 100))); err != nil {
		t.Fatal(err)
	}
	photo := small.Bytes()
	huge := bytes.Clone(photo) // the size stands behind the 16 bytes of signature and chunk header, guarded by a CRC
	copy(huge[16:], []byte{0, 0, 0xc3, 0x50, 0, 0, 0xc3, 0x50})
	for name, bad := range map[string][]byte{
		"SVG": []byte(`<svg xmlns="http://www.w3.org/2000/svg"/>`), "HTML": []byte("<!doctype html><script>"), "GIF": []byte("GIF89a\x01\x00\x01\x00"),
		"50,000 by 50,000": fixCRC(huge), "cut header": photo[:20],
	} {
		_, err := put(bad, bad, 0)
		mustRefuse(t, name, err, faultv1.Reason_REASON_INVALID_FIELD)
	}
	if _, err := put(photo[:40], photo, 0); err != nil {
		t.Fatal(err)
	}
	resp, err := put(photo[40:], photo, 40)
	if err != nil || !resp.GetComplete() {
		t.Fatalf("the rest: %v %v", resp, err)
	}
	sum := sha256.Sum256(photo)
	got, err := tab.client.GetPhotoChunk(t.Context(), &syncv1.GetPhotoChunkRequest{Sha256: sum[:], MaxBytes: 1 << 20})
	if err != nil || !bytes.Equal(got.GetData(), photo) {
		t.Errorf("read back: %v", err)
	}
	wrong := sha256.Sum256([]byte("another"))
	_, err = tab.client.PutPhotoChunk(t.Context(), &syncv1.PutPhotoChunkRequest{Sha256: wrong[:], Size: uint64(len(photo)), Data: photo})
	mustRefuse(t, "wrong hash", err, faultv1.Reason_REASON_INVALID_FIELD)
	_, err = tab.client.GetPhotoChunk(t.Context(), &syncv1.GetPhotoChunkRequest{Sha256: wrong[:], MaxBytes: 1})
	mustRefuse(t, "missing", err, faultv1.Reason_REASON_NOT_FOUND)
}

func TestRow20_TextThatIsNoText(t *testing.T) {
	w := newWorld(t)
	for name, bad := range map[string]string{"NUL": "a\x00b", "bidi override": "a\u202eb", "zero width": "a\u200bb", "too long": strings.Repeat("a", 1<<20)} {
		_, err := w.admin.access().AddStaff(t.Context(), &accessv1.AddStaffRequest{RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: bad}})
		mustRefuse(t, name, err, faultv1.Reason_REASON_INVALID_FIELD)
	}
	a := w.post("/needlebook.access.v1.AccessService/AddStaff", w.admin.token, "{\"request_id\": \""+uuid.NewString()+"\", \"name\": {\"full\": \"a\xffb\"}}")
	if a.code != "invalid_argument" || a.reason != "INVALID_FIELD" {
		t.Errorf("no UTF-8: %s %s", a.code, a.reason)
	}
	list, err := w.admin.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{})
	if err != nil || len(list.GetStaff()) != 1 {
		t.Errorf("staff: %v %v", list, err)
	}
}

func TestRow22_RoleTakenAwayBeforeTheRetry(t *testing.T) {
	w := newWorld(t)
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	tab := w.tablet(eve)
	k := newRecord(kindVial)
	tab.edit(k, vial("1"))
	tab.sync()
	tab.edit(k, vial("2")) // charted while she might
	_, err := w.admin.access().SetStaffRoles(t.Context(), &accessv1.SetStaffRolesRequest{
		RequestId: uuid.NewString(), StaffId: eve.id.String(), Reason: "moved to the desk",
		Assignments: []*accessv1.RoleAssignment{{Roles: []accessv1.Role{accessv1.Role_ROLE_FRONT_DESK}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	mustRefuse(t, "with the token of before", tab.trySync(), faultv1.Reason_REASON_UNAUTHENTICATED)
	tab.signIn()
	tab.sync()
	held := tab.r.Held(k)
	if len(held) != 1 || held[0].Reason != faultv1.Reason_REASON_AUTHOR_NOT_ALLOWED {
		t.Fatalf("held %v", held)
	}
	if got := vials(tab); len(got) != 1 || got[0] != "1" {
		t.Errorf("vial shows %q, want what was allowed", got)
	}
	staff := &accessv1.Staff{}
	if err := proto.Unmarshal(tab.r.View(record.Key{Kind: kindStaff, ID: record.ID(eve.id)}).Message(), staff); err != nil {
		t.Fatal(err)
	}
	if p := staff.GetPositions(); len(p) != 2 || p[0].GetAssignment().GetGranted().GetAt() == nil {
		t.Errorf("the roles that she had when she charted are kept in her record: %v", p)
	}
}

func TestRow23_CursorsAreTheDevicesOwn(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	a, b := w.tablet(w.admin), w.tablet(w.admin)
	aID, bID := a.r.ID(), b.r.ID()
	resp, err := a.client.Exchange(t.Context(), &syncv1.ExchangeRequest{Replica: aID[:]})
	if err != nil || len(resp.GetCursor()) == 0 {
		t.Fatalf("%v %v", resp, err)
	}
	_, err = b.client.Exchange(t.Context(), &syncv1.ExchangeRequest{Replica: bID[:], Cursor: resp.GetCursor()})
	mustRefuse(t, "another device's cursor", err, faultv1.Reason_REASON_BAD_CURSOR)
	for i := range resp.GetCursor() {
		bad := bytes.Clone(resp.GetCursor())
		bad[i] ^= 1
		_, err := a.client.Exchange(t.Context(), &syncv1.ExchangeRequest{Replica: aID[:], Cursor: bad})
		mustRefuse(t, fmt.Sprintf("byte %d altered", i), err, faultv1.Reason_REASON_BAD_CURSOR)
	}
}

// TestRow24_NothingGetsIntoTheLog sends markers in every text that a caller has, and reads every line that was logged.
func TestRow24_NothingGetsIntoTheLog(t *testing.T) {
	w := newWorld(t)
	const canary = "CANARY"
	evil := canary + "\r\n{\"level\":\"ERROR\"}=cmd()"
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	tab := w.tablet(eve)
	k := newRecord(kindPatient)
	tab.edit(k, &chartv1.Patient{Name: &recordv1.PersonName{Full: canary + " =cmd()"}})
	tab.sync()
	access := w.access(evil)
	_, _ = access.SignIn(t.Context(), &accessv1.SignInRequest{SignInName: evil, Password: evil})
	_, _ = access.ListStaff(t.Context(), &accessv1.ListStaffRequest{PageToken: evil})
	_, _ = w.admin.access().ListStaff(t.Context(), &accessv1.ListStaffRequest{PageToken: canary})
	_, _ = w.admin.access().AddStaff(t.Context(), &accessv1.AddStaffRequest{RequestId: evil, Name: &recordv1.PersonName{Full: evil}})
	_, _ = w.admin.access().AddStaff(t.Context(), &accessv1.AddStaffRequest{RequestId: uuid.NewString(), Name: &recordv1.PersonName{Full: evil}})
	patient := uuid.UUID(k.ID).String()
	_, _ = eve.access().BreakGlass(t.Context(), &accessv1.BreakGlassRequest{RequestId: uuid.NewString(), PatientId: patient, Reason: canary})
	const service = "/needlebook.access.v1.AccessService/"
	for _, path := range []string{"/" + canary, service + "SignIn?" + canary, "/%0a" + canary, service + canary} {
		a := w.post(path, canary, `{"sign_in_name": "`+canary+`", "password": 7}`)
		if bytes.Contains(a.body, []byte(canary)) {
			t.Errorf("%s: the answer repeats what was sent: %s", path, a.body)
		}
	}
	lines := 0
	for line := range strings.Lines(w.logs.String()) {
		lines++
		var parsed map[string]any
		if err := json.Unmarshal([]byte(line), &parsed); err != nil || strings.Contains(line, canary) || strings.Contains(line, "cmd()") {
			t.Errorf("logged: %s", line)
		}
	}
	if lines < 10 {
		t.Errorf("only %d lines were looked at", lines)
	}
}

func TestRow25_SendEverythingEveryMinute(t *testing.T) {
	w := newWorld(t)
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	id := tab.r.ID()
	var err error
	pulled := 0
	for range 10 {
		var resp *syncv1.ExchangeResponse
		if resp, err = tab.client.Exchange(t.Context(), &syncv1.ExchangeRequest{Replica: id[:]}); err != nil {
			break
		}
		if len(resp.GetRows()) > 0 {
			pulled++
		}
	}
	mustRefuse(t, "again and again", err, faultv1.Reason_REASON_RATE_LIMITED)
	if pulled != 4 {
		t.Errorf("%d full pulls were let through, want 4 to begin with", pulled)
	}
	if delay := retryOf(err); delay < time.Minute || delay > time.Hour {
		t.Errorf("told to wait %v", delay)
	}
	tab.edit(newRecord(kindVial), vial("1"))
	for range 2 { // it says hello first
		if _, err := tab.step(); err != nil {
			t.Errorf("handing in its own edits: %v", err)
		}
	}
	if tab.r.Unsent() != 0 {
		t.Errorf("%d unsent, want its own edits taken all the same", tab.r.Unsent())
	}
	w.pass(31 * time.Minute)
	tab.signIn()
	_, err = tab.client.Exchange(t.Context(), &syncv1.ExchangeRequest{Replica: id[:], HeadCounter: 1})
	if reasonOf(err) == faultv1.Reason_REASON_RATE_LIMITED {
		t.Error("half an hour later: still limited")
	}
}

// retryOf is the delay of the RetryInfo of an error; 0 when it has none.
func retryOf(err error) time.Duration {
	wireErr, ok := err.(*connect.Error)
	if !ok {
		return 0
	}
	for _, d := range wireErr.Details() {
		if m, err := d.Value(); err == nil {
			if info, ok := m.(*errdetails.RetryInfo); ok {
				return info.GetRetryDelay().AsDuration()
			}
		}
	}
	return 0
}

// fixCRC sets the checksum of the first chunk of a PNG, its header of 13 bytes (RFC 2083, section 3.4).
func fixCRC(b []byte) []byte {
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}
