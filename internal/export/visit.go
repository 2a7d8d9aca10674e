package export

import (
	"cmp"
	"slices"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	syncv1 "needlebook/gen/needlebook/sync/v1"
)

// visit is a session with what its resources share.
type visit = typed[*chartv1.Session]

// sessions makes an Encounter of each session, a Procedure where something was given, and what belongs to them.
func (b *builder) sessions() {
	for _, v := range b.visits() {
		if v.m.GetPatientId() == "" {
			b.leave(v.entry, "patient_id", missing(v.disputed("patient_id")), "warning", "The session is left out: it names no one patient.")
			continue
		}
		b.encounter(v)
		given := b.givings(v)
		if len(given) > 0 {
			b.procedure(v, given)
		}
		for _, c := range v.m.GetConsents() {
			b.consent(v, c)
		}
		for _, s := range v.m.GetSignatures() {
			b.provenance(v, s, len(given) > 0)
		}
	}
}

// missing is the code of an issue about something that is not there: because it is in conflict, or because nobody wrote it.
func missing(disputed bool) string {
	if disputed {
		return "conflict"
	}
	return "required"
}

// counts is whether something counts, as a status: right unless it is voided, and unknown while its void is in conflict.
func counts(right string, void *recordv1.Void, disputed bool) string {
	switch {
	case disputed:
		return "unknown"
	case void != nil:
		return "entered-in-error"
	}
	return right
}

func (b *builder) encounter(v visit) {
	m := v.m
	out := &encounter{
		header: header{ResourceType: "Encounter", ID: m.GetId()}, Identifier: []*identifier{{System: own + "session", Value: m.GetId()}},
		Status: counts(visitStatus(v), m.Void, v.disputed("void")), Class: coding{terminology + "v3-ActCode", "AMB", "ambulatory"},
		Subject: b.patientRef(m.GetPatientId()), Provider: b.organizationRef(),
	}
	if kind := ownConcept("session-kind", enumName(m.GetKind().String(), "SESSION_KIND_"), ""); kind != nil {
		out.Type = []concept{*kind}
	}
	if on := dateText(m.GetOn()); on != "" {
		out.Period = &period{Start: on}
	}
	if r := b.clinicRef(m.GetClinicId()); r != nil {
		out.Location = []visited{{r}}
	}
	for _, p := range []struct{ id, role string }{{m.GetResponsibleId(), "responsible"}, {m.GetSupervisorId(), "supervisor"}} {
		if r := b.staffRef(p.id); r != nil {
			out.Participant = append(out.Participant, participant{[]concept{*ownConcept("participation", p.role, "")}, r})
		}
	}
	if m.Parent != nil {
		out.extend(pointed(own+"follows-up", b.sessionRef(m.GetParent().GetSessionId())), said(own+"follow-up-reason", m.GetParent().GetReason()))
	}
	if m.Paper != nil {
		out.extend(said(own+"paper-form", cmp.Or(line(m.GetPaper().GetFormNumber()), "without a number")))
	}
	if m.Imported != nil {
		out.extend(said(own+"imported-from", m.GetImported().GetSystem()))
	}
	notes := b.remarks(v.entry, m.GetNotes())
	if m.Void != nil {
		notes = append(notes, b.voidNote(m.Void))
	}
	for _, note := range notes {
		out.extend(&extension{URL: own + "note", Annotation: &note})
	}
	b.add(out)
}

// visitStatus folds the states that a visit went through. States say nothing of an order, so ends that contradict each other leave it unknown.
func visitStatus(v visit) string {
	finished, cancelled, begun := v.m.Imported != nil, false, false
	for _, s := range v.m.GetStates() {
		if v.disputed(at("states", s.GetId(), "change")) {
			return "unknown"
		}
		switch s.GetChange().GetStep() {
		case chartv1.SessionStep_SESSION_STEP_FINISHED, chartv1.SessionStep_SESSION_STEP_STOPPED_EARLY:
			finished = true
		case chartv1.SessionStep_SESSION_STEP_CANCELLED:
			cancelled = true
		case chartv1.SessionStep_SESSION_STEP_UNSPECIFIED:
		default:
			begun = true
		}
	}
	switch {
	case finished && cancelled:
		return "unknown"
	case finished:
		return "finished"
	case cancelled:
		return "cancelled"
	case begun:
		return "in-progress"
	}
	return "unknown"
}

// procedureID is the id of the Procedure that a session becomes, beside its Encounter.
func procedureID(session string) string { return derivedID("session/" + session + "/procedure") }

func (b *builder) procedureRef(v visit) *reference {
	return b.ref("Procedure", procedureID(v.id), v.key)
}

// procedure is what was given in a session, as one.
func (b *builder) procedure(v visit, given []*administration) {
	m := v.m
	out := &procedure{
		header: header{ResourceType: "Procedure", ID: procedureID(m.GetId())},
		Code:   ownConcept("procedure", "botulinum_toxin_injection", "injection of botulinum toxin type A, face"), Subject: b.patientRef(m.GetPatientId()),
		Encounter: b.sessionRef(m.GetId()), Location: b.clinicRef(m.GetClinicId()),
	}
	out.Status = counts(procedureStatus(v, given), m.Void, v.disputed("void"))
	if r := b.staffRef(m.GetResponsibleId()); r != nil {
		out.Performer = []performer{{ownConcept("participation", "responsible", ""), r}}
	}
	b.whatWasDone(out, given)
	if out.Period == nil {
		out.Performed = dateText(m.GetOn())
	}
	for _, c := range m.GetComplications() {
		path := at("complications", c.GetId(), "void")
		if text := line(c.GetEvent().GetText()); text != "" && c.Void == nil && !v.disputed(path) {
			out.Complication = append(out.Complication, *ownConcept("complication", cmp.Or(c.GetEvent().GetKind(), "other"), text))
		}
	}
	if r := m.GetReview(); r != nil {
		out.FollowUp = []concept{{Text: "review from " + dateText(r.GetFrom()) + " to " + dateText(r.GetUntil())}}
	}
	if m.Void != nil {
		out.StatusReason = &concept{Text: cmp.Or(line(m.GetVoid().GetReason()), "voided")}
	}
	b.add(out)
}

// procedureStatus is the visit's status as a procedure has it.
func procedureStatus(v visit, given []*administration) string {
	has := func(status string) bool {
		return slices.ContainsFunc(given, func(a *administration) bool { return a.Status == status })
	}
	visit := visitStatus(v)
	switch {
	case !has("completed") && has("unknown"):
		return "unknown"
	case !has("completed"):
		return "entered-in-error" // all that was given was voided
	case visit == "finished":
		return "completed"
	case visit == "in-progress":
		return visit
	}
	return "unknown"
}

// whatWasDone is the places, times and vials of what was given and counts.
func (b *builder) whatWasDone(out *procedure, given []*administration) {
	sites, vials := map[string]*concept{}, map[string]bool{}
	var moments []string
	for _, a := range given {
		if a.Status != "completed" {
			continue // voided, or perhaps
		}
		if len(a.Effective) > len(time.DateOnly) {
			moments = append(moments, a.Effective)
		}
		if s := a.Dosage.Site; s != nil {
			sites[s.Coding[0].Code] = s
		}
		if a.Reference != nil {
			vials[a.Reference.id] = true
		}
	}
	for _, code := range sorted(sites) {
		out.BodySite = append(out.BodySite, sites[code])
	}
	for _, id := range sorted(vials) {
		out.Used = append(out.Used, b.vialRef(id))
	}
	if len(moments) > 0 {
		slices.SortFunc(moments, compareMoments)
		out.Period = &period{moments[0], moments[len(moments)-1]}
	}
}

func sorted[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// compareMoments orders moments as momentText writes them; a fraction of a second makes the text no guide.
func compareMoments(a, b string) int {
	x, _ := time.Parse(time.RFC3339Nano, a)
	y, _ := time.Parse(time.RFC3339Nano, b)
	return x.Compare(y)
}

// provenance is a signature over a session. What was signed is named by its digest; the values stay in the record.
func (b *builder) provenance(v visit, s *chartv1.Signature, procedure bool) {
	c, path := s.GetContent(), at("signatures", s.GetId())
	if c == nil || c.GetSignerId() == "" {
		b.leave(v.entry, path, missing(v.disputed(path+".content")), "warning", "A signature is left out: it has no one content.")
		return
	}
	when := time.UnixMilli(c.GetSignedAtUnixMs()).UTC().Format("2006-01-02T15:04:05.999Z07:00")
	meaning := enumName(c.GetMeaning().String(), "SIGNATURE_MEANING_")
	out := &provenance{
		header: header{ResourceType: "Provenance", ID: derivedID(v.text() + "/" + path)}, Target: []*reference{b.sessionRef(v.id)}, Recorded: when,
		Agent: []agent{{signerType(c.GetMeaning()), b.staffRef(c.GetSignerId())}},
	}
	if procedure {
		out.Target = append(out.Target, b.procedureRef(v))
	}
	if text := line(s.GetStatement()); text != "" {
		out.Activity = &concept{Text: text}
	}
	out.Signature = []signature{{[]coding{{own + "signature-meaning", cmp.Or(meaning, "unknown"), cmp.Or(meaning, "unknown")}}, when, b.staffRef(c.GetSignerId())}}
	out.extend(said(own+"path", v.text()+"/"+path), said(own+"proof", s.GetProof()), said(own+"role", enumName(s.GetRole().String(), "ROLE_")))
	if len(c.GetDigest()) > 0 {
		out.extend(&extension{URL: own + "signed-sha256", Base64: c.GetDigest()})
	}
	b.add(out)
}

// signerType is the part of the signer in the terms of provenance.
func signerType(m syncv1.SignatureMeaning) *concept {
	code, display := "attester", "Attester"
	switch m {
	case syncv1.SignatureMeaning_SIGNATURE_MEANING_PERFORMED:
		code, display = "performer", "Performer"
	case syncv1.SignatureMeaning_SIGNATURE_MEANING_SUPERVISED:
		code, display = "verifier", "Verifier"
	}
	return &concept{Coding: []coding{{terminology + "provenance-participant-type", code, display}}}
}
