package formulary

import (
	"slices"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// faces is the use that a clinic's adopted dilution is for.
const faces = "aesthetic"

// At is the edition as a clinic works with it: beside its own dilutions those that the clinic's lead adopted in the clinic's record, and of its syringes those
// that the clinic stocks, where the record says so. It is the same edition by version and hash. The clinic is only read; nil is no clinic.
func (e *Edition) At(c *chartv1.Clinic) *Edition {
	at := *e
	at.adopted, at.stocked = nil, nil
	for _, a := range c.GetAdoptedDilutions() {
		if d := a.GetDilution(); d != nil && a.GetEnded() == nil {
			at.adopted = append(at.adopted, &formularyv1.Dilution{
				Code: "adopted_here", Product: d.GetProduct(), ContentMilliunits: d.GetContentMilliunits(), DiluentNanoliters: d.GetDiluentNanoliters(),
				Diluent: d.GetDiluent(), Use: faces, Standing: formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED,
				Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: d.GetReason()},
			})
		}
	}
	for _, s := range c.GetSyringes() {
		if s.SyringeCode != nil && s.GetEnded() == nil {
			at.stocked = append(at.stocked, s.GetSyringeCode())
		}
	}
	return &at
}

// Stocked lists the types of syringe that the clinic of At stocks, in the edition's order; all of the edition's where the clinic names none that it has.
func (e *Edition) Stocked() []*formularyv1.Syringe {
	some := pick(e.message.GetSyringes(), func(s *formularyv1.Syringe) bool { return slices.Contains(e.stocked, s.GetCode()) })
	if len(some) == 0 {
		return e.Syringes()
	}
	return some
}

// adoptedHere is the clinic's adopted dilutions that match, as copies.
func (e *Edition) adoptedHere(match func(*formularyv1.Dilution) bool) (out []*formularyv1.Dilution) {
	for _, d := range e.adopted {
		if match(d) {
			out = append(out, proto.CloneOf(d))
		}
	}
	return out
}
