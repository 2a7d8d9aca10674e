package export_test

import (
	"bytes"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/export"
)

// disputeAll puts every register of a kind in conflict that says whether something counts, as a view shows it: absent, and listed.
func disputeAll(v *chartv1.RecordView) {
	v.GetRecord().ProtoReflect().Range(func(_ protoreflect.FieldDescriptor, record protoreflect.Value) bool {
		disputeIn(v, record.Message(), "")
		return true
	})
}

func disputeIn(v *chartv1.RecordView, m protoreflect.Message, path string) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		fd := fields.Get(i)
		switch {
		case fd.Message() == nil:
		case fd.IsList():
			if fd.Message().Fields().ByName("id") == nil {
				continue
			}
			for j := range m.Get(fd).List().Len() {
				element := m.Get(fd).List().Get(j).Message()
				disputeIn(v, element, path+string(fd.Name())+"["+element.Get(element.Descriptor().Fields().ByName("id")).String()+"].")
			}
		case fd.Message().FullName() == (&recordv1.Void{}).ProtoReflect().Descriptor().FullName(),
			fd.Message().FullName() == (&chartv1.Withdrawal{}).ProtoReflect().Descriptor().FullName():
			m.Clear(fd)
			v.Conflicts = append(v.Conflicts, &chartv1.Conflict{Path: path + string(fd.Name()), Siblings: []*chartv1.Sibling{{ValueJson: "{}"}, {Cleared: true}}})
		}
	}
}

// Law: while it is in conflict whether things count, nothing is written as if it did.
func TestExport_NothingCountsInConflict(t *testing.T) {
	for seed := range uint64(20) {
		views := newDrawer(seed).records(3)
		for _, v := range views {
			disputeAll(v)
		}
		x := mustNew(t, views)
		p := checkExport(t, x)
		for name, r := range p.byName {
			switch r["resourceType"] {
			case "MedicationAdministration", "Procedure", "Encounter", "MedicationRequest", "Media":
				if r["status"] != "unknown" {
					t.Errorf("seed %d: %s has the status %v", seed, name, r["status"])
				}
			case "Medication", "Location", "Patient":
				if r["status"] != nil || r["active"] != nil {
					t.Errorf("seed %d: %s counts: %v", seed, name, r)
				}
			case "Consent", "AdverseEvent":
				t.Errorf("seed %d: %s is written", seed, name)
			}
		}
		for _, table := range export.Tables() {
			for _, row := range records(t, mustCSV(t, x, table)) {
				if row["status"] != "unknown" || row["in_conflict"] == "" || row["alerts"] != "" || row["identifiers"] != "" {
					t.Errorf("seed %d: a row of %s counts: %v", seed, table, row)
				}
			}
		}
	}
}

// Every conflict of what is exported is listed, in one table or another and in the OperationOutcome, with the scope that holds everything.
func TestExport_EveryConflictIsListed(t *testing.T) {
	for seed := range uint64(10) {
		views := newDrawer(seed).records(2)
		for _, v := range views {
			disputeAll(v)
		}
		x := mustNew(t, views)
		ndjson := mustNDJSON(t, x)
		var tables []byte
		for _, table := range export.Tables() {
			tables = append(tables, mustCSV(t, x, table)...)
		}
		practice := practiceIDs(views)
		for _, v := range views {
			r := v.GetRecord()
			inTables := r.GetPatient() != nil || r.GetSession() != nil || r.GetVial() != nil
			if r.GetLot() != nil || practice[r.GetPatient().GetId()] || practice[r.GetSession().GetPatientId()] || practice[r.GetSession().GetId()] ||
				practice[r.GetVial().GetId()] || practice[r.GetOrder().GetPatientId()] || practice[r.GetPhoto().GetPatientId()] ||
				practice[r.GetPhoto().GetSessionId()] || practice[r.GetAdverseEvent().GetPatientId()] || practice[r.GetAdverseEvent().GetSessionId()] {
				continue
			}
			for _, c := range v.GetConflicts() {
				if !bytes.Contains(ndjson, []byte(`"`+c.GetPath()+`"`)) {
					t.Errorf("seed %d: %s is not listed in the FHIR export", seed, c.GetPath())
				}
				if inTables && !bytes.Contains(tables, []byte(c.GetPath())) && !practiceDraw(r.GetVial(), c.GetPath(), practice) {
					t.Errorf("seed %d: %s is not listed in a table", seed, c.GetPath())
				}
			}
		}
	}
}

// practiceIDs is the records that say that they are for practice.
func practiceIDs(views []*chartv1.RecordView) map[string]bool {
	out := map[string]bool{}
	for _, v := range views {
		r := v.GetRecord()
		out[r.GetPatient().GetId()] = out[r.GetPatient().GetId()] || r.GetPatient().GetPractice() != nil
		out[r.GetVial().GetId()] = out[r.GetVial().GetId()] || r.GetVial().GetPractice() != nil
	}
	for _, v := range views {
		if s := v.GetRecord().GetSession(); practice(out, s.GetPatientId()) {
			out[s.GetId()] = true
		}
	}
	out[""] = false
	return out
}

func practice(ids map[string]bool, id string) bool { return id != "" && ids[id] }

// practiceDraw reports a conflict of a draw for practice, which is in no table.
func practiceDraw(v *chartv1.Vial, path string, practice map[string]bool) bool {
	for _, d := range v.GetDraws() {
		if path == "draws["+d.GetId()+"].void" && practice[d.GetAmount().GetSessionId()] {
			return true
		}
	}
	return false
}

// A visit of a real person is written although it carries the mark of practice: the patient's mark alone decides.
func TestExport_MarkedVisitOfARealPatient(t *testing.T) {
	plain, marked := visitChart(), visitChart()
	marked.session.Practice = &chartv1.PracticeMark{}
	want := len(checkExport(t, mustNew(t, plain.views())).of("MedicationAdministration"))
	if got := len(checkExport(t, mustNew(t, marked.views())).of("MedicationAdministration")); want == 0 || got != want {
		t.Errorf("%d givings are written, want %d", got, want)
	}
}

// Nothing of what is for practice is written, not even when only its patient, or its session's, says so.
func TestExport_Practice(t *testing.T) {
	for name, change := range map[string]func(*chartOf){
		"the patient":           func(c *chartOf) { c.patient.Practice = &chartv1.PracticeMark{} },
		"the session's patient": func(c *chartOf) { c.patient.Practice, c.event.SessionId = &chartv1.PracticeMark{}, new(visitID) },
	} {
		c := visitChart()
		change(c)
		for _, patients := range [][]string{nil, {anna}} {
			x := mustNew(t, c.views(), patients...)
			p := checkExport(t, x)
			for _, kind := range []string{"MedicationAdministration", "AdverseEvent", "Procedure", "Provenance", "Consent"} {
				if n := len(p.of(kind)); n != 0 {
					t.Errorf("%s: %d of %s", name, n, kind)
				}
			}
			if rows := records(t, mustCSV(t, x, export.Injections)); len(rows) != 0 {
				t.Errorf("%s: %v", name, rows)
			}
			if issues(t, p) == "" {
				t.Errorf("%s: nothing is listed as left out", name)
			}
		}
	}
}
