package export

import (
	"encoding/hex"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// consentStatus is a consent's state: of an answer, a withdrawal, and the void of what it belongs to.
func consentStatus(answer chartv1.ConsentAnswer, withdrawn *chartv1.Withdrawal, void *recordv1.Void) string {
	switch {
	case void != nil:
		return "entered-in-error"
	case answer == chartv1.ConsentAnswer_CONSENT_ANSWER_REFUSED:
		return "rejected"
	case withdrawn != nil:
		return "inactive"
	case answer == chartv1.ConsentAnswer_CONSENT_ANSWER_GIVEN:
		return "active"
	}
	return "proposed"
}

func consentScope(code, display string) concept {
	return concept{Coding: []coding{{terminology + "consentscope", code, display}}}
}

// consent is what was explained and agreed before a treatment. FHIR has no state for one whose standing is in conflict, so that is left out.
func (b *builder) consent(v visit, c *chartv1.Consent) {
	path := at("consents", c.GetId())
	e := c.GetExplained()
	if v.disputed(path+".explained", path+".decision", path+".withdrawn", "void") || e == nil {
		b.leave(v.entry, path, missing(e != nil || v.disputed(path+".explained")), "warning", "A consent is left out: what it says is not settled.")
		return
	}
	out := &consent{
		header: header{ResourceType: "Consent", ID: derivedID(v.text() + "/" + path)}, Identifier: pathIdentifier(v.text() + "/" + path),
		Status: consentStatus(c.GetDecision().GetAnswer(), c.Withdrawn, v.m.Void), Scope: consentScope("treatment", "Treatment"),
		Category: []concept{*ownConcept("consent-category", "treatment", "")}, Patient: b.patientRef(v.m.GetPatientId()),
		DateTime: momentText(e.GetExplained().GetAt()), PolicyRule: &concept{Text: "consent text version " + line(e.GetVersion())},
	}
	if at := momentText(c.GetDecision().GetTaken().GetAt()); at != "" {
		out.DateTime = at
	}
	if r := b.organizationRef(); r != nil {
		out.Organization = []*reference{r}
	}
	explainer, when := b.act(e.GetExplained())
	out.extend(said(own+"consent-text", e.GetConsentTextId()), said(own+"product", e.GetProduct()), pointed(own+"explained-by", explainer),
		timed(own+"explained-at", when), said(own+"interpreter", c.GetInterpreter()), said(own+"questions", c.GetDecision().GetQuestions()))
	if len(e.GetDigest()) > 0 {
		out.extend(&extension{URL: own + "text-sha256", Base64: e.GetDigest()})
	}
	for _, region := range e.GetRegions() {
		out.extend(said(own+"region", region))
	}
	b.signed(v, c, out)
	b.add(out)
}

// signed is the patient's signature by hand: who and when. Its strokes stay in the record.
func (b *builder) signed(v visit, c *chartv1.Consent, out *consent) {
	s := c.GetSignature()
	if s == nil {
		return
	}
	mark := verification{Verified: true, Date: momentText(s.GetTaken().GetAt())}
	if s.GetRelation() == "self" {
		mark.With = b.patientRef(v.m.GetPatientId())
		out.Performer = []*reference{b.patientRef(v.m.GetPatientId())}
	}
	out.Verification = []verification{mark}
	out.extend(nested("signed-by", said("name", s.GetSignerName()), said("relation", s.GetRelation())))
}

// photoConsent is what a patient's photographs may be used for.
func (b *builder) photoConsent(p typed[*chartv1.Patient], c *chartv1.PhotoConsent) {
	path, g := at("photo_consents", c.GetId()), c.GetGrant()
	if p.disputed(path+".grant", path+".withdrawn", "void") || g == nil {
		b.leave(p.entry, path, missing(g != nil || p.disputed(path+".grant")), "warning", "A consent to photographs is left out: what it says is not settled.")
		return
	}
	who, when := b.act(g.GetTaken())
	out := &consent{
		header: header{ResourceType: "Consent", ID: derivedID(p.text() + "/" + path)}, Identifier: pathIdentifier(p.text() + "/" + path),
		Status: consentStatus(g.GetAnswer(), c.Withdrawn, p.m.Void), Scope: consentScope("patient-privacy", "Privacy Consent"),
		Category: []concept{*ownConcept("consent-category", "photographs", "")}, Patient: b.patientRef(p.id), DateTime: when,
		PolicyRule: &concept{Text: "use of photographs: " + spaced(g.GetPurpose())},
	}
	out.extend(said(own+"photo-purpose", g.GetPurpose()), pointed(own+"asked-by", who), said(own+"consent-text", g.GetConsentTextId()))
	b.add(out)
}

// photos makes a Media of each photo's description. The image is no part of it: it is named by its SHA-256.
func (b *builder) photos() {
	for _, p := range of[*chartv1.Photo](b.Export, optionsv1.RecordKind_RECORD_KIND_PHOTO) {
		switch who := p.m.GetPatientId(); {
		case who == "" && b.whole():
			b.leave(p.entry, "patient_id", missing(p.disputed("patient_id")), "warning", "The photograph is left out: it names no one patient.")
		case who != "" && b.covers(who) && !b.practice(p.entry):
			b.add(b.media(p))
		}
	}
}

func (b *builder) media(p typed[*chartv1.Photo]) *media {
	m := p.m
	who, when := b.act(m.GetTaken())
	out := &media{
		header: header{ResourceType: "Media", ID: p.id}, Identifier: []*identifier{{System: own + "photo", Value: p.id}},
		Status: counts("completed", m.Void, p.disputed("void")), Type: &concept{Coding: []coding{{terminology + "media-type", "image", "Image"}}},
		Subject: b.patientRef(m.GetPatientId()), Encounter: b.sessionRef(m.GetSessionId()), Created: when, Operator: who,
		Content: attachment{Title: "no image"},
	}
	if v := m.GetView(); v != nil {
		out.View, out.BodySite = ownConcept("view", v.GetView(), ""), site(v.GetRegion(), sideName(v.GetSide()))
		out.extend(said(own+"contraction", enumName(v.GetContraction().String(), "CONTRACTION_")))
	}
	switch i := m.GetImage(); {
	case m.ImageErased != nil:
		out.Content.Title = "the image was erased"
	case p.disputed("image"):
		out.Content.Title = "the image is in conflict"
	case i != nil:
		out.Height, out.Width = positive(i.GetHeightPixels()), positive(i.GetWidthPixels())
		out.Content = attachment{i.GetMediaType(), own + "sha256:" + hex.EncodeToString(i.GetSha256()), positive(i.GetSizeBytes()), "photograph"}
	}
	for _, purpose := range m.GetPurposes().GetPurposes() {
		out.extend(said(own+"photo-purpose", purpose))
	}
	out.Note = b.remarks(p.entry, m.GetNotes())
	if m.Void != nil {
		out.Note = append(out.Note, b.voidNote(m.Void))
	}
	return out
}

// positive is a whole number above zero; nothing for one that is not.
func positive[N int32 | int64](n N) number {
	if n <= 0 {
		return ""
	}
	return number(decimal(int64(n), 0))
}

// adverseEvents makes an AdverseEvent of each record of one.
func (b *builder) adverseEvents() {
	for _, e := range of[*chartv1.AdverseEvent](b.Export, optionsv1.RecordKind_RECORD_KIND_ADVERSE_EVENT) {
		who := e.m.GetPatientId()
		switch {
		case who == "" && b.whole():
			b.leave(e.entry, "patient_id", missing(e.disputed("patient_id")), "warning", "The adverse event is left out: it names no one patient.")
		case who == "" || !b.covers(who) || b.practice(e.entry):
		case e.disputed("void"):
			b.leave(e.entry, "void", "conflict", "warning", "The adverse event is left out: whether it counts is in conflict.")
		case e.m.Void != nil:
			b.leave(e.entry, "void", "deleted", "information", "The adverse event was voided and is left out: "+e.m.GetVoid().GetReason())
		default:
			b.add(b.adverseEvent(e))
		}
	}
}

func (b *builder) adverseEvent(e typed[*chartv1.AdverseEvent]) *adverseEvent {
	m, d := e.m, e.m.GetEvent()
	recorder, recorded := b.act(d.GetReported())
	out := &adverseEvent{
		header: header{ResourceType: "AdverseEvent", ID: e.id}, Identifier: &identifier{System: own + "adverse-event", Value: e.id}, Actuality: "actual",
		Subject: b.patientRef(m.GetPatientId()), Encounter: b.sessionRef(m.GetSessionId()), Location: b.clinicRef(m.GetClinicId()),
		Event: ownConcept("adverse-event-kind", d.GetKind(), d.GetText()), Recorder: recorder, Recorded: recorded,
		Date: momentText(d.GetOnsetAt()), Seriousness: seriousness(m.GetSeriousness()), Severity: severity(m.GetSeverity().GetSeverity()),
		Outcome: ended(m.GetOutcome().GetEnd()),
	}
	if out.Date == "" {
		out.Date = approximateText(d.GetOnset())
	}
	for _, region := range d.GetRegions() {
		out.extend(said(own+"region", region))
	}
	out.extend(said(own+"side", sideName(d.GetSide())))
	for _, r := range m.GetSeriousness().GetReasons() {
		out.extend(said(own+"seriousness", enumName(r.String(), "SERIOUSNESS_")))
	}
	b.course(e, out)
	for _, s := range m.GetSuspected() {
		x := s.GetExposure()
		if x == nil || s.Void != nil || e.disputed(at("suspected", s.GetId(), "void")) {
			continue
		}
		out.Suspect = append(out.Suspect, b.suspect(x, assessment(m.GetRelation().GetRelation())))
	}
	return out
}

// course is what was done, how it went on and what was reported.
func (b *builder) course(e typed[*chartv1.AdverseEvent], out *adverseEvent) {
	add := func(name, text string, act *recordv1.Act) {
		if line(text) != "" {
			note := b.note(text, act.GetBy(), momentText(act.GetAt()))
			out.extend(&extension{URL: own + name, Annotation: &note})
		}
	}
	for _, a := range e.m.GetActions() {
		add("action", a.GetAction().GetText(), a.GetAction().GetDone())
	}
	for _, f := range e.m.GetFollowUps() {
		add("follow-up", f.GetState().GetText(), f.GetState().GetSeen())
	}
	for _, r := range e.m.GetReports() {
		if s := r.GetSent(); s != nil {
			add("report", "Reported to "+s.GetRecipient()+" "+s.GetReference(), s.GetSent())
		}
	}
	for _, note := range b.remarks(e.entry, e.m.GetNotes()) {
		out.extend(&extension{URL: own + "note", Annotation: &note})
	}
}

func (b *builder) suspect(x *chartv1.SuspectedExposure, how *concept) suspect {
	out := suspect{Instance: b.vialRef(x.GetVialId())}
	if out.Instance == nil {
		out.Instance = &reference{Display: x.GetDose().GetProduct() + ", vial not known"}
	}
	out.Extension = []*extension{nested("exposure", said("product", x.GetDose().GetProduct()),
		measured("dose", units(int64(x.GetDose().GetDoseMilliunits()))), said("lot", x.GetLotNumber()), timed("expiry", dateText(x.GetExpiresOn())),
		timed("given", approximateText(x.GetGivenOn())))}
	if how != nil {
		out.Causality = []causality{{how}}
	}
	return out
}

func termed(system, code, display string) *concept {
	return &concept{Coding: []coding{{terminology + system, code, display}}}
}

func seriousness(s *chartv1.SeriousnessList) *concept {
	switch {
	case s == nil:
		return nil
	case len(s.GetReasons()) == 0:
		return termed("adverse-event-seriousness", "Non-serious", "Non-serious")
	}
	return termed("adverse-event-seriousness", "Serious", "Serious")
}

func severity(s chartv1.Severity) *concept {
	switch s {
	case chartv1.Severity_SEVERITY_MILD:
		return termed("adverse-event-severity", "mild", "Mild")
	case chartv1.Severity_SEVERITY_MODERATE:
		return termed("adverse-event-severity", "moderate", "Moderate")
	case chartv1.Severity_SEVERITY_SEVERE:
		return termed("adverse-event-severity", "severe", "Severe")
	}
	return nil
}

func ended(e chartv1.EventEnd) *concept {
	switch e {
	case chartv1.EventEnd_EVENT_END_RECOVERED:
		return termed("adverse-event-outcome", "resolved", "Resolved")
	case chartv1.EventEnd_EVENT_END_RECOVERING:
		return termed("adverse-event-outcome", "recovering", "Recovering")
	case chartv1.EventEnd_EVENT_END_NOT_RECOVERED:
		return termed("adverse-event-outcome", "ongoing", "Ongoing")
	case chartv1.EventEnd_EVENT_END_SEQUELAE:
		return termed("adverse-event-outcome", "resolvedWithSequelae", "Resolved with Sequelae")
	case chartv1.EventEnd_EVENT_END_FATAL:
		return termed("adverse-event-outcome", "fatal", "Fatal")
	case chartv1.EventEnd_EVENT_END_UNKNOWN:
		return termed("adverse-event-outcome", "unknown", "Unknown")
	}
	return nil
}

// assessment is the judgement of cause. The code system has no word for "unrelated", so that is text.
func assessment(r chartv1.Relation) *concept {
	const system = "adverse-event-causality-assess"
	switch r {
	case chartv1.Relation_RELATION_CERTAIN:
		return termed(system, "Certain", "Certain")
	case chartv1.Relation_RELATION_PROBABLE:
		return termed(system, "Probably-Likely", "Probably/Likely")
	case chartv1.Relation_RELATION_POSSIBLE:
		return termed(system, "Possible", "Possible")
	case chartv1.Relation_RELATION_UNLIKELY:
		return termed(system, "Unlikely", "Unlikely")
	case chartv1.Relation_RELATION_NOT_ASSESSABLE:
		return termed(system, "Unassessable-Unclassifiable", "Unassessable/Unclassifiable")
	case chartv1.Relation_RELATION_UNRELATED:
		return &concept{Text: "unrelated"}
	}
	return nil
}
