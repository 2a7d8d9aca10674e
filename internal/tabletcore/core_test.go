package tabletcore_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/auth"
	"needlebook/internal/tabletcore"
)

// tablet is a host of a core as the browser's is: it stores every block before it goes on.
type tablet struct {
	t      testing.TB
	core   *tabletcore.Core
	blocks [][]byte
}

const (
	staffID  = "0f8fad5b-d9cb-469f-a165-70867728950e"
	clockMS  = 1_790_000_000_000
	deviceID = "7c9e6679-7425-40de-944b-e07fc1f90ae7"
)

func newTablet(t testing.TB) *tablet {
	t.Helper()
	c, err := tabletcore.New()
	if err != nil {
		t.Fatal(err)
	}
	x := &tablet{t: t, core: c}
	x.must("begin", fmt.Sprintf(`{"replica_id":%q,"host":{"device_id":%q,"label":"Room 1"}}`, uuid.New(), deviceID))
	return x
}

// call makes a call, and fails the test when the answer is no frame.
func (x *tablet) call(method, request string, beside ...[]byte) (raw []byte, parts [][]byte) {
	x.t.Helper()
	frame := tabletcore.AppendFrame(nil, append([][]byte{[]byte(method), []byte(request)}, beside...)...)
	out := x.core.Call(frame)
	for i := range frame {
		frame[i] = 0xA5 // the caller uses its buffer again
	}
	parts, err := tabletcore.ParseFrame(out)
	if err != nil || len(parts) == 0 {
		x.t.Fatalf("%s: answer is no frame: %v", method, err)
	}
	if len(parts) > 1 && len(parts[1]) > 0 {
		x.blocks = append(x.blocks, bytes.Clone(parts[1]))
	}
	return parts[0], parts
}

func (x *tablet) must(method, request string, beside ...[]byte) []byte {
	x.t.Helper()
	raw, parts := x.call(method, request, beside...)
	if len(parts) < 2 {
		x.t.Fatalf("%s: refused: %s", method, raw)
	}
	return raw
}

// refusedFor makes a call that must be refused, and returns the reason.
func (x *tablet) refusedFor(method, request string, beside ...[]byte) string {
	x.t.Helper()
	stored := len(x.blocks)
	raw, parts := x.call(method, request, beside...)
	var m struct {
		Faults []struct{ Reason, Text string }
	}
	if len(parts) != 1 || json.Unmarshal(raw, &m) != nil || len(m.Faults) == 0 || len(x.blocks) != stored {
		x.t.Fatalf("%s: not refused: %s", method, raw)
	}
	return m.Faults[0].Reason
}

func (x *tablet) edit(record, mask, context string) []byte {
	x.t.Helper()
	id := uuid.Must(uuid.NewV7())
	request := fmt.Sprintf(`{"record":%s,"update_mask":%s`, record, mask)
	if context != "" {
		request += fmt.Sprintf(`,"context":%q`, context)
	}
	return x.must("edit", fmt.Sprintf(`{"staff_id":%q,"at_unix_ms":%d,"edit_id":%q,"request":%s}}`, staffID, clockMS, id, request))
}

// reload throws the core away and loads another from what was stored.
func (x *tablet) reload() {
	x.t.Helper()
	c, err := tabletcore.New()
	if err != nil {
		x.t.Fatal(err)
	}
	x.core = c
	x.must("load", `{"host":{"device_id":"`+deviceID+`"}}`, x.blocks...)
}

func (x *tablet) digest() string {
	x.t.Helper()
	return string(x.must("digest", `{}`))
}

const patientID = "5b0a6a3e-3c1d-4f7a-9d55-0f6d0b5f8d01"

func (x *tablet) patient(name string) []byte {
	return x.edit(fmt.Sprintf(`{"patient":{"id":%q,"name":{"full":%q}}}`, patientID, name), `["name"]`, "")
}

func TestCore_EditIsShownFoundAndSurvivesALoad(t *testing.T) {
	x := newTablet(t)
	var made struct {
		View struct {
			Record struct {
				Patient struct{ Name struct{ Full string } }
			}
		}
		Edit struct {
			Dot struct{ Counter string }
		}
	}
	if err := json.Unmarshal(x.patient("Ana Quill"), &made); err != nil {
		t.Fatal(err)
	}
	if made.View.Record.Patient.Name.Full != "Ana Quill" || made.Edit.Dot.Counter != "1" {
		t.Errorf("edit answered %+v", made)
	}
	before := x.digest()
	shown := string(x.must("view", `{"kind":"RECORD_KIND_PATIENT","record_id":"`+patientID+`"}`))
	x.reload()
	if again := string(x.must("view", `{"kind":"RECORD_KIND_PATIENT","record_id":"`+patientID+`"}`)); again != shown {
		t.Errorf("after a load the record is %s, before %s", again, shown)
	}
	if after := x.digest(); after != before {
		t.Errorf("digest after a load %s, before %s", after, before)
	}
	found := x.must("patients", `{"text":"qui"}`)
	var lines []struct {
		PatientID string `json:"patient_id"`
		Whole     bool
	}
	if err := json.Unmarshal(found, &lines); err != nil || len(lines) != 1 || lines[0].PatientID != patientID || !lines[0].Whole {
		t.Errorf("patients = %s, %v", found, err)
	}
}

func TestCore_RefusalsChangeNothing(t *testing.T) {
	x := newTablet(t)
	before := x.digest()
	for method, want := range map[string]string{"view": "REASON_INVALID_FIELD", "edit": "REASON_INVALID_FIELD", "sign_page": "REASON_INVALID_FIELD"} {
		if got := x.refusedFor(method, `{"no_such_field":1}`); got != want {
			t.Errorf("%s: reason %s, want %s", method, got, want)
		}
	}
	if got := x.refusedFor("no_such_method", `{}`); got != "REASON_INTERNAL" {
		t.Errorf("reason %s", got)
	}
	if after := x.digest(); after != before {
		t.Errorf("digest %s, was %s", after, before)
	}
}

// answer marshals an answer of the server's.
func (x *tablet) answer(m proto.Message) []byte {
	x.t.Helper()
	b, err := proto.Marshal(m)
	if err != nil {
		x.t.Fatal(err)
	}
	return b
}

// exchange sends what there is to send, a page signed by zeros, and gives the tablet an answer that acknowledges it.
func (x *tablet) exchange(m *syncv1.ExchangeResponse) {
	x.t.Helper()
	x.must("poll", `{}`)
	if kind := x.must("next", `{}`); bytes.Contains(kind, []byte("hello")) {
		x.must("receive_hello", fmt.Sprintf(`{"fresh_id":%q}`, uuid.New()), x.answer(&syncv1.HelloResponse{Epoch: make([]byte, 16)}))
		x.must("next", `{}`)
	}
	x.must("receive", `{}`, x.answer(m))
}

func TestCore_NeitherRewritesNorSignsWhatIsNotWhole(t *testing.T) {
	x := newTablet(t)
	const session = "1f0e7c56-0a3d-4b3f-9a74-5d4f2f6b0003"
	put := func(field, value, context string) (request string) {
		return fmt.Sprintf(`{"staff_id":%q,"at_unix_ms":%d,"edit_id":%q,"request":{"record":{"session":{"id":%q,%q:%q}},"update_mask":[%q],"context":%q}}`,
			staffID, clockMS, uuid.Must(uuid.NewV7()), session, field, value, field, context)
	}
	x.must("edit", put("patient_id", patientID, ""))
	id := uuid.MustParse(session)
	x.exchange(&syncv1.ExchangeResponse{
		AcknowledgedCounter: 1, Gone: []*syncv1.RecordRef{{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: id[:]}},
	})
	var shown struct {
		View struct{ Context, Digest string }
	}
	if err := json.Unmarshal(x.must("edit", put("clinic_id", patientID, "")), &shown); err != nil || shown.View.Context == "" {
		t.Fatalf("context %q, %v", shown.View.Context, err)
	}
	before := x.digest()
	if got := x.refusedFor("edit", put("clinic_id", staffID, shown.View.Context)); got != "REASON_STALE_READ" {
		t.Errorf("edit: reason %s", got)
	}
	sign := fmt.Sprintf(`{"staff_id":%q,"at_unix_ms":%d,"edit_id":%q,"role":"ROLE_INJECTOR","request":{"session_id":%q,"context":%q,"digest":%q,"meaning":"SIGNATURE_MEANING_ADDENDUM"}}`,
		staffID, clockMS, uuid.Must(uuid.NewV7()), session, shown.View.Context, shown.View.Digest)
	raw, _ := x.call("sign", sign)
	if !bytes.Contains(raw, []byte("STALE_READ")) || x.digest() != before {
		t.Errorf("sign: %s", raw)
	}
}

func TestCore_NeedsAReplica(t *testing.T) {
	c, err := tabletcore.New()
	if err != nil {
		t.Fatal(err)
	}
	x := &tablet{t: t, core: c}
	x.refusedFor("view", `{"kind":"RECORD_KIND_PATIENT","record_id":"`+patientID+`"}`)
	x.must("plan_draw", `{"product":"onabotulinumtoxinA","vial":{"content_units":"100","diluent_ml":"2.5"},
		"syringe":{"capacity_ml":"1","graduation_ml":"0.01"},"doses":[{"ref":"1","dose_units":"4","side":"SIDE_RIGHT"}]}`)
}

// However the blocks were cut, what they leave is the same.
func TestLaw_CompactLeavesTheSame(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := newTablet(t)
		for range rapid.IntRange(1, 6).Draw(rt, "edits") {
			x.patient(rapid.StringMatching(`[A-Z][a-z]{1,8}`).Draw(rt, "name"))
		}
		if rapid.Bool().Draw(rt, "wish") {
			x.must("hold", `{"patient_id":"`+uuid.NewString()+`"}`)
		}
		want := x.digest()
		_, parts := x.call("compact", `{}`, x.blocks...)
		x.blocks = nil
		for _, b := range parts[2:] {
			x.blocks = append(x.blocks, bytes.Clone(b))
		}
		x.reload()
		if got := x.digest(); got != want {
			rt.Fatalf("digest %s, want %s", got, want)
		}
		x.patient("Goes On")
	})
}

// What the tablet signs is what the server verifies.
func TestLaw_StatementsAreTheServers(t *testing.T) {
	c, err := tabletcore.New()
	if err != nil {
		t.Fatal(err)
	}
	x := &tablet{t: t, core: c}
	statement := func(request string, beside ...[]byte) []byte {
		_, parts := x.call("statement", request, beside...)
		if len(parts) != 3 {
			t.Fatalf("statement %s: %s", request, parts[0])
		}
		return parts[2]
	}
	asked := func(purpose string, parts ...string) string {
		b, err := json.Marshal(map[string]any{"purpose": purpose, "parts": parts})
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	rapid.Check(t, func(rt *rapid.T) {
		a, b := rapid.String().Draw(rt, "a"), rapid.String().Draw(rt, "b")
		a, b = strings.ToValidUTF8(a, "?"), strings.ToValidUTF8(b, "?")
		if got := statement(asked("sign-in", a, b)); !bytes.Equal(got, auth.SignInStatement(a, b)) {
			rt.Fatalf("sign-in: %q", got)
		}
		if got := statement(asked("refresh", a, b)); !bytes.Equal(got, auth.RefreshStatement(a, b)) {
			rt.Fatalf("refresh: %q", got)
		}
		code, err := auth.NewCode(bytes.NewReader(rapid.SliceOfN(rapid.Byte(), 10, 10).Draw(rt, "code")))
		if err != nil {
			rt.Fatal(err)
		}
		typed := strings.ToLower(code.String())
		if got := statement(asked("enrol", typed), testKey.Bytes()); !bytes.Equal(got, auth.EnrolStatement(code, testKey)) {
			rt.Fatalf("enrol: %q", got)
		}
	})
	if got := x.refusedFor("statement", asked("enrol", "not a code"), testKey.Bytes()); got != "REASON_BAD_CODE" {
		t.Errorf("reason %s", got)
	}
}

func FuzzCall(f *testing.F) {
	f.Add([]byte("view"), []byte(`{"kind":"RECORD_KIND_PATIENT","record_id":"`+patientID+`"}`), []byte{})
	f.Add([]byte("load"), []byte(`{}`), []byte{1, 0, 1, 'm', 0})
	f.Add([]byte("receive"), []byte(`{}`), []byte{8, 1})
	f.Add([]byte("refused"), []byte(`{"details":[{"type":"google.rpc.ErrorInfo","value":"CgFB"}]}`), []byte{})
	f.Add([]byte("locate"), []byte(`{"place":{"frame":"mouth"},"muscle":"mentalis"}`), []byte{})
	x := newTablet(f)
	f.Fuzz(func(t *testing.T, method, request, beside []byte) {
		out := x.core.Call(tabletcore.AppendFrame(nil, method, request, beside))
		if bytes.Contains(out, []byte("panic: ")) {
			t.Fatalf("%s %q: %s", method, request, out)
		}
		if _, err := tabletcore.ParseFrame(out); err != nil {
			t.Fatal(err)
		}
	})
}
