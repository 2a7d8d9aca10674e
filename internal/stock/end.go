package stock

import (
	"slices"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/dose"
	"needlebook/internal/visit"
)

// Left is what is in a vial: its volume less what was drawn and wasted and counts. Known is false for a vial that was not mixed, was mixed twice, or of
// which something unknown was wasted; then Volume is what is known to be left at most. Same are the records of the same physical vial, whose draws count
// too.
type Left struct {
	Volume dose.Volume
	Known  bool
}

// LeftIn reckons what is left in a vial and the records that are linked to it.
func LeftIn(v *chartv1.Vial, same ...*chartv1.Vial) Left {
	total, ok := volumeOf(v)
	left := Left{Volume: total, Known: ok}
	for _, x := range append([]*chartv1.Vial{v}, same...) {
		for _, d := range x.GetDraws() {
			if d.GetVoid() == nil {
				left.Volume -= dose.Volume(d.GetAmount().GetVolumeNanoliters())
			}
		}
		for _, w := range x.GetWastes() {
			if w.GetVoid() == nil {
				left.Volume -= dose.Volume(w.GetAmount().GetVolumeNanoliters())
				left.Known = left.Known && w.GetAmount().VolumeNanoliters != nil
			}
		}
	}
	return left
}

// volumeOf is the volume that a vial was made with; ok is false where it is not one figure.
func volumeOf(v *chartv1.Vial) (dose.Volume, bool) {
	if v.GetPresentation().LiquidNanoliters != nil {
		return dose.Volume(v.GetPresentation().GetLiquidNanoliters()), true
	}
	made := Preparations(v)
	if len(made) != 1 {
		return 0, false
	}
	return dose.Volume(made[0].GetDiluent().GetVolumeNanoliters()), true
}

// WasteSome records what was thrown away of a vial or of a syringe from it: volume is nil where it is unknown. Where the clinic wants a witness one is
// needed, and never who threw it away.
func WasteSome(h visit.Hand, v *chartv1.Vial, clinic *chartv1.Clinic, volume *dose.Volume, reason, witness string) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	if err := witnessed(h, clinic, witness, "wastes.amount.witness_id"); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("wastes.amount.reason", "", "why")
	}
	w := &chartv1.WasteAmount{Reason: reason, Done: h.Act()}
	if witness != "" {
		w.WitnessId = &witness
	}
	if volume != nil {
		w.VolumeNanoliters = new(int64(*volume))
		if mix, _, err := visit.MixOf(v, ""); err == nil {
			if units, err := mix.UnitsIn(*volume); err == nil {
				w.DoseMilliunits = new(visit.Milliunits(units))
			}
		}
	}
	return &chartv1.Vial{Id: v.GetId(), Wastes: []*chartv1.Waste{{Id: h.NewID(), Amount: w}}}, nil
}

// witnessed refuses a missing witness where the clinic wants one, as it does while its policies are not known, and one who is the hand itself.
func witnessed(h visit.Hand, clinic *chartv1.Clinic, witness, field string) error {
	wanted := clinic.GetPolicies() == nil || clinic.GetPolicies().GetWasteWitness()
	switch {
	case witness == h.By && witness != "":
		return wrong(field, witness, "someone other than who throws it away")
	case wanted && witness == "":
		return wrong(field, "", "who watched: the clinic wants a witness")
	}
	return nil
}

// DiscardVial ends a vial: what is left is worked out and recorded as wasted before the same witness. A vial that has ended ends once.
func DiscardVial(h visit.Hand, v *chartv1.Vial, clinic *chartv1.Clinic, cause chartv1.DiscardCause, witness string, same ...*chartv1.Vial) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	switch {
	case v.GetDiscarded() != nil:
		return nil, wrong("discarded", "", "a vial that is not used up or gone already")
	case cause == chartv1.DiscardCause_DISCARD_CAUSE_UNSPECIFIED:
		return nil, wrong("discarded.cause", "", "how it ended: empty, leftover, past use-by, recalled, returned or lost")
	}
	left := LeftIn(v, same...)
	out := &chartv1.Vial{Id: v.GetId(), Discarded: &chartv1.Discard{Cause: cause, Done: h.Act()}}
	thrown := cause != chartv1.DiscardCause_DISCARD_CAUSE_EMPTY && cause != chartv1.DiscardCause_DISCARD_CAUSE_RETURNED
	if thrown || witness != "" {
		if err := witnessed(h, clinic, witness, "discarded.witness_id"); err != nil {
			return nil, err
		}
	}
	if witness != "" {
		out.Discarded.WitnessId = &witness
	}
	if left.Known {
		out.Discarded.LeftNanoliters = new(max(0, int64(left.Volume)))
	}
	if thrown && left.Known && left.Volume > 0 {
		part, err := WasteSome(h, v, clinic, &left.Volume, "left over when the vial was discarded", witness)
		if err != nil {
			return nil, err
		}
		out.Wastes = part.GetWastes()
	}
	return out, nil
}

// BlockVial says that a vial must not be used, and why.
func BlockVial(h visit.Hand, v *chartv1.Vial, reason string) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("blocked.reason", "", "why it must not be used")
	}
	return &chartv1.Vial{Id: v.GetId(), Blocked: &chartv1.Block{Reason: reason, Set: h.Act()}}, nil
}

// Link says that another record is of the same physical vial, and why: their draws count together. Both must be of one product, content and lot, and neither
// for practice where the other is real.
func Link(h visit.Hand, v, other *chartv1.Vial, reason string) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	a, b := v.GetPresentation(), other.GetPresentation()
	switch {
	case reason == "":
		return nil, wrong("same_vials.claim.reason", "", "why they are the same vial")
	case v.GetId() == other.GetId():
		return nil, wrong("same_vials.claim.vial_id", other.GetId(), "another record")
	case (v.GetPractice() != nil) != (other.GetPractice() != nil):
		return nil, wrong("same_vials.claim.vial_id", other.GetId(), "two real vials, or two for practice")
	case a.GetProduct() != b.GetProduct() || a.GetContentMilliunits() != b.GetContentMilliunits():
		return nil, wrong("same_vials.claim.vial_id", other.GetId(), "a vial of the same product and content")
	case slices.Contains(SameAs(v, []*chartv1.Vial{other}), other):
		return nil, wrong("same_vials.claim.vial_id", other.GetId(), "a record that is not linked to this one yet")
	}
	return &chartv1.Vial{Id: v.GetId(), SameVials: []*chartv1.SameVialLink{{Id: h.NewID(), Claim: &chartv1.SameVialClaim{
		VialId: other.GetId(), Reason: reason, Made: h.Act(),
	}}}}, nil
}

// Unlink undoes a link: they are two vials after all, and why.
func Unlink(h visit.Hand, v *chartv1.Vial, link, reason string) (*chartv1.Vial, error) {
	if err := clinical(h); err != nil {
		return nil, err
	}
	if reason == "" {
		return nil, wrong("same_vials.undone.reason", "", "why they are two vials")
	}
	for _, l := range v.GetSameVials() {
		if l.GetId() == link {
			return &chartv1.Vial{Id: v.GetId(), SameVials: []*chartv1.SameVialLink{{Id: link, Undone: voidOf(h, reason)}}}, nil
		}
	}
	return nil, notThere("same_vials", link)
}

// SameAs are the vials of all that are the same physical vial as v by links that hold, in either direction and through others, v left out.
func SameAs(v *chartv1.Vial, all []*chartv1.Vial) []*chartv1.Vial {
	byID := map[string]*chartv1.Vial{v.GetId(): v}
	for _, x := range all {
		byID[x.GetId()] = x
	}
	linked := map[string][]string{}
	for _, x := range byID {
		for _, l := range x.GetSameVials() {
			if other := l.GetClaim().GetVialId(); l.GetUndone() == nil && other != "" {
				linked[x.GetId()] = append(linked[x.GetId()], other)
				linked[other] = append(linked[other], x.GetId())
			}
		}
	}
	seen := map[string]bool{v.GetId(): true}
	for todo := []string{v.GetId()}; len(todo) > 0; todo = todo[1:] {
		for _, next := range linked[todo[0]] {
			if !seen[next] {
				seen[next] = true
				todo = append(todo, next)
			}
		}
	}
	var out []*chartv1.Vial
	for _, x := range all {
		if seen[x.GetId()] && x.GetId() != v.GetId() {
			out = append(out, x)
		}
	}
	return out
}
