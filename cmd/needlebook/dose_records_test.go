package main

import (
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/guard"
	"needlebook/internal/reckon"
)

// The records of a day: a patient who is entered twice and linked, with an earlier visit under the other record, and a visit today from a vial whose lot
// another record of the lot recalls.
const (
	dayPatient = "11111111-0000-4000-8000-000000000001"
	daySame    = "11111111-0000-4000-8000-000000000002"
	dayBefore  = "22222222-0000-4000-8000-000000000001"
	dayVisit   = "22222222-0000-4000-8000-000000000002"
	dayReview  = "22222222-0000-4000-8000-000000000003"
	dayVial    = "33333333-0000-4000-8000-000000000001"
	dayBy2     = `{"by": "22222222-0000-4000-8000-000000000009", "at": "2026-05-01T09:00:00Z"}`
	dayBy      = `{"by": "EVE", "at": "2026-05-01T09:00:00Z"}`
)

// dayRecords are in the order in which they are put; EVE and HOME stand for ids of the clinic.
func dayRecords() [][2]string {
	given := func(id, side, units, lateral string) string {
		return `{"id": "44444444-0000-4000-8000-` + id + `", "muscle": "depressor_anguli_oris", "side": "SIDE_` + side + `",
		  "planned": {"product": "onabotulinumtoxinA", "dose_milliunits": ` + units + `},
		  "place": {"frame": "mouth", "x_micrometers": ` + lateral + `, "y_micrometers": -12000},
		  "givings": [{"id": "55555555-0000-4000-8000-` + id + `", "given": {"dose": {"product": "onabotulinumtoxinA", "dose_milliunits": ` + units + `},
		  "vial_id": "` + dayVial + `"}, "done": ` + dayBy + `}]}`
	}
	visit := func(id, patient, day, injections string) string {
		return `{"id": "` + id + `", "patient_id": "` + patient + `", "clinic_id": "HOME", "kind": "SESSION_KIND_TREATMENT", "on": ` + day + `,
		  "responsible_id": "EVE", "injections": [` + injections + `]}`
	}
	return [][2]string{
		{"patient", `{"id": "` + daySame + `", "name": {"full": "Z Lind"}, "alerts": [{"id": "66666666-0000-4000-8000-000000000001",
		  "content": {"kind": "ALERT_KIND_FAINTING", "text": "faints", "raised": ` + dayBy + `}}]}`},
		{"patient", `{"id": "` + dayPatient + `", "name": {"full": "Zora Lind"}, "home_clinic_id": "HOME",
		  "birth": {"date": {"year": 1980, "month": 4, "day": 2}, "proof": "BIRTH_PROOF_DOCUMENT", "checked": ` + dayBy + `},
		  "links": [{"id": "66666666-0000-4000-8000-000000000002", "claim": {"patient_id": "` + daySame + `", "grounds": "one person", "made": ` + dayBy + `}}]}`},
		{"vial", `{"id": "` + dayVial + `", "clinic_id": "HOME", "presentation": {"product": "onabotulinumtoxinA", "content_milliunits": 100000},
		  "labelling": {"lot_number": "L7", "lot_id": "77777777-0000-4000-8000-000000000001", "expires_on": {"year": 2027, "month": 1, "day": 31},
		  "reading": "LABEL_READING_HAND", "read": ` + dayBy + `}}`},
		{"lot", `{"id": "77777777-0000-4000-8000-000000000001", "identity": {"kind": "LOT_KIND_TOXIN", "product": "onabotulinumtoxinA", "number": "L7"}}`},
		{"lot", `{"id": "77777777-0000-4000-8000-000000000002", "identity": {"kind": "LOT_KIND_TOXIN", "product": "onabotulinumtoxinA", "number": "L7"},
		  "recalls": [{"id": "77777777-0000-4000-8000-000000000003", "notice": {"reason": "weak", "noticed_on": {"year": 2026, "month": 4, "day": 30},
		  "entered": ` + dayBy + `}}]}`},
		{"session", visit(dayBefore, daySame, `{"year": 2026, "month": 4, "day": 1}`,
			given("000000000001", "RIGHT", "3000", "-20000")+","+given("000000000002", "LEFT", "2000", "21000"))},
		{"session", visit(dayVisit, dayPatient, `{"year": 2026, "month": 5, "day": 1}`, given("000000000003", "RIGHT", "2000", "-20000"))},
		{"session", `{"id": "` + dayReview + `", "patient_id": "` + daySame + `", "clinic_id": "HOME", "kind": "SESSION_KIND_REVIEW",
		  "on": {"year": 2026, "month": 4, "day": 15}, "parent": {"session_id": "` + dayBefore + `"},
		  "ratings": [{"id": "88888888-0000-4000-8000-000000000001", "grade": {"region": "lower_face", "side": "SIDE_RIGHT", "contraction": "CONTRACTION_SMILING",
		    "scale": "severity", "version": "1", "grade": 1, "direction": "SCALE_DIRECTION_WORSE", "rated": ` + dayBy + `}}]}`},
	}
}

// fold makes a folded day on one replica and brings another in step: what was given in the visit is in conflict.
func (c *clinic) fold(t *testing.T, a, b string) {
	t.Helper()
	do := func(stdin string, args ...string) {
		t.Helper()
		text := strings.NewReplacer("EVE", c.staff["eve"], "HOME", c.home).Replace(stdin)
		if code, stdout, stderr := runHere(t, text, append([]string{"replica"}, args...)...); code != exitDone {
			t.Fatalf("%v: exit %d: %s%s", args, code, stdout, stderr)
		}
	}
	for _, r := range dayRecords() {
		do(r[1], "put", r[0], "--dir", a)
	}
	do("", "sync", "--dir", a)
	do("", "sync", "--dir", b)
	const giving = "injections[44444444-0000-4000-8000-000000000003].givings[55555555-0000-4000-8000-000000000003]"
	for dir, units := range map[string]string{a: "3000", b: "60000"} {
		do(`{"id": "`+dayVisit+`", "injections": [{"id": "44444444-0000-4000-8000-000000000003", "givings": [
		  {"id": "55555555-0000-4000-8000-000000000003", "given": {"dose": {"product": "onabotulinumtoxinA", "dose_milliunits": `+units+`},
		  "vial_id": "`+dayVial+`"}}]}]}`, "put", "session", "--dir", dir, "--mask", giving+".given")
	}
	for _, dir := range []string{a, b, a} {
		do("", "sync", "--dir", dir)
	}
	// An edit outside her role is held: what it says of the clinic is not in what is judged by.
	do(`{"name": "Elsewhere"}`, "put", "clinic", "--dir", a, "--id", c.home)
	if code, stdout, stderr := runHere(t, "", "replica", "sync", "--dir", a); code != exitHold {
		t.Fatalf("exit %d: %s%s", code, stdout, stderr)
	}
	do("", "sync", "--dir", b)
}

// TestTabletAndServerJudgeAlike: what a replica answers of its own records, offline, is what the server answers of the ledger, but for what only one of the
// two knows: how long other tablets have been silent.
func TestTabletAndServerJudgeAlike(t *testing.T) {
	root := t.TempDir()
	a, b := filepath.Join(root, "a"), filepath.Join(root, "b")
	c := startClinic(t, a, b)
	in, err := c.access().SignIn(t.Context(), &accessv1.SignInRequest{SignInName: "eve", Password: testPassword})
	if err != nil {
		t.Fatal(err)
	}
	c.staff["eve"] = in.GetStaff().GetId()
	c.fold(t, a, b)
	server := dosev1connect.NewDoseServiceClient(&http.Client{Transport: bearer{in.GetTokens().GetAccessToken()}}, c.url)
	at := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

	checked, err := server.CheckSession(t.Context(), &dosev1.CheckSessionRequest{AsOf: timestamppb.New(at),
		Subject: &dosev1.CheckSessionRequest_SessionId{SessionId: dayVisit}})
	if err != nil {
		t.Fatal(err)
	}
	history, err := server.GetToxinHistory(t.Context(), &dosev1.GetToxinHistoryRequest{On: &recordv1.Date{Year: 2026, Month: 5, Day: 1},
		Subject: &dosev1.GetToxinHistoryRequest_PatientId{PatientId: dayPatient}})
	if err != nil {
		t.Fatal(err)
	}
	sides, err := server.GetAsymmetry(t.Context(), &dosev1.GetAsymmetryRequest{Subject: &dosev1.GetAsymmetryRequest_PatientId{PatientId: dayPatient}})
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, f := range checked.GetFindings() {
		found[f.GetCode()] = true
	}
	for _, code := range []string{guard.CodeRecalled, guard.CodeInterval, guard.CodeAlert, guard.CodeOrderMissing, guard.CodeConflict, guard.CodeSlip, guard.CodeHeld} {
		if !found[code] {
			t.Errorf("the server does not find %s", code)
		}
	}
	if len(history.GetTreatments()) != 2 || len(sides.GetView().GetTreatments()) != 2 || len(sides.GetView().GetTreatments()[1].GetResponses()) == 0 {
		t.Errorf("the server's history %v and sides %v", history, sides)
	}
	for _, row := range []struct {
		args []string
		want proto.Message
		exit int
	}{
		{[]string{"check", "-session", dayVisit, "-as-of", "2026-05-01T12:00:00Z"}, checked, exitHold},
		{[]string{"history", "-patient", dayPatient, "-on", "2026-05-01"}, history, exitDone},
		{[]string{"asymmetry", "-patient", dayPatient}, sides, exitDone},
	} {
		for _, dir := range []string{a, b} {
			args := append([]string{"dose"}, append(row.args, "-dir", dir)...)
			code, stdout, stderr := runHere(t, "", append(args, "-json")...)
			if code != row.exit {
				t.Fatalf("%v: exit %d: %s", args, code, stderr)
			}
			want, err := reckon.MarshalJSON(row.want)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(known(t, want), known(t, []byte(stdout))); diff != "" {
				t.Errorf("%v on %s differs from the server's (-):\n%s", row.args, filepath.Base(dir), diff)
			}
			code, stdout, stderr = runHere(t, "", args...)
			if code != row.exit || stderr != "" || !strings.Contains(stdout, "The licensed prescriber decides") {
				t.Errorf("%v for people: exit %d: %s%s", row.args, code, stdout, stderr)
			}
			for line := range strings.Lines(stdout) {
				if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > columns {
					t.Errorf("%v: %d columns: %s", row.args, n, line)
				}
			}
			onPhone(t, row.args[0], stdout, "", args...)
		}
	}
}

// known is an answer without what server and tablet may know differently of silent tablets.
func known(t *testing.T, text []byte) any {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	delete(v, "knowledge")
	delete(v, "unchecked_text")
	var kept []any
	findings, _ := v["findings"].([]any)
	for _, f := range findings {
		if f.(map[string]any)["code"] != guard.CodeClinicUnchecked {
			kept = append(kept, f)
		}
	}
	v["findings"] = kept
	return v
}

// Wrong use of the flags is told by its name.
func TestDoseRecordsUsage(t *testing.T) {
	for _, row := range []struct {
		args []string
		want string
	}{
		{[]string{"check", "-dir", "x"}, "-session is absent"},
		{[]string{"check", "-session", dayVisit}, "-dir is absent"},
		{[]string{"check", "-session", "x", "-dir", "x"}, `-session: read "x", want a UUID`},
		{[]string{"check", "-session", dayVisit, "-dir", "x", "-as-of", "noon"}, `-as-of: read "noon"`},
		{[]string{"check", "-as-of", "2026-05-01T12:00:00Z"}, "-as-of and -market belong to -session"},
		{[]string{"history", "-patient", dayPatient, "-dir", "x", "-on", "May"}, `-on: read "May", want a day`},
		{[]string{"history", "-on", "2026-05-01"}, "-on belongs to -patient"},
		{[]string{"asymmetry", "-patient", dayPatient, "-dir", "/nonexistent", "-edition", "/nonexistent"}, "-edition: /nonexistent"},
	} {
		code, stdout, stderr := inProcess("{}", append([]string{"dose"}, row.args...)...)
		if code != exitUsage || stdout != "" || !strings.Contains(stderr, row.want) {
			t.Errorf("%v: exit %d, want %d and %q: %s", row.args, code, exitUsage, row.want, stderr)
		}
	}
}

// TestReplicaKnowsTheClinicsOwnProducts: a product that only the clinic's own edition has is refused on a replica until the edition and the clinic's choice of
// it are there; then it may be written, offline, and the edition is the one that a visit is judged by.
func TestReplicaKnowsTheClinicsOwnProducts(t *testing.T) {
	root := t.TempDir()
	a, b, editions := filepath.Join(root, "a"), filepath.Join(root, "b"), filepath.Join(root, "editions")
	c := startClinic(t, a, b)
	password := filepath.Join(root, "password")
	if err := os.WriteFile(password, []byte(testPassword), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, role := range map[string]accessv1.Role{"lena": accessv1.Role_ROLE_MEDICAL_LEAD, "ada": accessv1.Role_ROLE_ADMINISTRATOR} {
		if _, err := c.hire(t.Context(), name, role); err != nil {
			t.Fatal(err)
		}
	}
	do := func(want int, stdin string, args ...string) string {
		t.Helper()
		code, stdout, stderr := runHere(t, stdin, args...)
		if code != want {
			t.Fatalf("%v: exit %d, want %d: %s%s", args, code, want, stdout, stderr)
		}
		return stdout
	}
	as := func(name, dir string) {
		t.Helper()
		do(exitDone, "", "replica", "sign-in", "--dir", dir, "--name", name, "--password-file", password)
	}
	draft := filepath.Join(root, "draft.json")
	if err := os.WriteFile(draft, []byte(`{"label": "Harbour", "version": "harbour-1", "products": [{"value": {"name": "exampletoxinA",
	  "unit_name": "units of exampletoxinA", "provenance": {"obtained": "OBTAINED_LEAD", "remark": "a trial"}}}]}`), 0o600); err != nil {
		t.Fatal(err)
	}
	const vial = `{"id": "33333333-0000-4000-8000-000000000009", "presentation": {"product": "exampletoxinA", "content_milliunits": 50000}}`
	as("lena", a)
	do(exitDone, do(exitDone, "", "formulary", "publish", "-out", editions, "-json", draft), "replica", "put", "formulary_edition", "--dir", a)
	do(exitDone, "", "replica", "sync", "--dir", a)
	published, err := os.ReadFile(filepath.Join(editions, "harbour-1.json"))
	if err != nil {
		t.Fatal(err)
	}
	var edition struct {
		ID        string
		Published struct{ Hash string }
	}
	if err := json.Unmarshal(published, &edition); err != nil {
		t.Fatal(err)
	}
	as("eve", a)
	do(exitUsage, vial, "replica", "put", "vial", "--dir", a)
	as("ada", a)
	do(exitDone, `{"id": "`+c.home+`", "formulary": {"edition": {"edition_id": "`+edition.ID+`", "version": "harbour-1", "hash": "`+edition.Published.Hash+`"},
	  "chosen": {"by": "`+edition.ID+`", "at": "2026-05-01T09:00:00Z"}}}`, "replica", "put", "clinic", "--dir", a, "--mask", "formulary")
	do(exitDone, "", "replica", "sync", "--dir", a)
	do(exitUsage, vial, "replica", "put", "vial", "--dir", b)
	do(exitDone, "", "replica", "sync", "--dir", b)
	do(exitDone, vial, "replica", "put", "vial", "--dir", b)
	// What the clinic adopted and stocks is what its replica is advised.
	as("ada", a)
	do(exitDone, `{"id": "`+c.home+`", "syringes": [{"id": "66666666-0000-4000-8000-000000000003", "syringe_code": "insulin_u100_0_3_by_0_005"}],
	  "adopted_dilutions": [{"id": "66666666-0000-4000-8000-000000000004", "dilution": {"product": "exampletoxinA", "content_milliunits": 50000,
	  "diluent_nanoliters": 1000000, "diluent": "sodium_chloride_0_9_preservative_free", "reason": "a trial", "adopted": `+dayBy2+`}}]}`,
		"replica", "put", "clinic", "--dir", a, "--mask",
		"syringes[66666666-0000-4000-8000-000000000003],adopted_dilutions[66666666-0000-4000-8000-000000000004]")
	do(exitDone, "", "replica", "sync", "--dir", a)
	do(exitDone, "", "replica", "sync", "--dir", b)
	advice := do(exitDone, "", "dose", "advise", "-product", "exampletoxinA", "-content", "50", "-dose", "2@right", "-dose", "2@left", "-dir", b)
	for _, want := range []string{"1 option, best first", "50 units with 1 mL of diluent", "0.3 mL read to 0.005 mL", "set by the medical lead", "Formulary harbour-1"} {
		if !strings.Contains(advice, want) {
			t.Errorf("%q is not advised:\n%s", want, advice)
		}
	}
	do(exitDone, `{"id": "`+dayVisit+`", "clinic_id": "`+c.home+`"}`, "replica", "put", "session", "--dir", b)
	if stdout := do(exitHold, "", "dose", "check", "-session", dayVisit, "-dir", b); !strings.Contains(stdout, "Formulary harbour-1") {
		t.Errorf("judged by\n%s", stdout)
	}
}
