package export

import (
	"cmp"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// giving is one giving with the injection that it belongs to.
type giving struct {
	visit
	injection *chartv1.Injection
	m         *chartv1.Giving
}

// eachGiving is the givings of a session, by injection and giving as the record has them.
func eachGiving(v visit) []giving {
	var out []giving
	for _, i := range v.m.GetInjections() {
		for _, g := range i.GetGivings() {
			out = append(out, giving{v, i, g})
		}
	}
	return out
}

// path is where the giving is in its session, or a register of it.
func (g giving) path(names ...string) string {
	return at("injections", g.injection.GetId()) + "." + at("givings", g.m.GetId(), names...)
}

// planned is the path of a register of the injection.
func (g giving) planned(name string) string { return at("injections", g.injection.GetId(), name) }

// side is the patient's own side: the giving's, else the injection's. It is empty when neither was recorded, or in conflict.
func (g giving) side() string {
	switch {
	case g.disputed(g.path("side")):
		return ""
	case g.m.Side != nil:
		return sideName(g.m.GetSide())
	}
	return sideName(g.injection.GetSide())
}

// sided reports whether the side is not in conflict.
func (g giving) sided() bool {
	return !g.disputed(g.path("side")) && (g.m.Side != nil || !g.disputed(g.planned("side")))
}

// place is where the needle went in: the giving's, else the injection's; nil when neither was recorded, or in conflict.
func (g giving) place() *chartv1.Place {
	if g.m.Place != nil || g.disputed(g.path("place")) {
		return g.m.Place
	}
	return g.injection.GetPlace()
}

// depth is as place.
func (g giving) depth() *chartv1.Depth {
	if g.m.Depth != nil || g.disputed(g.path("depth")) {
		return g.m.Depth
	}
	return g.injection.GetDepth()
}

// effective is when it was given: the moment, else the day of the visit, which is recorded apart from it.
func (g giving) effective() string {
	return cmp.Or(momentText(g.m.GetDone().GetAt()), dateText(g.visit.m.GetOn()))
}

// status says whether the giving counts. A voided session voids its givings.
func (g giving) status() string {
	if void := g.m.GetVoid(); void != nil {
		return counts("", void, false)
	}
	if g.visit.m.Void != nil {
		return counts("", g.visit.m.Void, false)
	}
	return counts("completed", nil, g.disputed(g.path("void"), "void"))
}

// givings makes a MedicationAdministration of each giving.
func (b *builder) givings(v visit) []*administration {
	var out []*administration
	for _, g := range eachGiving(v) {
		switch {
		case g.m.GetGiven().GetDose() == nil:
			b.leave(v.entry, g.path("given"), missing(g.disputed(g.path("given"))), "warning", "What was given is left out: it has no one dose.")
		case g.effective() == "":
			b.leave(v.entry, g.path("done"), missing(g.disputed(g.path("done"), "on")), "warning", "What was given is left out: it has no one time.")
		default:
			a := b.administration(g)
			b.add(a)
			out = append(out, a)
		}
	}
	return out
}

func (b *builder) administration(g giving) *administration {
	dose, path := g.m.GetGiven().GetDose(), g.visit.text()+"/"+g.path()
	out := &administration{
		header: header{ResourceType: "MedicationAdministration", ID: derivedID(path)}, Identifier: pathIdentifier(path),
		PartOf: []*reference{b.procedureRef(g.visit)}, Status: g.status(), Subject: b.patientRef(g.visit.m.GetPatientId()),
		Context: b.sessionRef(g.visit.id), Effective: g.effective(), Request: b.requestOf(g.visit, dose.GetProduct()),
	}
	out.Concept, out.Reference = b.medicationOf(g)
	if r := b.staffRef(g.m.GetDone().GetBy()); r != nil {
		out.Performer = []performer{{ownConcept("participation", "injector", ""), r}}
	}
	if r := b.staffRef(g.m.GetRecordedBy()); r != nil {
		out.extend(pointed(own+"recorded-by", r))
	}
	out.Dosage = administered{Dose: units(int64(dose.GetDoseMilliunits())), Route: route(g.depth())}
	if g.sided() && g.injection.Muscle != nil {
		out.Dosage.Site = site(g.injection.GetMuscle(), g.side())
	}
	out.Dosage.Text = dosageText(g, out.Dosage)
	out.extend(placeExtension(g.place()), depthExtension(g.depth()), b.sourceExtension(g), b.spillExtension(g.m.GetSpill()))
	if p := g.injection.GetPlanned(); p != nil {
		out.extend(nested("planned", said("product", p.GetProduct()), measured("dose", units(int64(p.GetDoseMilliunits())))))
	}
	for _, void := range []*recordv1.Void{g.m.GetVoid(), g.visit.m.GetVoid()} {
		if void != nil {
			out.Note = append(out.Note, b.voidNote(void))
		}
	}
	return out
}

// dosageText is the dose for people: product first, then dose, place and layer. "units" is spelled out and stands a no-break space after its number.
func dosageText(g giving, d administered) string {
	dose := g.m.GetGiven().GetDose()
	parts := []string{dose.GetProduct() + " " + string(d.Dose.Value) + "\u00a0units"}
	if d.Site != nil {
		parts = append(parts, d.Site.Text)
	}
	if d.Route != nil {
		parts = append(parts, d.Route.Text)
	}
	return strings.TrimSpace(strings.Join(parts, ", "))
}

// medicationOf is the Medication of the vial when the vial is in the export and holds the product that was given; else the product alone.
func (b *builder) medicationOf(g giving) (*concept, *reference) {
	given := g.m.GetGiven()
	if v, ok := b.vial(given.GetVialId()); ok && !b.practice(v.entry) && v.m.GetPresentation().GetProduct() == given.GetDose().GetProduct() {
		return nil, b.vialRef(v.id)
	}
	return product(cmp.Or(given.GetDose().GetProduct(), "unknown")), nil
}

// requestOf is the MedicationRequest that permits a product in a session, when the session's order has exactly one for it.
func (b *builder) requestOf(v visit, product string) *reference {
	id := v.m.GetOrderId()
	o, ok := find[*chartv1.Order](b.Export, optionsv1.RecordKind_RECORD_KIND_ORDER, id)
	if !ok || o.m.GetPatientId() != v.m.GetPatientId() {
		return b.ref("MedicationRequest", id, key{optionsv1.RecordKind_RECORD_KIND_ORDER, id})
	}
	line := ""
	for _, l := range o.m.GetLines() {
		if l.GetLeave().GetProduct() == product && l.Withdrawn == nil {
			if line != "" {
				line = ""
				break
			}
			line = l.GetId()
		}
	}
	if line == "" {
		return b.ref("MedicationRequest", id, o.key)
	}
	return b.ref("MedicationRequest", requestID(o, line), o.key)
}

// route is the layer that the needle's tip was in.
func route(d *chartv1.Depth) *concept {
	return ownConcept("depth-layer", enumName(d.GetLayer().String(), "DEPTH_LAYER_"), "")
}

// placeExtension is where the needle went in, in a face frame (docs/anatomy.md).
func placeExtension(p *chartv1.Place) *extension {
	if p == nil {
		return nil
	}
	parts := []*extension{said("frame", p.GetFrame()), measured("x", millimetres(int64(p.GetXMicrometers()))), measured("y", millimetres(int64(p.GetYMicrometers())))}
	if s := p.GetScale(); s != nil {
		parts = append(parts, said("scale-measure", s.GetMeasure()), measured("scale", millimetres(int64(s.GetMeasuredMicrometers()))))
	}
	return nested("place", parts...)
}

func depthExtension(d *chartv1.Depth) *extension {
	if d == nil || d.Micrometers == nil {
		return nil
	}
	return measured(own+"depth", millimetres(int64(d.GetMicrometers())))
}

// sourceExtension is which vial, preparation, draw and syringe it came from and between which marks.
func (b *builder) sourceExtension(g giving) *extension {
	d := g.m.GetGiven()
	parts := []*extension{pointed("vial", b.vialRef(d.GetVialId())), said("preparation", d.GetPreparationId()), said("draw", d.GetDrawId()),
		said("syringe", d.GetSyringeId())}
	for _, v := range []struct {
		name string
		nl   *int64
	}{{"volume", d.VolumeNanoliters}, {"mark-before", d.MarkBeforeNanoliters}, {"mark-after", d.MarkAfterNanoliters}} {
		if v.nl != nil {
			parts = append(parts, measured(v.name, millilitres(*v.nl)))
		}
	}
	return nested("source", parts...)
}

// spillExtension is what did not reach the muscle. The dose given is not reduced by it: nobody knows by how much.
func (b *builder) spillExtension(s *chartv1.Spill) *extension {
	if s == nil {
		return nil
	}
	who, when := b.act(s.GetSeen())
	parts := []*extension{said("text", s.GetText()), pointed("seen-by", who), timed("seen-at", when)}
	if s.LostNanoliters != nil {
		parts = append(parts, measured("lost", millilitres(s.GetLostNanoliters())))
	} else {
		parts = append(parts, said("lost-unknown", "how much was lost is not known"))
	}
	return nested("spill", parts...)
}
