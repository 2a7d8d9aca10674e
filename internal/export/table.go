package export

import (
	"slices"
	"strconv"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// The columns of the tables, in their order (docs/export-csv.md). Columns are added at the end, never renamed or moved.
const (
	patientColumns = `patient_id full_name family_name given_name preferred_name former_name birth_date birth_proof sex language phone email street
		postal_code city country home_clinic_id home_clinic death_date identifiers alerts status void_reason voided_by_id voided_at in_conflict`
	sessionColumns = `session_id patient_id clinic_id clinic kind on parent_session_id order_id responsible_id responsible supervisor_id supervisor
		progress injections_given signatures review_from review_until status void_reason voided_by_id voided_at in_conflict`
	injectionColumns = `session_id patient_id on injection_id giving_id given_at product dose_units volume_ml muscle side frame x_mm y_mm depth_layer
		depth_mm vial_id lot_number expires_on preparation_id draw_id syringe_id mark_before_ml mark_after_ml spilled lost_ml planned_product
		planned_dose_units given_by_id given_by recorded_by_id status void_reason voided_by_id voided_at in_conflict`
	vialColumns = `vial_id short_number product content_units liquid_ml clinic_id clinic lot_number lot_id expires_on serial gtin received_at preparations
		diluent diluent_ml mixed_at mixed_by_id use_by discarded_at discard_cause left_ml block_reason status void_reason voided_by_id voided_at
		in_conflict`
	drawColumns = `draw_id vial_id session_id patient_id preparation_id syringe_id syringe_code product volume_ml dose_units drawn_at drawn_by_id
		drawn_by checked_by_id status void_reason voided_by_id voided_at in_conflict`
)

func (x *Export) patientRows() []row {
	var out []row
	for _, p := range x.people() {
		m, n, c := p.m, p.m.GetName(), p.m.GetContact()
		home, _ := x.clinic(m.GetHomeClinicId())
		r := row{
			"patient_id": p.id, "full_name": n.GetFull(), "family_name": n.GetFamily(), "given_name": n.GetGiven(), "preferred_name": n.GetPreferred(),
			"former_name": n.GetFormer(), "birth_date": dateText(m.GetBirth().GetDate()), "birth_proof": enumName(m.GetBirth().GetProof().String(), "BIRTH_PROOF_"),
			"sex": m.GetSex(), "language": m.GetLanguage(), "phone": c.GetPhone(), "email": c.GetEmail(), "street": c.GetStreet(),
			"postal_code": c.GetPostalCode(), "city": c.GetCity(), "country": c.GetCountry(), "home_clinic_id": m.GetHomeClinicId(),
			"home_clinic": home.m.GetName(), "death_date": dateText(m.GetDeath()), "status": counts("active", m.Void, p.disputed("void")),
			"in_conflict": p.conflicts(func(string) bool { return true }),
		}
		var numbers, alerts []string
		for _, i := range m.GetIdentifiers() {
			if i.Value != nil && i.Void == nil && !p.disputed(at("identifiers", i.GetId(), "void")) {
				numbers = append(numbers, i.GetValue().GetKind()+": "+i.GetValue().GetNumber())
			}
		}
		for _, a := range m.GetAlerts() {
			if a.Content != nil && a.Ended == nil && !p.disputed(at("alerts", a.GetId(), "ended")) {
				alerts = append(alerts, a.GetContent().GetText())
			}
		}
		r["identifiers"], r["alerts"] = strings.Join(numbers, "\n"), strings.Join(alerts, "\n")
		r.void(m.GetVoid())
		out = append(out, r)
	}
	return out
}

func (x *Export) sessionRows() []row {
	var out []row
	for _, v := range x.visits() {
		m := v.m
		clinic, _ := x.clinic(m.GetClinicId())
		r := row{
			"session_id": v.id, "patient_id": m.GetPatientId(), "clinic_id": m.GetClinicId(), "clinic": clinic.m.GetName(),
			"kind": enumName(m.GetKind().String(), "SESSION_KIND_"), "on": dateText(m.GetOn()), "parent_session_id": m.GetParent().GetSessionId(),
			"order_id": m.GetOrderId(), "responsible_id": m.GetResponsibleId(), "responsible": x.person(m.GetResponsibleId()),
			"supervisor_id": m.GetSupervisorId(), "supervisor": x.person(m.GetSupervisorId()), "progress": visitStatus(v),
			"signatures": strconv.Itoa(len(m.GetSignatures())), "review_from": dateText(m.GetReview().GetFrom()),
			"review_until": dateText(m.GetReview().GetUntil()), "status": counts("active", m.Void, v.disputed("void")),
		}
		givings, given := eachGiving(v), 0
		r["in_conflict"] = v.conflicts(func(path string) bool { // what no row of injections says
			return !strings.HasPrefix(path, "injections[") || !slices.ContainsFunc(givings, func(g giving) bool { return g.concerns(path) })
		})
		for _, g := range givings {
			if g.status() == "completed" {
				given++
			}
		}
		r["injections_given"] = strconv.Itoa(given)
		r.void(m.GetVoid())
		out = append(out, r)
	}
	return out
}

func (x *Export) injectionRows() []row {
	var out []row
	for _, v := range x.visits() {
		for _, g := range eachGiving(v) {
			r := g.row()
			vial, _ := x.vial(g.m.GetGiven().GetVialId())
			r["lot_number"], r["expires_on"] = vial.m.GetLabelling().GetLotNumber(), dateText(vial.m.GetLabelling().GetExpiresOn())
			r["given_by"] = x.person(g.m.GetDone().GetBy())
			out = append(out, r)
		}
	}
	return out
}

// row is a giving as far as its session tells.
func (g giving) row() row {
	m, given, session := g.m, g.m.GetGiven(), g.visit.m
	r := row{
		"session_id": g.id, "patient_id": session.GetPatientId(), "on": dateText(session.GetOn()), "injection_id": g.injection.GetId(),
		"giving_id": m.GetId(), "given_at": momentText(m.GetDone().GetAt()), "given_by_id": m.GetDone().GetBy(), "recorded_by_id": m.GetRecordedBy(),
		"product": given.GetDose().GetProduct(), "vial_id": given.GetVialId(),
		"preparation_id": given.GetPreparationId(), "draw_id": given.GetDrawId(), "syringe_id": given.GetSyringeId(), "muscle": g.injection.GetMuscle(),
		"status": g.status(), "depth_layer": enumName(g.depth().GetLayer().String(), "DEPTH_LAYER_"),
		"planned_product": g.injection.GetPlanned().GetProduct(),
		"in_conflict":     g.conflicts(g.concerns),
	}
	if given.GetDose() != nil {
		r["dose_units"] = decimal(int64(given.GetDose().GetDoseMilliunits()), unitPlaces)
	}
	if given != nil {
		r["volume_ml"], r["mark_before_ml"] = scaled(given.VolumeNanoliters, mlPlaces), scaled(given.MarkBeforeNanoliters, mlPlaces)
		r["mark_after_ml"] = scaled(given.MarkAfterNanoliters, mlPlaces)
	}
	if p := g.injection.GetPlanned(); p != nil {
		r["planned_dose_units"] = decimal(int64(p.GetDoseMilliunits()), unitPlaces)
	}
	if p := g.place(); p != nil {
		r["frame"], r["x_mm"], r["y_mm"] = p.GetFrame(), decimal(int64(p.GetXMicrometers()), mmPlaces), decimal(int64(p.GetYMicrometers()), mmPlaces)
	}
	if d := g.depth(); d != nil {
		r["depth_mm"] = scaled(d.Micrometers, mmPlaces)
	}
	if g.sided() {
		r["side"] = g.side()
	}
	if s := m.GetSpill(); s != nil {
		r["spilled"], r["lost_ml"] = "yes", scaled(s.LostNanoliters, mlPlaces)
	}
	r.void(m.GetVoid())
	if m.Void == nil {
		r.void(session.GetVoid())
	}
	return r
}

// concerns reports whether a path of the session bears on the row of a giving.
func (g giving) concerns(path string) bool {
	if rest, ok := strings.CutPrefix(path, at("injections", g.injection.GetId())+"."); ok {
		return !strings.HasPrefix(rest, "givings[") || strings.HasPrefix(path, g.path()+".")
	}
	return path == "patient_id" || path == "on" || path == "void"
}

// tracedVials is the vials that the scope holds: all, or those that something of the sessions came from. Practice vials hold no drug.
func (x *Export) tracedVials() []typed[*chartv1.Vial] {
	traced, visits := map[string]bool{}, map[string]bool{}
	for _, v := range x.visits() {
		visits[v.id] = true
		for _, g := range eachGiving(v) {
			traced[g.m.GetGiven().GetVialId()] = true
		}
	}
	var out []typed[*chartv1.Vial]
	for _, v := range of[*chartv1.Vial](x, optionsv1.RecordKind_RECORD_KIND_VIAL) {
		drawn := false
		for _, d := range v.m.GetDraws() {
			drawn = drawn || visits[d.GetAmount().GetSessionId()]
		}
		if !x.practice(v.entry) && (x.whole() || drawn || traced[v.id]) {
			out = append(out, v)
		}
	}
	return out
}

func (x *Export) vialRows() []row {
	var out []row
	for _, v := range x.tracedVials() {
		m, l := v.m, v.m.GetLabelling()
		clinic, _ := x.clinic(m.GetClinicId())
		r := row{
			"vial_id": v.id, "short_number": m.GetShortNumber(), "product": m.GetPresentation().GetProduct(), "clinic_id": m.GetClinicId(),
			"clinic": clinic.m.GetName(), "lot_number": l.GetLotNumber(), "lot_id": l.GetLotId(), "expires_on": dateText(l.GetExpiresOn()),
			"serial": l.GetSerial(), "gtin": l.GetGtin(), "received_at": momentText(m.GetReceipt().GetReceived().GetAt()),
			"discarded_at": momentText(m.GetDiscarded().GetDone().GetAt()), "discard_cause": enumName(m.GetDiscarded().GetCause().String(), "DISCARD_CAUSE_"),
			"block_reason": m.GetBlocked().GetReason(), "status": counts("active", m.Void, v.disputed("void")),
			"in_conflict": v.conflicts(func(path string) bool { return x.bears(v, path) }),
		}
		if p := m.GetPresentation(); p != nil {
			r["content_units"], r["liquid_ml"] = decimal(int64(p.GetContentMilliunits()), unitPlaces), scaled(p.LiquidNanoliters, mlPlaces)
		}
		if d := m.GetDiscarded(); d != nil {
			r["left_ml"] = scaled(d.LeftNanoliters, mlPlaces)
		}
		r.prepared(v)
		r.void(m.GetVoid())
		out = append(out, r)
	}
	return out
}

// bears reports whether a conflict of a vial is listed with it: what no row of draws says. With patients in the scope, what may be other people's is not.
func (x *Export) bears(v typed[*chartv1.Vial], path string) bool {
	if !x.whole() {
		return !strings.Contains(path, "[") || strings.HasPrefix(path, "preparations[")
	}
	return !slices.ContainsFunc(v.m.GetDraws(), func(d *chartv1.Draw) bool { return strings.HasPrefix(path, at("draws", d.GetId())+".") })
}

// prepared fills what was added to a vial: how many preparations count, and what the preparation was when there is one alone, settled.
func (r row) prepared(v typed[*chartv1.Vial]) {
	var count int
	var one *chartv1.Preparation
	for _, p := range v.m.GetPreparations() {
		if p.Void == nil {
			count++
			one = p
		}
	}
	r["preparations"] = strconv.Itoa(count)
	if count != 1 || one.GetDiluent() == nil || v.disputedWithin(at("preparations", one.GetId())) {
		return
	}
	r["diluent"], r["diluent_ml"] = one.GetDiluent().GetKind(), decimal(one.GetDiluent().GetVolumeNanoliters(), mlPlaces)
	r["mixed_at"], r["mixed_by_id"] = momentText(one.GetMixed().GetAt()), one.GetMixed().GetBy()
	r["use_by"] = momentText(one.GetUseBy().GetUntil())
}

// drawRows is the draws of the vials. With patients in the scope it is those for their sessions alone: the others are other people's.
func (x *Export) drawRows() []row {
	var out []row
	for _, v := range x.tracedVials() {
		for _, d := range v.m.GetDraws() {
			a, path := d.GetAmount(), at("draws", d.GetId())
			session, ok := find[*chartv1.Session](x, optionsv1.RecordKind_RECORD_KIND_SESSION, a.GetSessionId())
			if !x.whole() && (!ok || !x.covers(session.m.GetPatientId())) || ok && x.practice(session.entry) {
				continue
			}
			r := row{
				"draw_id": d.GetId(), "vial_id": v.id, "session_id": a.GetSessionId(), "patient_id": session.m.GetPatientId(),
				"preparation_id": a.GetPreparationId(), "syringe_id": a.GetSyringeId(), "syringe_code": a.GetSyringeCode(),
				"product": v.m.GetPresentation().GetProduct(), "drawn_at": momentText(d.GetDrawn().GetAt()), "drawn_by_id": d.GetDrawn().GetBy(),
				"drawn_by": x.person(d.GetDrawn().GetBy()), "checked_by_id": d.GetChecked().GetBy(), "status": drawStatus(v, d),
				"in_conflict": v.conflicts(func(p string) bool { return strings.HasPrefix(p, path+".") || p == "presentation" || p == "void" }),
			}
			if a != nil {
				r["volume_ml"], r["dose_units"] = decimal(a.GetVolumeNanoliters(), mlPlaces), decimal(int64(a.GetDoseMilliunits()), unitPlaces)
			}
			r.void(d.GetVoid())
			out = append(out, r)
		}
	}
	return out
}

// drawStatus says whether a draw counts.
func drawStatus(v typed[*chartv1.Vial], d *chartv1.Draw) string {
	switch {
	case d.Void != nil || v.m.Void != nil:
		return "entered-in-error"
	case v.disputed("void", at("draws", d.GetId(), "void")):
		return "unknown"
	}
	return "completed"
}
