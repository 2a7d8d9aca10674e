package stock

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/visit"
)

// Mixing is how a vial is mixed.
type Mixing struct {
	// Diluent is the kind, such as sodium_chloride_0_9_preservative_free, Volume how much of it was added.
	Diluent string
	Volume  dose.Volume
	// Lot, LotID and Expires are the diluent's; empty for what was not written down.
	Lot, LotID string
	Expires    *recordv1.Date
	Additive   string
	// AdviceCode is the dilution of the formulary that was followed; empty for none.
	AdviceCode string
	// CheckedBy is the staff id of who checked; empty for nobody.
	CheckedBy string
	// Clarity is how the solution looked; unspecified where nobody looked.
	Clarity chartv1.ClarityFinding
	// UseByHours is a use-by that the medical lead set, in hours; 0 takes the formulary's rule.
	UseByHours int
	Market     string
}

// Mix adds diluent to a vial: one preparation, with the piercing of its stopper and its use-by. A vial that was mixed before is mixed again only with again,
// which is a finding; a ready liquid takes none. Where no rule that may be relied on says how long it keeps there is no use-by, which means: discard after
// this visit.
func Mix(h visit.Hand, e *formulary.Edition, v *chartv1.Vial, m Mixing, again bool) (*chartv1.Vial, error) {
	if err := usable(h, v); err != nil {
		return nil, err
	}
	switch {
	case v.GetPresentation().LiquidNanoliters != nil:
		return nil, wrong("preparations", "", "a powder: a ready liquid takes no diluent")
	case m.Volume <= 0:
		return nil, wrong("preparations.diluent.volume_nanoliters", m.Volume.Decimal(), "more than 0 mL")
	case m.Diluent == "":
		return nil, wrong("preparations.diluent.kind", "", "the kind of diluent, such as sodium_chloride_0_9_preservative_free")
	case m.CheckedBy == h.By:
		return nil, wrong("preparations.checked", m.CheckedBy, "someone other than who mixes")
	case len(Preparations(v)) > 0 && !again:
		return nil, wrong("preparations", "", "a vial to which nothing was added yet; this one was mixed before")
	}
	p := &chartv1.Preparation{Id: h.NewID(), Mixed: h.Act(), Diluent: &chartv1.Diluent{
		Kind: m.Diluent, VolumeNanoliters: int64(m.Volume), LotNumber: m.Lot, ExpiresOn: m.Expires, Additive: m.Additive,
	}}
	if m.LotID != "" {
		p.Diluent.LotId = &m.LotID
	}
	if m.AdviceCode != "" {
		p.Diluent.AdviceCode = &m.AdviceCode
	}
	if m.CheckedBy != "" {
		p.Checked = &recordv1.Act{By: m.CheckedBy, At: h.Act().GetAt()}
	}
	if m.Clarity != 0 {
		p.Clarity = &chartv1.Clarity{Finding: m.Clarity, Seen: h.Act()}
	}
	p.UseBy = m.useBy(h, e, v.GetPresentation().GetProduct())
	return &chartv1.Vial{Id: v.GetId(), Preparations: []*chartv1.Preparation{p}, Entries: []*chartv1.VialEntry{{
		Id: h.NewID(), Piercing: &chartv1.Piercing{Sterile: true, Done: h.Act()},
	}}}, nil
}

// useBy is the lead's time, or the shortest that a rule of the formulary permits that may be relied on; nil where none does.
func (m Mixing) useBy(h visit.Hand, e *formulary.Edition, product string) *chartv1.UseBy {
	if m.UseByHours > 0 {
		until := h.At.Add(time.Duration(m.UseByHours) * time.Hour).Truncate(time.Millisecond)
		return &chartv1.UseBy{Until: timestamppb.New(until), Set: h.Act()}
	}
	var shortest *formularyv1.UseByRule
	for _, r := range e.UseByRules(product, m.Market) {
		if formulary.Clears(r.GetProvenance()) && (shortest == nil || r.GetSeconds() < shortest.GetSeconds()) {
			shortest = r
		}
	}
	if shortest == nil {
		return nil
	}
	sum := e.Sum()
	until := h.At.Add(time.Duration(shortest.GetSeconds()) * time.Second).Truncate(time.Millisecond)
	edition := &formularyv1.EditionReference{Version: e.Version(), Hash: sum[:]}
	if id := e.ID(); id != "" {
		edition.EditionId = &id
	}
	return &chartv1.UseBy{Until: timestamppb.New(until), RuleCode: new(shortest.GetCode()), Edition: edition, Set: h.Act()}
}

// usable refuses a hand that may not, and a vial that does not count, is used up or blocked.
func usable(h visit.Hand, v *chartv1.Vial) error {
	if err := clinical(h); err != nil {
		return err
	}
	switch {
	case v.GetVoid() != nil:
		return wrong("void", "", "a vial that counts")
	case v.GetDiscarded() != nil:
		return wrong("discarded", "", "a vial that is not used up or gone")
	case v.GetBlocked() != nil:
		return wrong("blocked", "", "a vial that may be used; this one is blocked")
	}
	return nil
}

// Preparations are the preparations of a vial that count.
func Preparations(v *chartv1.Vial) (out []*chartv1.Preparation) {
	for _, p := range v.GetPreparations() {
		if p.GetVoid() == nil && p.GetDiluent() != nil {
			out = append(out, p)
		}
	}
	return out
}

// CheckPreparation records that someone other than who mixed checked a preparation.
func CheckPreparation(h visit.Hand, v *chartv1.Vial, id string) (*chartv1.Vial, error) {
	if err := usable(h, v); err != nil {
		return nil, err
	}
	for _, p := range Preparations(v) {
		if p.GetId() == id && p.GetMixed().GetBy() == h.By {
			return nil, wrong("preparations["+id+"].checked", "", "someone other than who mixed it")
		}
		if p.GetId() == id {
			return &chartv1.Vial{Id: v.GetId(), Preparations: []*chartv1.Preparation{{Id: id, Checked: h.Act()}}}, nil
		}
	}
	return nil, notThere("preparations", id)
}
