package visit

import (
	"slices"
	"strings"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
)

// Deed is something that is done in a visit. Its text is its stable name.
type Deed string

// The deeds.
const (
	Begin      Deed = "begin"
	Identify   Deed = "identify"
	Ask        Deed = "ask"
	Explain    Deed = "explain"
	Consenting Deed = "consent"
	Withdraw   Deed = "withdraw"
	Photograph Deed = "photograph"
	Rate       Deed = "rate"
	Plan       Deed = "plan"
	CheckReady Deed = "check"
	DrawUp     Deed = "draw"
	Give       Deed = "give"
	RecordFor  Deed = "give for another"
	PutRight   Deed = "put right"
	Observe    Deed = "observe"
	Interrupt  Deed = "pause"
	GoOn       Deed = "go on"
	StopEarly  Deed = "stop"
	Finish     Deed = "finish"
	Cancel     Deed = "cancel"
	AfterCare  Deed = "after-care"
	SetReview  Deed = "set review"
	Judge      Deed = "judge"
	Sign       Deed = "sign"
	Supervise  Deed = "supervise"
	Addend     Deed = "addend"
	Note       Deed = "note"
	VoidAll    Deed = "void"
)

// Row says where a deed may be done, by whom, and where it leads.
type Row struct {
	Deed Deed
	// Text is the deed in words, after "to".
	Text string
	// From are the steps in which it may be done.
	From []chartv1.SessionStep
	// To is the step that it leads to; None where it leads nowhere else.
	To chartv1.SessionStep
	// Roles may do it.
	Roles []accessv1.Role
}

// Table lists every deed, each once, in the order of a day.
func Table() []Row {
	type steps = []chartv1.SessionStep
	clinical := []accessv1.Role{Injector, Lead, Assistant}
	needle := []accessv1.Role{Injector, Lead}
	charting := steps{Open, Ready, Treating, Paused}
	before := steps{Open, Ready, Paused}
	ended := steps{Stopped, Finished}
	begun := steps{Open, Ready, Treating, Paused, Stopped, Finished}
	all := append(slices.Clone(begun), Cancelled)
	return []Row{
		{Begin, "begin the visit", steps{None}, Open, clinical},
		{Identify, "check who the patient is", charting, None, clinical},
		{Ask, "take answers to the questions", charting, None, clinical},
		{Explain, "explain a consent text", charting, None, clinical},
		{Consenting, "take a consent", charting, None, clinical},
		{Withdraw, "record that a consent was taken back", all, None, clinical},
		{Photograph, "add a photograph", begun, None, clinical},
		{Rate, "grade", begun, None, needle},
		{Plan, "plan", charting, None, needle},
		{CheckReady, "check before the first needle", before, Ready, needle},
		{DrawUp, "draw up", charting, None, clinical},
		{Give, "give an injection", steps{Ready, Treating}, Treating, needle},
		{RecordFor, "record an injection for who gives it", steps{Ready, Treating}, Treating, []accessv1.Role{Assistant}},
		{PutRight, "void what was recorded as given", steps{Treating, Paused, Stopped, Finished}, None, needle},
		{Observe, "record what was seen", begun, None, clinical},
		{Interrupt, "pause", steps{Open, Ready, Treating}, Paused, clinical},
		{GoOn, "go on after a pause", steps{Paused}, None, needle},
		{StopEarly, "stop before all that was planned was given", steps{Treating, Paused}, Stopped, needle},
		{Finish, "finish the visit", steps{Open, Ready, Treating}, Finished, needle},
		{Cancel, "cancel the visit", before, Cancelled, clinical},
		{AfterCare, "give the after-care sheet", steps{Treating, Paused, Stopped, Finished}, None, clinical},
		{SetReview, "set when the result is looked at", begun, None, clinical},
		{Judge, "judge the result", begun, None, needle},
		{Sign, "sign what was done", ended, None, needle},
		{Supervise, "countersign as supervisor", ended, None, needle},
		{Addend, "countersign what came after a signature", ended, None, needle},
		{Note, "write a remark", all, None, clinical},
		{VoidAll, "void the visit", all, None, needle},
	}
}

// RowOf is the row of a deed; ok is false for one that there is not.
func RowOf(d Deed) (row Row, ok bool) {
	table := Table()
	i := slices.IndexFunc(table, func(r Row) bool { return r.Deed == d })
	if i < 0 {
		return Row{}, false
	}
	return table[i], true
}

// May reports whether a deed may be done in a visit as it stands by who has these roles: nil, or NOT_ALLOWED for the roles and INVALID_FIELD for the step,
// both with a sentence. In a visit that does not count nothing may be done but to write a remark.
func May(d Deed, s *chartv1.Session, roles ...accessv1.Role) error {
	return MayAt(d, StandingOf(s), roles...)
}

// MayAt is May for a visit that stands so.
func MayAt(d Deed, st Standing, roles ...accessv1.Role) error {
	row, ok := RowOf(d)
	if !ok {
		return wrong("deed", string(d), "one of "+deedNames())
	}
	if !slices.ContainsFunc(roles, func(r accessv1.Role) bool { return slices.Contains(row.Roles, r) }) {
		return fault.New(faultv1.Reason_REASON_NOT_ALLOWED, "roles", rolesText(roles), "to "+row.Text+": "+rolesText(row.Roles))
	}
	if st.Void && d != Note {
		return wrong("states", "voided", "a visit that counts, to "+row.Text)
	}
	if !slices.Contains(row.From, st.Step) {
		return wrong("states", StepText(st.Step), "to "+row.Text+" a visit that is "+stepsText(row.From))
	}
	return nil
}

// DeedsTo are the deeds that lead a visit into a step; to go on after a pause leads back into treatment.
func DeedsTo(step chartv1.SessionStep) (deeds []Deed) {
	for _, r := range Table() {
		if r.To == step && step != None {
			deeds = append(deeds, r.Deed)
		}
	}
	if step == Treating {
		deeds = append(deeds, GoOn)
	}
	return deeds
}

func deedNames() string {
	var all []string
	for _, r := range Table() {
		all = append(all, string(r.Deed))
	}
	return strings.Join(all, ", ")
}

func stepsText(steps []chartv1.SessionStep) string {
	var all []string
	for _, s := range steps {
		all = append(all, StepText(s))
	}
	return strings.Join(all, " or ")
}

// RoleText is a role in words.
func RoleText(r accessv1.Role) string {
	switch r {
	case Injector:
		return "injector"
	case Lead:
		return "medical lead"
	case Assistant:
		return "assistant"
	case accessv1.Role_ROLE_FRONT_DESK:
		return "front desk"
	case accessv1.Role_ROLE_AUDITOR:
		return "auditor"
	case accessv1.Role_ROLE_ADMINISTRATOR:
		return "administrator"
	}
	return "no role"
}

func rolesText(roles []accessv1.Role) string {
	if len(roles) == 0 {
		return "no role"
	}
	var all []string
	for _, r := range roles {
		all = append(all, RoleText(r))
	}
	return strings.Join(all, " or ")
}
