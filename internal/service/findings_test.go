package service

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	"needlebook/gen/needlebook/dose/v1/dosev1connect"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/chart"
)

// foundBy is all findings that someone is told of, in pages of a size, by code and then id.
func (w *clinicServer) foundBy(c client, m *dosev1.ListFindingsRequest) (out []*dosev1.Finding) {
	w.Helper()
	h := dosev1connect.NewFindingServiceClient(&http.Client{Transport: bearerToken(c.token)}, w.address)
	for pages := 0; ; pages++ {
		resp, err := h.ListFindings(w.Context(), m)
		if err != nil || pages > 100 {
			w.Fatalf("page %d: %v", pages, err)
		}
		out = append(out, resp.GetFindings()...)
		if m.PageToken = resp.GetNextPageToken(); m.PageToken == "" {
			slices.SortFunc(out, func(a, b *dosev1.Finding) int {
				return strings.Compare(a.GetCode()+a.GetFindingId(), b.GetCode()+b.GetFindingId())
			})
			return out
		}
	}
}

func codes(found []*dosev1.Finding) (out []string) {
	for _, f := range found {
		out = append(out, f.GetCode())
	}
	return out
}

// mergedDay is records of which each alone is in order.
type mergedDay struct {
	elsewhere           uuid.UUID
	patient, same, vial string
	first, soon         *chartv1.RecordView
}

func (w *clinicServer) mergedDay(c client) mergedDay {
	w.Helper()
	m := mergedDay{elsewhere: uuid.New(), vial: uuid.NewString()}
	m.patient, m.same = w.newPatient(c, "Zora Lind", 1980, w.org.Clinic), w.newPatient(c, "LIND, Zora", 1980, m.elsewhere)
	w.newPatient(c, "Zora Berg", 1980, w.org.Clinic)
	w.newPatient(c, "Zora Lind", 1981, w.org.Clinic)
	m.first, m.soon = w.newSession(c, m.patient, w.org.Clinic, 1), w.newSession(c, m.patient, m.elsewhere, 20)
	w.newSession(c, m.patient, w.org.Clinic, 2) // of the same clinic as the first, which knew of it
	preparation := uuid.NewString()
	vial := &chartv1.Vial{
		Id: m.vial, ClinicId: proto.String(w.org.Clinic.String()), Presentation: &chartv1.VialPresentation{Product: "onabotulinumtoxinA", ContentMilliunits: 100_000},
		Preparations: []*chartv1.Preparation{{Id: preparation, Diluent: &chartv1.Diluent{Kind: "sodium_chloride_0_9_preservative_free", VolumeNanoliters: 2_500_000}}},
	}
	mask := []string{"clinic_id", "presentation", "preparations[" + preparation + "]"}
	for range 2 {
		d := &chartv1.Draw{Id: uuid.NewString(), Amount: &chartv1.DrawAmount{
			SessionId: m.first.GetRecord().GetSession().GetId(), PreparationId: &preparation, VolumeNanoliters: 1_300_000, DoseMilliunits: 52_000}}
		vial.Draws, mask = append(vial.Draws, d), append(mask, "draws["+d.GetId()+"]")
	}
	w.edit(c, &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: vial}}, nil, mask...)
	return m
}

// TestListFindings_WhatOnlyTheMergeSees: each finding once, whatever the size of the pages, with where its rule comes from.
func TestListFindings_WhatOnlyTheMergeSees(t *testing.T) {
	w := newClinicServer(t)
	lead := w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR)
	m := w.mergedDay(lead)
	// 2 May and 20 May are 18 days apart at different clinics, 1 May and 20 May 19.
	want := []string{chart.CodeIntervalShort, chart.CodeIntervalShort, chart.CodePatientTwice, chart.CodeVialOverdrawn}
	for _, size := range []uint32{0, 1, 2} {
		if got := codes(w.foundBy(lead, &dosev1.ListFindingsRequest{PageSize: size})); !slices.Equal(got, want) {
			t.Errorf("in pages of %d: %v, want %v", size, got, want)
		}
	}
	found := w.foundBy(lead, &dosev1.ListFindingsRequest{Key: keyOf(optionsv1.RecordKind_RECORD_KIND_SESSION, m.first.GetRecord().GetSession().GetId())})
	if len(found) != 1 || found[0].GetFigures()["between_days"] != "19" || !slices.Contains(found[0].GetAbout(), "RECORD_KIND_SESSION/"+m.soon.GetRecord().GetSession().GetId()) {
		t.Fatalf("of the first session: %v", found)
	}
	// "Not more often than every 3 months" is S06 of docs/sources.md. From 1 May 2026 they end on 1 August, 92 days later, by package time's calendar.
	threeMonths := int(time.Date(2026, 8, 1, 0, 0, 0, 0, time.UTC).Sub(time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour))
	if f := found[0]; f.GetFigures()["least_days"] != strconv.Itoa(threeMonths) || len(f.GetSource().GetSources()) != 1 || f.GetSource().GetSources()[0].GetCode() != "S06" ||
		f.GetSource().GetSources()[0].GetTitle() == "" {
		t.Errorf("the rule: %v", f)
	}
	for _, row := range []struct {
		what string
		m    *dosev1.ListFindingsRequest
		want []string
	}{
		{"the patient", &dosev1.ListFindingsRequest{Key: keyOf(optionsv1.RecordKind_RECORD_KIND_PATIENT, m.patient)}, want[:3]},
		{"who may be her", &dosev1.ListFindingsRequest{Key: keyOf(optionsv1.RecordKind_RECORD_KIND_PATIENT, m.same)}, want[2:3]},
		{"the vial", &dosev1.ListFindingsRequest{Key: keyOf(optionsv1.RecordKind_RECORD_KIND_VIAL, m.vial)}, want[3:]},
		{"the other clinic", &dosev1.ListFindingsRequest{ClinicId: proto.String(m.elsewhere.String())}, want[:3]},
		{"a clinic without any", &dosev1.ListFindingsRequest{ClinicId: proto.String(uuid.NewString())}, nil},
	} {
		if got := codes(w.foundBy(lead, row.m)); !slices.Equal(got, row.want) {
			t.Errorf("%s: %v, want %v", row.what, got, row.want)
		}
	}
}

// TestListFindings_ForWhoMayRead: the front desk reads patients and no doses; another organisation reads nothing; what is read is in the audit log.
func TestListFindings_ForWhoMayRead(t *testing.T) {
	w := newClinicServer(t)
	lead := w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR)
	m := w.mergedDay(lead)
	desk := w.hire(w.org.ID, w.org.Clinic, accessv1.Role_ROLE_FRONT_DESK)
	if got := codes(w.foundBy(desk, &dosev1.ListFindingsRequest{})); !slices.Equal(got, []string{chart.CodePatientTwice}) {
		t.Errorf("the front desk is told %v", got)
	}
	last := w.entries()[len(w.entries())-1]
	if last.Staff != desk.staff || last.Patient == uuid.Nil || !strings.HasSuffix(last.Procedure, "ListFindings") {
		t.Errorf("the last entry is %+v", last)
	}
	other, err := w.Found(t.Context(), Founding{Organisation: "Other", Clinic: "Other"})
	if err != nil {
		t.Fatal(err)
	}
	stranger := w.hire(other.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR)
	if got := w.foundBy(stranger, &dosev1.ListFindingsRequest{}); len(got) != 0 {
		t.Errorf("another organisation is told %v", got)
	}
	h := dosev1connect.NewFindingServiceClient(&http.Client{Transport: bearerToken(stranger.token)}, w.address)
	_, err = h.ListFindings(t.Context(), &dosev1.ListFindingsRequest{Key: keyOf(optionsv1.RecordKind_RECORD_KIND_PATIENT, m.patient)})
	wantReason(t, "another organisation's patient", err, connect.CodeNotFound, "NOT_FOUND")
	_, err = h.ListFindings(t.Context(), &dosev1.ListFindingsRequest{Key: keyOf(optionsv1.RecordKind_RECORD_KIND_STAFF, stranger.staff.String())})
	wantReason(t, "a record without findings", err, connect.CodeNotFound, "NOT_FOUND")
}

func keyOf(kind optionsv1.RecordKind, id string) *chartv1.RecordKey {
	return &chartv1.RecordKey{Kind: kind, RecordId: id}
}
