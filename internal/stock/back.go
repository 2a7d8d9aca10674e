package stock

import (
	"cmp"
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/dose"
	"needlebook/internal/visit"
)

// Had is one visit that had of a vial.
type Had struct {
	SessionID string `json:"session_id"`
	// PatientID and On are empty where the visit's record is not here.
	PatientID string `json:"patient_id"`
	On        string `json:"on"`
	// Drawn says that a syringe was drawn for it, Given that an injection names the vial, Pierced that its stopper was pierced for it.
	Drawn   bool `json:"drawn"`
	Given   bool `json:"given"`
	Pierced bool `json:"pierced"`
	// Sterile is false where a piercing for it was not with a new needle and a new syringe.
	Sterile bool `json:"sterile"`
}

// LookBack lists every visit that had of a vial or of a record linked to it: by draws, by piercings and by injections that name it, so that no patient is
// missed where one of the three was forgotten. What was voided counts too: someone thought of this vial. sessions are those that may be searched.
func LookBack(v *chartv1.Vial, all []*chartv1.Vial, sessions []*chartv1.Session) []Had {
	found := map[string]*Had{}
	at := func(id string) *Had {
		if found[id] == nil {
			found[id] = &Had{SessionID: id, Sterile: true}
		}
		return found[id]
	}
	ids := map[string]bool{}
	for _, x := range append([]*chartv1.Vial{v}, SameAs(v, all)...) {
		ids[x.GetId()] = true
		for _, d := range x.GetDraws() {
			if id := d.GetAmount().GetSessionId(); id != "" {
				at(id).Drawn = true
			}
		}
		for _, e := range x.GetEntries() {
			if id := e.GetPiercing().GetSessionId(); id != "" {
				at(id).Pierced = true
				at(id).Sterile = at(id).Sterile && (e.GetPiercing().GetSterile() || e.GetVoid() != nil)
			}
		}
	}
	for _, s := range sessions {
		for _, in := range s.GetInjections() {
			for _, g := range in.GetGivings() {
				if ids[g.GetGiven().GetVialId()] {
					at(s.GetId()).Given = true
				}
			}
		}
		if h := found[s.GetId()]; h != nil {
			h.PatientID, h.On = s.GetPatientId(), visit.DateText(s.GetOn())
		}
	}
	var out []Had
	for _, h := range found {
		out = append(out, *h)
	}
	slices.SortFunc(out, func(a, b Had) int {
		return cmp.Or(strings.Compare(a.On, b.On), strings.Compare(a.SessionID, b.SessionID))
	})
	return out
}

// SharedBy are the patients who had of a vial, ascending, each once.
func SharedBy(had []Had) (patients []string) {
	for _, h := range had {
		if h.PatientID != "" {
			patients = append(patients, h.PatientID)
		}
	}
	slices.Sort(patients)
	return slices.Compact(patients)
}

// VialLabel is what is stuck on a vial that was mixed: product, strength, who mixed it when, until when it may be used. Doses are written as safe practice
// wants them: units spelled out, a zero before the point, none behind the last digit.
func VialLabel(v *chartv1.Vial, names func(staff string) string) (string, error) {
	mix, id, err := visit.MixOf(v, "")
	if err != nil {
		return "", err
	}
	var lines []string
	if v.GetPractice() != nil {
		lines = append(lines, visit.PracticeWord+" - NO DRUG")
	}
	lines = append(lines, Title(v), mix.Display())
	for _, p := range Preparations(v) {
		if p.GetId() != id {
			continue
		}
		mixed := "Mixed " + p.GetMixed().GetAt().AsTime().UTC().Format("2006-01-02 15:04") + " UTC by " + names(p.GetMixed().GetBy())
		if p.GetChecked() != nil {
			mixed += ", checked by " + names(p.GetChecked().GetBy())
		}
		lines = append(lines, mixed)
		if u := p.GetUseBy(); u != nil {
			lines = append(lines, "Use by "+u.GetUntil().AsTime().UTC().Format("2006-01-02 15:04")+" UTC")
		} else {
			lines = append(lines, "Discard after this visit")
		}
	}
	return strings.Join(lines, "\n") + "\n", nil
}

// SyringeLabel is what is stuck on a syringe: product, what it holds, its strength, the vial and for whom. who is how the patient is named on it.
func SyringeLabel(v *chartv1.Vial, x *chartv1.SessionSyringe, who string) (string, error) {
	mix, _, err := visit.MixOf(v, x.GetFilling().GetPreparationId())
	if err != nil {
		return "", err
	}
	volume := dose.Volume(x.GetFilling().GetDrawnNanoliters())
	units, err := mix.UnitsIn(volume)
	if err != nil {
		return "", err
	}
	var lines []string
	if v.GetPractice() != nil {
		lines = append(lines, visit.PracticeWord+" - NO DRUG")
	}
	lines = append(lines, string(mix.Product()), units.Display()+" in "+volume.Display(), mix.Display(), "Vial: "+cmp.Or(v.GetShortNumber(),
		v.GetLabelling().GetSerial(), v.GetId())+", lot "+v.GetLabelling().GetLotNumber(), "For: "+who)
	return strings.Join(lines, "\n") + "\n", nil
}
