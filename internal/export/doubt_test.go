package export_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/types/known/timestamppb"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
	"needlebook/internal/export"
)

// Ids of the visit below.
const (
	anna    = "10000000-0000-4000-8000-000000000001"
	berta   = "10000000-0000-4000-8000-000000000002"
	visitID = "20000000-0000-4000-8000-000000000001"
	otherID = "20000000-0000-4000-8000-000000000002"
	vialID  = "30000000-0000-4000-8000-000000000001"
	orderID = "40000000-0000-4000-8000-000000000001"
	eventID = "50000000-0000-4000-8000-000000000001"
	nurse   = "60000000-0000-4000-8000-000000000001"
	partID  = "70000000-0000-4000-8000-000000000001"

	part       = "[" + partID + "]"
	givingPath = "injections" + part + ".givings" + part
)

func done() *recordv1.Act {
	return &recordv1.Act{By: nurse, At: &timestamppb.Timestamp{Seconds: 1_767_600_000, Nanos: 250_000_000}} // 2026-01-05T08:00:00.25Z
}

func day(d int32) *recordv1.Date { return &recordv1.Date{Year: 2026, Month: 1, Day: d} }

func onabotulinum(milliunits int32) *chartv1.Dose {
	return &chartv1.Dose{Product: "onabotulinumtoxinA", DoseMilliunits: milliunits}
}

// chartOf is a patient's visit with one of everything, and another patient's visit from the same vial.
type chartOf struct {
	patient *chartv1.Patient
	session *chartv1.Session
	order   *chartv1.Order
	event   *chartv1.AdverseEvent
	vial    *chartv1.Vial
	// conflicts is the paths in conflict, by record id.
	conflicts map[string][]string
}

func visitChart() *chartOf {
	giving := &chartv1.Giving{
		Id: partID, Done: done(), Side: chartv1.Side_SIDE_LEFT.Enum(),
		Given: &chartv1.GivenDose{Dose: onabotulinum(2500), VialId: new(vialID), VolumeNanoliters: new(int64(62500))},
	}
	injection := &chartv1.Injection{
		Id: partID, Muscle: new("depressor_anguli_oris"), Side: chartv1.Side_SIDE_RIGHT.Enum(), Planned: onabotulinum(2000), Givings: []*chartv1.Giving{giving},
	}
	finished := &chartv1.StateChange{Step: chartv1.SessionStep_SESSION_STEP_FINISHED, Moved: done()}
	return &chartOf{
		patient: &chartv1.Patient{Id: anna, Name: &recordv1.PersonName{Full: "Anna Example"}},
		session: &chartv1.Session{
			Id: visitID, PatientId: new(anna), OrderId: new(orderID), On: day(5), Injections: []*chartv1.Injection{injection},
			States: []*chartv1.SessionState{{Id: partID, Change: finished}},
			Consents: []*chartv1.Consent{{
				Id: partID, Explained: &chartv1.Explanation{Version: "3", Explained: done()},
				Decision: &chartv1.ConsentDecision{Answer: chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN, Taken: done()},
			}},
			Signatures: []*chartv1.Signature{{Id: partID, Content: &syncv1.SignedContent{
				SignerId: nurse, Meaning: syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED, SignedAtUnixMs: 1_767_600_100_000, Digest: bytes.Repeat([]byte{7}, 32),
			}}},
		},
		order: &chartv1.Order{
			Id: orderID, PatientId: new(anna), Issued: &chartv1.OrderIssue{Issued: done()},
			Lines: []*chartv1.OrderLine{{Id: partID, Leave: &chartv1.OrderLeave{Product: "onabotulinumtoxinA", MostMilliunits: 8000}}},
		},
		event: &chartv1.AdverseEvent{Id: eventID, PatientId: new(anna), Event: &chartv1.EventDescription{Kind: "headache", Text: "a headache"}},
		vial: &chartv1.Vial{
			Id: vialID, Presentation: &chartv1.VialPresentation{Product: "onabotulinumtoxinA", ContentMilliunits: 100_000},
			Labelling: &chartv1.VialLabelling{LotNumber: "=L1", ExpiresOn: day(31)},
			Draws: []*chartv1.Draw{
				{Id: partID, Amount: &chartv1.DrawAmount{SessionId: visitID, VolumeNanoliters: 100_000, DoseMilliunits: 4000}, Drawn: done()},
				{Id: otherID, Amount: &chartv1.DrawAmount{SessionId: otherID, VolumeNanoliters: 100_000, DoseMilliunits: 4000}, Drawn: done()},
			},
		},
		conflicts: map[string][]string{},
	}
}

func (c *chartOf) giving() *chartv1.Giving { return c.session.Injections[0].Givings[0] }

// dispute is what a view does of a field in conflict: the message is without it, which the caller sees to, and the conflict is listed.
func (c *chartOf) dispute(record, path string) {
	c.conflicts[record] = append(c.conflicts[record], path)
}

func (c *chartOf) views() []*chartv1.RecordView {
	records := []*chartv1.Record{
		{Kind: &chartv1.Record_Patient{Patient: c.patient}}, {Kind: &chartv1.Record_Session{Session: c.session}},
		{Kind: &chartv1.Record_Order{Order: c.order}}, {Kind: &chartv1.Record_AdverseEvent{AdverseEvent: c.event}},
		{Kind: &chartv1.Record_Vial{Vial: c.vial}}, {Kind: &chartv1.Record_Staff{Staff: &accessv1.Staff{Id: nurse, Name: &recordv1.PersonName{Full: "Nurse"}}}},
		{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: berta, Name: &recordv1.PersonName{Full: "Berta Other"}}}},
		{Kind: &chartv1.Record_Session{Session: &chartv1.Session{Id: otherID, PatientId: new(berta), On: day(5)}}},
	}
	ids := []string{anna, visitID, orderID, eventID, vialID, nurse, berta, otherID}
	var out []*chartv1.RecordView
	for i, r := range records {
		v := &chartv1.RecordView{Record: r}
		for _, path := range c.conflicts[ids[i]] {
			v.Conflicts = append(v.Conflicts, &chartv1.Conflict{Path: path, Siblings: []*chartv1.Sibling{
				{ValueJson: `"` + anna + `"`, Authors: []*chartv1.Authorship{{StaffName: "Nurse", AuthoredAt: done().At}}}, {Cleared: true},
			}})
		}
		out = append(out, v)
	}
	return out
}

// one is the only resource of a kind; nil when there is none.
func one(t *testing.T, p parsed, kind string) map[string]any {
	t.Helper()
	all := p.of(kind)
	if len(all) > 1 {
		t.Fatalf("%d of %s", len(all), kind)
	}
	if len(all) == 0 {
		return nil
	}
	return all[0]
}

// issues is what the OperationOutcome lists: code, record and path.
func issues(t *testing.T, p parsed) string {
	t.Helper()
	var out []string
	o := one(t, p, "OperationOutcome")
	if o == nil {
		return ""
	}
	for _, i := range o["issue"].([]any) {
		text := text(i, "code")
		for _, e := range get(i, "extension").([]any) {
			text += " " + e.(map[string]any)["valueString"].(string)
		}
		out = append(out, text)
	}
	return strings.Join(out, "\n")
}

func TestFHIR_Visit(t *testing.T) {
	p := checkExport(t, mustNew(t, visitChart().views(), anna))
	a := one(t, p, "MedicationAdministration")
	for _, want := range []struct {
		path []string
		text string
	}{
		{[]string{"status"}, "completed"}, {[]string{"effectiveDateTime"}, "2026-01-05T08:00:00.25Z"}, {[]string{"medicationReference", "reference"}, "Medication/" + vialID},
		{[]string{"dosage", "site", "text"}, "left depressor anguli oris"}, {[]string{"dosage", "site", "coding", "code"}, "depressor_anguli_oris.left"},
		{[]string{"dosage", "dose", "code"}, "[arb'U]"}, {[]string{"dosage", "dose", "unit"}, "units"},
		{[]string{"dosage", "text"}, "onabotulinumtoxinA 2.5\u00a0units, left depressor anguli oris"},
		{[]string{"performer", "actor", "reference"}, "Practitioner/" + nurse}, {[]string{"subject", "reference"}, "Patient/" + anna},
	} {
		if got := text(a, want.path...); got != want.text {
			t.Errorf("%v is %q, want %q", want.path, got, want.text)
		}
	}
	if got := get(a, "dosage", "dose", "value"); got != json.Number("2.5") {
		t.Errorf("the dose is %v", got)
	}
	if p.byName[text(a, "request", "reference")] == nil || p.byName[text(a, "partOf", "reference")] == nil {
		t.Errorf("request %v and procedure %v do not resolve", a["request"], a["partOf"])
	}
	m := one(t, p, "Medication")
	if text(m, "batch", "lotNumber") != "=L1" || text(m, "batch", "expirationDate") != "2026-01-31" || text(m, "code", "text") != "onabotulinumtoxinA" {
		t.Errorf("the vial is %v", m)
	}
	if s := one(t, p, "Provenance"); text(s, "recorded") != "2026-01-05T08:01:40Z" || len(s["target"].([]any)) != 2 {
		t.Errorf("the signature is %v", s)
	}
	if got := one(t, p, "Procedure")["status"]; got != "completed" {
		t.Errorf("the procedure is %v", got)
	}
	if got := issues(t, p); got != "" {
		t.Errorf("nothing is in doubt, and listed is %s", got)
	}
	if bytes.Contains(mustNDJSON(t, mustNew(t, visitChart().views(), anna)), []byte(berta)) {
		t.Error("the export of one patient names another")
	}
}

// A field in conflict is never written as if it were settled: not as one of its values, and not as what its absence would mean.
func TestFHIR_Conflicts(t *testing.T) {
	void := &recordv1.Void{Reason: "not given", By: nurse, At: done().At}
	for name, test := range map[string]struct {
		change func(*chartOf)
		issues string
		check  func(t *testing.T, p parsed)
	}{
		"whether a giving counts": {func(c *chartOf) { c.dispute(visitID, givingPath+".void") }, "conflict session/" + visitID + " " + givingPath + ".void",
			func(t *testing.T, p parsed) {
				if a, o := one(t, p, "MedicationAdministration"), one(t, p, "Procedure"); a["status"] != "unknown" || o["status"] != "unknown" || o["bodySite"] != nil {
					t.Errorf("%v, %v", a, o)
				}
			}},
		"what was given": {func(c *chartOf) { c.giving().Given = nil; c.dispute(visitID, givingPath+".given") },
			"conflict session/" + visitID + " " + givingPath + ".given\nconflict session/" + visitID + " " + givingPath + ".given",
			func(t *testing.T, p parsed) {
				if len(p.of("MedicationAdministration"))+len(p.of("Procedure")) != 0 {
					t.Error("exported")
				}
			}},
		"the giving's side, not as planned": {func(c *chartOf) { c.giving().Side = nil; c.dispute(visitID, givingPath+".side") },
			"conflict session/" + visitID + " " + givingPath + ".side",
			func(t *testing.T, p parsed) {
				if a := one(t, p, "MedicationAdministration"); get(a, "dosage", "site") != nil || strings.Contains(text(a, "dosage", "text"), "right") {
					t.Errorf("%v", a["dosage"])
				}
			}},
		"the time, and the day is settled": {func(c *chartOf) { c.giving().Done = nil; c.dispute(visitID, givingPath+".done") },
			"conflict session/" + visitID + " " + givingPath + ".done",
			func(t *testing.T, p parsed) {
				if a := one(t, p, "MedicationAdministration"); a["effectiveDateTime"] != "2026-01-05" || a["performer"] != nil {
					t.Errorf("%v", a)
				}
			}},
		"whether the visit counts": {func(c *chartOf) { c.dispute(visitID, "void") },
			"conflict session/" + visitID + " consents" + part + "\nconflict session/" + visitID + " void",
			func(t *testing.T, p parsed) {
				for _, kind := range []string{"MedicationAdministration", "Procedure", "Encounter"} {
					if r := one(t, p, kind); text(r, "status") != "unknown" {
						t.Errorf("%s: %v", kind, r)
					}
				}
				if len(p.of("Consent")) != 0 {
					t.Error("a consent is exported")
				}
			}},
		"whether a consent stands": {func(c *chartOf) { c.dispute(visitID, "consents"+part+".withdrawn") },
			"conflict session/" + visitID + " consents" + part + "\nconflict session/" + visitID + " consents" + part + ".withdrawn",
			func(t *testing.T, p parsed) {
				if len(p.of("Consent")) != 0 {
					t.Error("exported")
				}
			}},
		"whether an order stands": {func(c *chartOf) { c.dispute(orderID, "withdrawn") }, "conflict order/" + orderID + " withdrawn",
			func(t *testing.T, p parsed) {
				if r := one(t, p, "MedicationRequest"); r["status"] != "unknown" {
					t.Errorf("%v", r["status"])
				}
			}},
		"whether an event counts": {func(c *chartOf) { c.dispute(eventID, "void") }, "conflict adverse_event/" + eventID + " void\nconflict adverse_event/" + eventID + " void",
			func(t *testing.T, p parsed) {
				if len(p.of("AdverseEvent")) != 0 {
					t.Error("exported")
				}
			}},
		"whose visit it is": {func(c *chartOf) { c.session.PatientId = nil; c.dispute(visitID, "patient_id") }, "conflict session/" + visitID + " patient_id",
			func(t *testing.T, p parsed) {
				if len(p.of("MedicationAdministration"))+len(p.of("Encounter")) != 0 {
					t.Error("exported")
				}
			}},
		"what a vial holds": {func(c *chartOf) { c.vial.Presentation = nil; c.dispute(vialID, "presentation") }, "conflict vial/" + vialID + " presentation",
			func(t *testing.T, p parsed) {
				if a := one(t, p, "MedicationAdministration"); text(a, "medicationCodeableConcept", "text") != "onabotulinumtoxinA" {
					t.Errorf("%v", a)
				}
			}},
		"another patient's draw is nobody's business": {func(c *chartOf) { c.dispute(vialID, "draws["+otherID+"].amount") }, "", func(*testing.T, parsed) {}},
		"nothing: the giving is voided": {func(c *chartOf) { c.giving().Void = void }, "",
			func(t *testing.T, p parsed) {
				a, o := one(t, p, "MedicationAdministration"), one(t, p, "Procedure")
				if a["status"] != "entered-in-error" || text(a, "note", "text") != "Voided: not given" || o["status"] != "entered-in-error" || o["bodySite"] != nil {
					t.Errorf("%v, %v", a, o)
				}
			}},
		"nothing: the visit is voided": {func(c *chartOf) { c.session.Void = void }, "",
			func(t *testing.T, p parsed) {
				if a := one(t, p, "MedicationAdministration"); a["status"] != "entered-in-error" || one(t, p, "Consent")["status"] != "entered-in-error" {
					t.Errorf("%v", a)
				}
			}},
	} {
		t.Run(name, func(t *testing.T) {
			c := visitChart()
			test.change(c)
			p := checkExport(t, mustNew(t, c.views(), anna))
			test.check(t, p)
			if got := issues(t, p); got != test.issues {
				t.Errorf("listed is\n%s\nwant\n%s", got, test.issues)
			}
		})
	}
}

// records reads a table back, each row by its columns.
func records(t *testing.T, file []byte) (out []map[string]string) {
	t.Helper()
	read, err := csv.NewReader(bytes.NewReader(file)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range read[1:] {
		r := map[string]string{}
		for i, cell := range row {
			if r[read[0][i]], err = export.UnguardCell(cell); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, r)
	}
	return out
}

func TestCSV_Visit(t *testing.T) {
	c := visitChart()
	x := mustNew(t, c.views(), anna)
	if !bytes.Contains(mustCSV(t, x, export.Injections), []byte(",'=L1,")) {
		t.Error("the lot number stands in its cell as a formula")
	}
	got := records(t, mustCSV(t, x, export.Injections))
	if len(got) != 1 {
		t.Fatalf("%d injections", len(got))
	}
	for column, want := range map[string]string{
		"product": "onabotulinumtoxinA", "dose_units": "2.5", "volume_ml": "0.0625", "side": "left", "lot_number": "=L1", "planned_dose_units": "2",
		"status": "completed", "given_at": "2026-01-05T08:00:00.25Z", "given_by": "Nurse", "in_conflict": "", "patient_id": anna, "vial_id": vialID,
	} {
		if got[0][column] != want {
			t.Errorf("%s is %q, want %q", column, got[0][column], want)
		}
	}
	if draws := records(t, mustCSV(t, x, export.Draws)); len(draws) != 1 || draws[0]["session_id"] != visitID {
		t.Errorf("the draws of one patient: %v", draws)
	}
	if draws := records(t, mustCSV(t, mustNew(t, c.views()), export.Draws)); len(draws) != 2 {
		t.Errorf("all draws: %v", draws)
	}
	c.giving().Given, c.giving().Side = nil, nil
	c.dispute(visitID, givingPath+".given")
	c.dispute(visitID, givingPath+".side")
	c.dispute(visitID, givingPath+".void")
	c.dispute(visitID, "notes"+part+".text")
	r := records(t, mustCSV(t, mustNew(t, c.views(), anna), export.Injections))[0]
	if r["dose_units"] != "" || r["side"] != "" || r["status"] != "unknown" || r["in_conflict"] != givingPath+".given "+givingPath+".side "+givingPath+".void" {
		t.Errorf("a giving in conflict is %v", r)
	}
}

func TestNew_Refuses(t *testing.T) {
	views := visitChart().views()
	if _, err := export.New(export.Scope{}, append(views, views[0])); !errors.Is(err, export.ErrTwice) {
		t.Errorf("a record twice: %v", err)
	}
	for _, v := range []*chartv1.RecordView{nil, {}, {Record: &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{}}}}} {
		if _, err := export.New(export.Scope{}, []*chartv1.RecordView{v}); !errors.Is(err, export.ErrNoRecord) {
			t.Errorf("a view of nothing: %v", err)
		}
	}
}
