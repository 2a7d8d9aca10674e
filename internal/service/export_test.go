package service

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"io"
	"strings"
	"testing"
	"time"

	"connectrpc.com/connect"
	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
)

// exportAll asks for all pieces of an export and puts them together.
func (w *clinicServer) exportAll(c tracer, req *tracev1.ExportPatientRequest, data ...byte) (_ []byte, pieces int) {
	w.Helper()
	for {
		resp, err := c.ExportPatient(w.Context(), req)
		if err != nil {
			w.Fatal(err)
		}
		data, pieces = append(data, resp.GetData()...), pieces+1
		if req.PageToken = resp.GetNextPageToken(); req.PageToken != "" {
			continue
		}
		if sum := sha256.Sum256(data); !bytes.Equal(sum[:], resp.GetSha256()) || int64(len(data)) != resp.GetTotalBytes() {
			w.Errorf("%d bytes do not have the hash or the size stated, %d", len(data), resp.GetTotalBytes())
		}
		return data, pieces
	}
}

func exportOf(patient string, format tracev1.ExportFormat) *tracev1.ExportPatientRequest {
	return &tracev1.ExportPatientRequest{PatientId: patient, Format: format, Reason: "she moves away"}
}

const (
	formatPDF     = tracev1.ExportFormat_EXPORT_FORMAT_DOCUMENT_PDF
	formatFHIR    = tracev1.ExportFormat_EXPORT_FORMAT_FHIR_R4_NDJSON
	formatCSV     = tracev1.ExportFormat_EXPORT_FORMAT_CSV
	formatRecords = tracev1.ExportFormat_EXPORT_FORMAT_RECORDS_JSON
)

// A person's export holds both of her records and nothing of anybody else who had of the same vial; it is audited with its reason.
func TestExportPatient_HoldsThePersonAndNobodyElse(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	mara := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic)
	twin := w.newPatient(c.client, "Mara Vell-Orne", 1980, w.org.Clinic)
	other := w.newPatient(c.client, "Somebody Else", 1980, w.org.Clinic)
	var sessions []string
	for i, p := range []string{mara, twin, other} {
		s := w.newVisit(c.client, p, w.org.Clinic, int32(3+i), treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000), givingFrom(v, chartv1.Side_SIDE_LEFT, 2500))
		sessions = append(sessions, s.GetId())
		w.drawAndWaste(c, v, s.GetId(), 100_000, 0, 3+i)
	}
	link := &chartv1.PatientLink{Id: uuid.NewString(), Claim: &chartv1.LinkClaim{PatientId: twin, Grounds: "same person", Made: actOf(c.staff, w.at)}}
	w.edit(c.client, &chartv1.Record{Kind: &chartv1.Record_Patient{Patient: &chartv1.Patient{Id: mara, Links: []*chartv1.PatientLink{link}}}},
		w.patientView(c.client, mara).GetContext(), "links["+link.Id+"]")

	for _, format := range []tracev1.ExportFormat{formatFHIR, formatRecords} {
		data, _ := w.exportAll(c, exportOf(mara, format))
		for _, want := range []string{mara, twin, sessions[0], sessions[1], "Mara Vell-Orne", v.GetId(), "C4021"} {
			if !bytes.Contains(data, []byte(want)) {
				t.Errorf("%v: %s is not in it", format, want)
			}
		}
		for _, not := range []string{other, sessions[2], "Somebody Else"} {
			if bytes.Contains(data, []byte(not)) {
				t.Errorf("%v: %s is in it", format, not)
			}
		}
		for line := range bytes.Lines(data) {
			if !json.Valid(line) {
				t.Errorf("%v: %s is no JSON", format, line)
			}
		}
		again, pieces := w.exportAll(c, &tracev1.ExportPatientRequest{PatientId: twin, Format: format, Reason: "again", PageSize: 300})
		if !bytes.Equal(again, data) || pieces < 2 {
			t.Errorf("%v: in %d pieces from the other record: %d bytes, in one %d", format, pieces, len(again), len(data))
		}
	}
	history, _ := w.exportAll(c, exportOf(mara, formatRecords))
	if !bytes.Contains(history, []byte(`"history":[{"authorship"`)) {
		t.Errorf("no history: %.300s", history)
	}
	audited := 0
	for _, e := range w.entries() {
		if strings.HasSuffix(e.Procedure, "/ExportPatient") && e.Remark == "she moves away" && e.Patient != uuid.Nil {
			audited++
		}
		if strings.HasSuffix(e.Procedure, "/ExportPatient") && e.Remark == "" {
			t.Errorf("an entry without a reason: %v", e)
		}
	}
	if audited != 12 { // three exports of two patients with a session each
		t.Errorf("%d entries, want 12", audited)
	}
}

func TestExportPatient_TablesComeInOneArchive(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR)
	v := w.lotVial(c.client, w.org.Clinic, "C4021", "")
	mara := w.newPatient(c.client, "=Mara Vell", 1980, w.org.Clinic)
	w.newVisit(c.client, mara, w.org.Clinic, 3, treatment, givingFrom(v, chartv1.Side_SIDE_RIGHT, 2000))
	data, _ := w.exportAll(c, exportOf(mara, formatCSV))
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if f.Name == "patients.csv" && !strings.Contains(string(text), "'=Mara Vell") || f.Name == "injections.csv" && !strings.Contains(string(text), testProduct) {
			t.Errorf("%s: %s", f.Name, text)
		}
	}
	if len(z.File) != 5 {
		t.Errorf("%d tables", len(z.File))
	}
}

// Pieces are of one whole: when a record changed between two of them, the second is refused.
func TestExportPatient_AChangeBetweenPiecesBeginsAnew(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR)
	mara := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic)
	req := &tracev1.ExportPatientRequest{PatientId: mara, Format: formatRecords, Reason: "r", PageSize: 100}
	first, err := c.ExportPatient(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	w.newSession(c.client, mara, w.org.Clinic, 3)
	req.PageToken = first.GetNextPageToken()
	_, err = c.ExportPatient(t.Context(), req)
	wantReason(t, "a piece of what changed", err, connect.CodeAborted, "STALE_READ")
	req.Format = formatFHIR
	_, err = c.ExportPatient(t.Context(), req)
	wantReason(t, "a token of another export", err, connect.CodeInvalidArgument, "INVALID_FIELD")
}

// The document comes in pieces of one whole, whatever the clock says meanwhile.
func TestExportPatient_TheDocumentIsOneThroughItsPieces(t *testing.T) {
	w := newClinicServer(t)
	c := w.tracer(w.org.Clinic, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR)
	mara := w.newPatient(c.client, "Mara Vell", 1980, w.org.Clinic)
	w.newSession(c.client, mara, w.org.Clinic, 3)
	req := exportOf(mara, formatPDF)
	req.PageSize = 5000
	first, err := c.ExportPatient(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	w.at = w.at.Add(time.Minute)
	req.PageToken = first.GetNextPageToken()
	rest, pieces := w.exportAll(c, req, first.GetData()...)
	if !bytes.HasPrefix(rest, []byte("%PDF-")) || !bytes.HasSuffix(bytes.TrimSpace(rest), []byte("%%EOF")) || pieces < 2 {
		t.Errorf("%d pieces, %.20q", pieces, rest)
	}
}

func TestExportPatient_IsTheLeadsAndWantsAReason(t *testing.T) {
	w := newClinicServer(t)
	lead := w.tracer(w.org.Clinic, accessv1.Role_ROLE_MEDICAL_LEAD, accessv1.Role_ROLE_INJECTOR)
	mara := w.newPatient(lead.client, "Mara Vell", 1980, w.org.Clinic)
	injector := w.tracer(w.org.Clinic, accessv1.Role_ROLE_INJECTOR)
	_, err := injector.ExportPatient(t.Context(), exportOf(mara, formatFHIR))
	wantReason(t, "an injector", err, connect.CodePermissionDenied, "NOT_ALLOWED")
	_, err = lead.ExportPatient(t.Context(), &tracev1.ExportPatientRequest{PatientId: mara, Format: formatFHIR})
	wantReason(t, "no reason", err, connect.CodeInvalidArgument, "INVALID_FIELD")
	_, err = lead.ExportPatient(t.Context(), exportOf(uuid.NewString(), formatFHIR))
	wantReason(t, "nobody", err, connect.CodeNotFound, "NOT_FOUND")
	away := w.tracer(uuid.New(), accessv1.Role_ROLE_MEDICAL_LEAD)
	_, err = away.ExportPatient(t.Context(), exportOf(mara, formatFHIR))
	wantReason(t, "another clinic's lead", err, connect.CodePermissionDenied, "NOT_ALLOWED")
}
