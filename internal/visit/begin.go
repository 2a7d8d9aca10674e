package visit

import (
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// Beginning is how a visit begins.
type Beginning struct {
	Patient *chartv1.Patient
	// ClinicID is where; Kind what kind of visit it is; On the day by the clinic's calendar.
	ClinicID string
	Kind     chartv1.SessionKind
	On       *recordv1.Date
	// AppointmentID and OrderID are empty for none; ResponsibleID for the hand's own, SupervisorID for nobody.
	AppointmentID, OrderID, ResponsibleID, SupervisorID string
	// Parent is the visit that a review or a touch-up looks back on, and Why the reason of a touch-up.
	Parent *chartv1.Session
	Why    string
	// Basis is the versions that it keeps.
	Basis *chartv1.SessionBasis
	// Paper is the form that it is entered from; nil when it is charted as it happens.
	Paper *chartv1.PaperForm
}

// BeginVisit is a new visit, whole. A visit of a patient that is for practice is for practice. A touch-up needs a parent in which something was given, and
// a reason; a review needs a parent.
func BeginVisit(h Hand, b Beginning) (*chartv1.Session, error) {
	if err := MayAt(Begin, Standing{}, h.Roles...); err != nil {
		return nil, err
	}
	if err := b.check(); err != nil {
		return nil, err
	}
	s := &chartv1.Session{
		Id: h.NewID(), PatientId: new(b.Patient.GetId()), ClinicId: new(b.ClinicID), Kind: b.Kind.Enum(), On: b.On, ResponsibleId: new(h.By),
		Basis: b.Basis, Paper: b.Paper,
	}
	setText(&s.ResponsibleId, b.ResponsibleID)
	setText(&s.SupervisorId, b.SupervisorID)
	setText(&s.AppointmentId, b.AppointmentID)
	setText(&s.OrderId, b.OrderID)
	if b.Parent != nil {
		s.Parent = &chartv1.SessionParent{SessionId: b.Parent.GetId(), Reason: b.Why}
	}
	if b.Patient.GetPractice() != nil {
		s.Practice = &chartv1.PracticeMark{Set: h.Act()}
	}
	s.States = []*chartv1.SessionState{h.state(Open, "")}
	return s, nil
}

func setText(field **string, text string) {
	if text != "" {
		*field = &text
	}
}

func (b Beginning) check() error {
	follows := b.Kind == chartv1.SessionKind_SESSION_KIND_TOUCH_UP || b.Kind == chartv1.SessionKind_SESSION_KIND_REVIEW
	switch {
	case b.Patient.GetId() == "":
		return wrong("patient_id", "", "the patient")
	case b.Patient.GetVoid() != nil || b.Patient.GetErased() != nil:
		return wrong("patient_id", b.Patient.GetId(), "a patient whose record counts")
	case b.ClinicID == "":
		return wrong("clinic_id", "", "the clinic where the visit is")
	case b.On == nil:
		return wrong("on", "", "the day of the visit")
	case !slices.Contains(kinds(), b.Kind):
		return wrong("kind", b.Kind.String(), "a consultation, a treatment, a touch-up or a review")
	case follows && b.Parent == nil:
		return wrong("parent", "", "the visit that this one looks back on")
	case b.Parent != nil && b.Parent.GetPatientId() != b.Patient.GetId():
		return wrong("parent.session_id", b.Parent.GetId(), "a visit of this patient")
	case b.Parent != nil && (b.Parent.GetPractice() != nil) != (b.Patient.GetPractice() != nil):
		return wrong("parent.session_id", b.Parent.GetId(), "a visit for practice to a visit for practice, a real one to a real one")
	}
	if b.Kind == chartv1.SessionKind_SESSION_KIND_TOUCH_UP {
		return b.checkTouchUp()
	}
	return nil
}

func (b Beginning) checkTouchUp() error {
	switch {
	case b.Why == "":
		return wrong("parent.reason", "", "why more is given")
	case b.Parent.GetKind() != chartv1.SessionKind_SESSION_KIND_TREATMENT:
		return wrong("parent.session_id", b.Parent.GetId(), "the treatment itself, not a review or another touch-up of it")
	case b.Parent.GetVoid() != nil || !anythingGiven(b.Parent):
		return wrong("parent.session_id", b.Parent.GetId(), "a treatment in which something was given")
	}
	return nil
}

func kinds() []chartv1.SessionKind {
	return []chartv1.SessionKind{
		chartv1.SessionKind_SESSION_KIND_CONSULTATION, chartv1.SessionKind_SESSION_KIND_TREATMENT, chartv1.SessionKind_SESSION_KIND_TOUCH_UP,
		chartv1.SessionKind_SESSION_KIND_REVIEW,
	}
}

func (h Hand) state(step chartv1.SessionStep, reason string) *chartv1.SessionState {
	return &chartv1.SessionState{Id: h.NewID(), Change: &chartv1.StateChange{Step: step, Reason: reason, Moved: h.Act()}}
}

// part is an empty part of a visit, to be filled with what is to be written.
func part(s *chartv1.Session) *chartv1.Session { return &chartv1.Session{Id: s.GetId()} }

// IsPractice reports whether a visit is for practice: by its own mark, or by its patient's, which counts even where the visit's is missing. It counts as
// real only where both say so. The patient may be nil where her record is not here.
func IsPractice(s *chartv1.Session, patient *chartv1.Patient) bool {
	if patient != nil {
		return patient.GetPractice() != nil
	}
	return s.GetPractice() != nil
}
