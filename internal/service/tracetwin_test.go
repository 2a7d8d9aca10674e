package service

import (
	"slices"
	"testing"

	"connectrpc.com/connect"
	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/chart"
)

func TestLikeName(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"Mara Vell", "Mara Velle", true}, {"Mara Vell", "Vell Mara", true}, {"Mara Vell", "Mara Jane Vell", true}, {"M. Vell", "Mara Vell", true},
		{"Márá Vell", "MARA VELL", true}, {"Mara Vell", "Zoe Vell", false}, {"Mara Vell", "Mara", true}, {"M V", "Mara Vell", false}, {"", "Mara", false},
		{"Anna Holm", "Anne Holm", true}, {"Ida Ro", "Ada Ro", false}, {"Мара Велл", "мара велл", true}, {"李小龍", "李小", true}, {"Ørsted Bjørn", "Orsted Bjorn", true},
	} {
		if got := chart.LikeName(chart.Tokens(c.a), chart.Tokens(c.b)); got != c.want || chart.LikeName(chart.Tokens(c.b), chart.Tokens(c.a)) != got {
			t.Errorf("%q and %q: %v, want %v", c.a, c.b, got, c.want)
		}
	}
}

// Before a record is made and beside one that is there, those that may be of the same person are found with the reason; linked they are one in search,
// sessions and findings, and apart again when the link is taken back.
func TestTwins_AreFoundLinkedAndParted(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	a, b := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic), w.newPatient(c.client, "Mara Velle", 1980, w.org.Clinic)
	stranger := w.newPatient(c.client, "Zoe Anders", 1980, w.org.Clinic)
	passport := func(p string, issuer string) {
		id := uuid.NewString()
		w.edit(c.client, &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: p, Identifiers: []*chartv1.PatientIdentifier{
			{Id: id, Value: &chartv1.IdentifierValue{Kind: "passport", Issuer: issuer, Number: "P77"}}}}}}, nil, "identifiers["+id+"]")
	}
	passport(a, "AA")
	passport(stranger, "BB") // the same number of another country
	likes := func(m *tracev1.GetLikePatientsRequest) (out []string) {
		resp, err := c.GetLikePatients(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range resp.GetPatients() {
			out = append(out, p.GetPatient().GetPatientId()+p.GetReasons()[0].String())
		}
		return out
	}
	born := &recordv1.Date{Year: 1980, Month: 4, Day: 2}
	if got, want := likes(&tracev1.GetLikePatientsRequest{Name: "MARA VELLE", BornOn: born}), []string{b + "LIKE_REASON_SAME_NAME_AND_BIRTH", a + "LIKE_REASON_LIKE_NAME_AND_BIRTH"}; !slices.Equal(got, want) {
		t.Errorf("on entry: %q, want %q", got, want)
	}
	if got := likes(&tracev1.GetLikePatientsRequest{Identifiers: []*chartv1.IdentifierValue{{Kind: "passport", Issuer: "AA", Number: "P77"}}}); !slices.Equal(got, []string{a + "LIKE_REASON_SAME_IDENTIFIER"}) {
		t.Errorf("by the passport: %q", got)
	}
	if got := likes(&tracev1.GetLikePatientsRequest{PatientId: &a}); !slices.Equal(got, []string{b + "LIKE_REASON_LIKE_NAME_AND_BIRTH"}) {
		t.Errorf("beside a record: %q", got)
	}
	_, err := c.GetLikePatients(t.Context(), &tracev1.GetLikePatientsRequest{Name: "Mara"})
	wantReason(t, "a name alone", err, connect.CodeInvalidArgument, "INVALID_FIELD")
	questions := func() int { return len(w.foundBy(c.client, &dosev1.ListFindingsRequest{})) }
	if n := questions(); n != 1 {
		t.Errorf("%d findings before the link, want 1", n)
	}
	passport(b, "AA")
	if n := questions(); n != 1 { // the same question for another reason
		t.Errorf("%d findings with the same passport, want 1", n)
	}
	w.newSession(c.client, a, w.org.Clinic, 3)
	w.newSession(c.client, b, w.org.Clinic, 4)
	sessions := func() int {
		resp, err := c.ListSessions(t.Context(), &chartv1.ListSessionsRequest{PatientId: &a})
		if err != nil {
			t.Fatal(err)
		}
		return len(resp.GetViews())
	}
	link := &tracev1.LinkPatientsRequest{RequestId: uuid.NewString(), PatientId: a, OtherPatientId: b, Grounds: "both passports seen"}
	if _, err := c.LinkPatients(t.Context(), link); err != nil {
		t.Fatal(err)
	}
	if again, err := c.LinkPatients(t.Context(), link); err != nil || !again.GetAlreadyApplied() {
		t.Errorf("linked twice: %v (%v)", again, err)
	}
	if n := sessions(); n != 2 || questions() != 0 {
		t.Errorf("linked: %d sessions, %d findings", n, questions())
	}
	found, err := c.SearchPatients(t.Context(), &chartv1.SearchPatientsRequest{Text: "mara vell"})
	if err != nil || len(found.GetPatients()) != 2 || !slices.Contains(found.GetPatients()[0].GetLinkedPatientIds(), b) {
		t.Errorf("search: %v (%v)", found, err)
	}
	unlink := &tracev1.UnlinkPatientsRequest{RequestId: uuid.NewString(), PatientId: b, OtherPatientId: a, Reason: "twins"}
	parted, err := c.UnlinkPatients(t.Context(), unlink)
	if err != nil || len(parted.GetView().GetRecord().GetPatient().GetLinks()) != 1 {
		t.Fatalf("unlink: %v (%v)", parted, err)
	}
	if again, err := c.UnlinkPatients(t.Context(), unlink); err != nil || !again.GetAlreadyApplied() {
		t.Errorf("unlinked twice: %v (%v)", again, err)
	}
	if n := sessions(); n != 1 || questions() != 1 {
		t.Errorf("parted: %d sessions, %d findings", n, questions())
	}
	_, err = c.UnlinkPatients(t.Context(), &tracev1.UnlinkPatientsRequest{RequestId: uuid.NewString(), PatientId: a, OtherPatientId: stranger, Reason: "x"})
	wantReason(t, "no link to take back", err, connect.CodeNotFound, "NOT_FOUND")
	_, err = c.LinkPatients(t.Context(), &tracev1.LinkPatientsRequest{RequestId: uuid.NewString(), PatientId: a, OtherPatientId: a, Grounds: "x"})
	wantReason(t, "to itself", err, connect.CodeInvalidArgument, "INVALID_FIELD")
}
