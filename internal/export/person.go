package export

import (
	"cmp"
	"strings"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// patients makes a Patient of every patient's record, and a Consent of each answer about photographs.
func (b *builder) patients() {
	for _, p := range b.people() {
		b.add(b.patient(p))
		for _, c := range p.m.GetPhotoConsents() {
			b.photoConsent(p, c)
		}
	}
}

func (b *builder) patient(p typed[*chartv1.Patient]) *patient {
	m := p.m
	out := &patient{header: header{ResourceType: "Patient", ID: m.GetId()}, Managing: b.organizationRef(), Name: names(m.GetName())}
	if !p.disputed("void") {
		out.Active = new(m.Void == nil)
	}
	out.Identifier = append([]*identifier{{System: own + "patient", Value: m.GetId()}}, b.numbers(p)...)
	out.Telecom, out.Address = telecoms(m.GetContact()), addresses(m.GetContact())
	out.BirthDate, out.Deceased = dateText(m.GetBirth().GetDate()), dateText(m.GetDeath())
	switch sex := m.GetSex(); sex {
	case "male", "female", "other", "unknown":
		out.Gender = sex
	case "":
	default:
		out.extend(&extension{URL: own + "sex", Code: sex})
	}
	if m.Language != nil {
		out.Communication = []communication{{concept{Coding: []coding{{languageSystem, m.GetLanguage(), ""}}}}}
	}
	if proof := enumName(m.GetBirth().GetProof().String(), "BIRTH_PROOF_"); proof != "" {
		out.extend(&extension{URL: own + "birth-proof", Code: proof})
	}
	out.extend(pointed(own+"home-clinic", b.clinicRef(m.GetHomeClinicId())))
	b.background(p, out)
	for _, l := range m.GetLinks() {
		if l.GetClaim().GetPatientId() != "" && l.Undone == nil && !p.disputed(at("links", l.GetId(), "undone")) {
			out.Link = append(out.Link, patientLink{b.patientRef(l.GetClaim().GetPatientId()), "seealso"})
		}
	}
	for _, note := range b.remarks(p.entry, m.GetNotes()) {
		out.extend(&extension{URL: own + "note", Annotation: &note})
	}
	if m.Void != nil {
		note := b.voidNote(m.Void)
		out.extend(&extension{URL: own + "note", Annotation: &note})
	}
	if m.Erased != nil {
		out.extend(said(own+"erased", m.GetErased().GetBasis()))
	}
	return out
}

// background is what everyone who treats the person must see first, and toxin given elsewhere.
func (b *builder) background(p typed[*chartv1.Patient], out *patient) {
	for _, a := range p.m.GetAlerts() {
		if c := a.GetContent(); c != nil && a.Ended == nil && !p.disputed(at("alerts", a.GetId(), "ended")) {
			out.extend(nested("alert", said("kind", enumName(c.GetKind().String(), "ALERT_KIND_")), said("condition", c.GetCondition()),
				said("text", c.GetText()), timed("since", approximateText(c.GetSince()))))
		}
	}
	for _, t := range p.m.GetPriorTreatments() {
		r := t.GetReport()
		if r == nil || t.Void != nil || p.disputed(at("prior_treatments", t.GetId(), "void")) {
			continue
		}
		parts := []*extension{timed("on", approximateText(r.GetOn())), said("product", r.GetProduct()), said("place", r.GetPlace()),
			said("regions", strings.Join(r.GetRegions(), " ")), said("origin", enumName(r.GetOrigin().String(), "REPORT_ORIGIN_"))}
		if r.DoseMilliunits != nil {
			parts = append(parts, measured("dose", units(int64(r.GetDoseMilliunits()))))
		}
		out.extend(nested("prior-treatment", append(parts, &extension{URL: "therapeutic", Boolean: new(r.GetTherapeutic())})...))
	}
}

// numbers is the identifiers that name the person. One that may be voided is left out.
func (b *builder) numbers(p typed[*chartv1.Patient]) []*identifier {
	var out []*identifier
	for _, n := range p.m.GetIdentifiers() {
		v := n.GetValue()
		if v == nil || n.Void != nil || p.disputed(at("identifiers", n.GetId(), "void")) {
			continue
		}
		i := &identifier{System: own + "identifier:" + v.GetKind(), Value: line(v.GetNumber())}
		if issuer := line(v.GetIssuer()); issuer != "" {
			i.Assigner = &reference{Display: issuer}
		}
		out = append(out, i)
	}
	return out
}

func names(n *recordv1.PersonName) []humanName {
	if n == nil {
		return nil
	}
	main := humanName{Text: line(n.GetFull()), Family: line(n.GetFamily())}
	if given := line(n.GetGiven()); given != "" {
		main.Given = []string{given}
	}
	out := []humanName{main}
	if text := line(n.GetPreferred()); text != "" {
		out = append(out, humanName{Use: "nickname", Text: text})
	}
	if text := line(n.GetFormer()); text != "" {
		out = append(out, humanName{Use: "old", Text: text})
	}
	if main.Text == "" && main.Family == "" && main.Given == nil {
		return out[1:]
	}
	return out
}

func telecoms(c *recordv1.Contact) []telecom {
	var out []telecom
	if phone := line(c.GetPhone()); phone != "" {
		out = append(out, telecom{"phone", phone})
	}
	if email := line(c.GetEmail()); email != "" {
		out = append(out, telecom{"email", email})
	}
	return out
}

func addresses(c *recordv1.Contact) []address {
	a := address{City: line(c.GetCity()), PostalCode: line(c.GetPostalCode()), Country: line(c.GetCountry())}
	for part := range strings.SplitSeq(c.GetStreet(), "\n") {
		if part = line(part); part != "" {
			a.Line = append(a.Line, part)
		}
	}
	if a.City == "" && a.PostalCode == "" && a.Country == "" && a.Line == nil {
		return nil
	}
	return []address{a}
}

// practitioners makes a Practitioner of each person of the staff who is referred to, or of everyone.
func (b *builder) practitioners() {
	for _, s := range of[*accessv1.Staff](b.Export, optionsv1.RecordKind_RECORD_KIND_STAFF) {
		if !b.whole() && !b.wanted[s.key] {
			continue
		}
		out := &practitioner{header: header{ResourceType: "Practitioner", ID: s.id}, Name: names(s.m.GetName())}
		if !s.disputed("suspended") {
			out.Active = new(s.m.Suspended == nil)
		}
		out.Identifier = []*identifier{{System: own + "staff", Value: s.id}}
		if r := s.m.GetRegistration(); r != nil {
			out.Identifier = append(out.Identifier, &identifier{
				System: own + "registration", Value: line(r.GetNumber()), Assigner: &reference{Display: cmp.Or(line(r.GetBody()), "unnamed register")},
			})
		}
		if text := line(s.m.GetProfession()); text != "" {
			out.Qualification = []qualification{{concept{Text: text}}}
		}
		b.add(out)
	}
}

// clinics makes a Location of each clinic that is referred to, or of every one.
func (b *builder) clinics() {
	for _, c := range of[*chartv1.Clinic](b.Export, optionsv1.RecordKind_RECORD_KIND_CLINIC) {
		if !b.whole() && !b.wanted[c.key] {
			continue
		}
		out := &location{header: header{ResourceType: "Location", ID: c.id}, Name: line(c.m.GetName()), Mode: "instance", Managing: b.organizationRef()}
		if !c.disputed("closed") {
			out.Status = map[bool]string{true: "active", false: "inactive"}[c.m.Closed == nil]
		}
		out.Telecom = telecoms(c.m.GetContact())
		if a := addresses(c.m.GetContact()); a != nil {
			out.Address = &a[0]
		}
		b.add(out)
	}
}

func (b *builder) organization() {
	o := b.scope.Organisation
	if o.ID == "" {
		return
	}
	b.add(&organization{header: header{ResourceType: "Organization", ID: o.ID}, Active: new(true), Name: cmp.Or(line(o.Name), "unnamed organisation")})
}
