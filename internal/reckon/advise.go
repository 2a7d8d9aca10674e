package reckon

import (
	"errors"
	"strings"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// AdviseDilution ranks the dilutions that a label states for this use or the lead adopted, and those only that the request names, each with each syringe, by
// how exactly they measure the plan. It answers a list with figures and never chooses. The request is only read. For errors see the package comment.
func AdviseDilution(e *formulary.Edition, r *dosev1.AdviseDilutionRequest) (*dosev1.AdviseDilutionResponse, error) {
	in := readAdvice(e, r)
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	response := &dosev1.AdviseDilutionResponse{Edition: used(e), Caution: Caution}
	mixes := in.mixes(response)
	advice, err := dose.Advise(in.request(mixes))
	if err != nil {
		return nil, refusal(err, nil)
	}
	response.OptionCount = int32(len(advice.Ranked))
	for rank, a := range advice.Ranked[:min(len(advice.Ranked), in.mostOptions)] {
		option, err := in.option(&mixes[a.Index/len(in.syringes)], a)
		if err != nil {
			return nil, refusal(err, nil)
		}
		option.Rank = int32(rank + 1)
		response.Options = append(response.Options, option)
	}
	in.leftOut(response, mixes, advice.LeftOut)
	response.Findings = in.findings(response)
	return response, nil
}

// offer is a mix that may be advised.
type offer struct {
	mixed
	standing formularyv1.DilutionStanding
	// from is the entry that it stands on; nil for one that only the request names.
	from *formularyv1.Dilution
}

// mixes lists what may be advised for the vials at hand, and writes down what may not.
func (in *adviceReader) mixes(response *dosev1.AdviseDilutionResponse) []offer {
	var offers []offer
	for _, content := range in.contents {
		before := len(offers) + len(response.Rejected)
		for _, vial := range in.vials(content) {
			o := offer{mixed: newMixed(in.edition, in.product, vial, "", in.market, in.use)}
			if o.stands(in.asked[vial.Diluent] && vial.Liquid == 0) {
				offers = append(offers, o)
				continue
			}
			response.Rejected = append(response.Rejected, o.rejected(o.whyNot()))
		}
		if len(offers)+len(response.Rejected) == before {
			response.Rejected = append(response.Rejected, &dosev1.RejectedDilution{ContentUnits: content.Decimal(),
				Reason: "The formulary states no dilution of this vial."})
		}
	}
	return offers
}

// vials lists how a content is mixed: as the formulary states it, then as only the request names it.
func (in *adviceReader) vials(content dose.Amount) []dose.Vial {
	var vials []dose.Vial
	seen := make(map[dose.Vial]bool)
	add := func(v dose.Vial) {
		if !seen[v] {
			seen[v] = true
			vials = append(vials, v)
		}
	}
	for _, d := range in.edition.DilutionsOf(string(in.product)) {
		switch {
		case int64(d.GetContentMilliunits()) != content.Milliunits() || !formulary.Holds(d.GetMarket(), in.market):
		case d.GetDiluentNanoliters() > 0:
			add(dose.Vial{Content: content, Diluent: dose.Volume(d.GetDiluentNanoliters())})
		default:
			for _, p := range in.edition.Presentations(string(in.product)) {
				if int64(p.GetContentMilliunits()) == content.Milliunits() && p.GetLiquidNanoliters() > 0 {
					add(dose.Vial{Content: content, Liquid: dose.Volume(p.GetLiquidNanoliters())})
				}
			}
		}
	}
	for _, diluent := range in.others {
		add(dose.Vial{Content: content, Diluent: diluent})
	}
	return vials
}

// stands says whether the mix may be advised, and on whose word. One that was only asked for stands on a publication or on nobody's word: what a label
// is said to state from memory is no labelled dilution.
func (o *offer) stands(asked bool) bool {
	for _, d := range o.stated {
		if o.isLabelled(d) && formulary.Clears(d.GetProvenance()) {
			o.standing, o.from = d.GetStanding(), d
			return true
		}
	}
	for _, d := range o.stated {
		if d.GetStanding() == formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED && d.GetUse() == o.use {
			o.standing, o.from = d.GetStanding(), d
			return true
		}
	}
	for _, d := range o.stated {
		if d.GetStanding() == formularyv1.DilutionStanding_DILUTION_STANDING_PUBLISHED {
			o.standing, o.from = d.GetStanding(), d
			return asked
		}
	}
	if len(o.stated) > 0 {
		o.from = o.stated[0]
	}
	return asked
}

// whyNot says why a mix that the formulary states is not advised.
func (o *offer) whyNot() string {
	const name = " Name its diluent in other_diluents_ml to have it ranked, marked so."
	for _, d := range o.stated {
		if o.isLabelled(d) {
			return "A label is said to state it for " + useText(o.use) + " use, a figure " + formulary.ObtainedText(d.GetProvenance().GetObtained()) +
				", which permits nothing." + name
		}
	}
	for _, d := range o.stated {
		switch d.GetStanding() {
		case formularyv1.DilutionStanding_DILUTION_STANDING_LABELLED:
			return "It is labelled for " + useText(d.GetUse()) + " use, not for " + useText(o.use) + "." + name
		case formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED:
			return "The lead adopted it for " + useText(d.GetUse()) + " use, not for " + useText(o.use) + "." + name
		}
	}
	return "It is published, and neither labelled for this use nor adopted by the lead." + name
}

func (o *offer) rejected(reason string) *dosev1.RejectedDilution {
	r := &dosev1.RejectedDilution{ContentUnits: o.vial.Content.Decimal(), Reason: reason}
	r.DiluentMl, r.LiquidMl = o.volumes()
	return r
}

// volumes are the diluent and the ready liquid, of which one is empty.
func (o *offer) volumes() (diluentML, liquidML string) {
	if o.vial.Liquid > 0 {
		return "", o.vial.Liquid.Decimal()
	}
	return o.vial.Diluent.Decimal(), ""
}

// request is every mix with every syringe; candidate i is mix i/len(syringes) with syringe i%len(syringes).
func (in *adviceReader) request(mixes []offer) dose.AdviceRequest {
	request := dose.AdviceRequest{Injections: in.injections, Most: in.most}
	for i := range mixes {
		for _, s := range in.syringes {
			request.Candidates = append(request.Candidates, dose.Candidate{Vial: mixes[i].vial, Syringe: s.Syringe})
		}
	}
	return request
}

func (in *adviceReader) option(o *offer, a dose.Advised) (*dosev1.DilutionOption, error) {
	concentration, err := concentrationOf(a.Merit.Concentration)
	if err != nil {
		return nil, err
	}
	findings, err := o.findings(a.Merit.Concentration)
	if err != nil {
		return nil, err
	}
	m := &a.Merit
	worst, apart, slip, left, greatest := m.WorstError.Number(), m.SideDifference.Number(), m.Slip.Number(), m.LeftOver.Number(), m.Greatest.Number()
	option := &dosev1.DilutionOption{
		ContentUnits: o.vial.Content.Decimal(), Concentration: concentration, Syringe: in.syringes[a.Index%len(in.syringes)].message(), Standing: o.standing,
		WorstErrorPercent: worst.Decimal, WorstErrorPercentFraction: optionalText(worst.Fraction), WorstRef: in.injections[m.Worst].Ref,
		SideDifferenceUnits: apart.Decimal, SideDifferenceUnitsFraction: optionalText(apart.Fraction),
		SlipUnits: slip.Decimal, SlipUnitsFraction: optionalText(slip.Fraction), SyringeCount: int32(m.Syringes), Vials: int32(m.Vials),
		LeftUnits: left.Decimal, LeftUnitsFraction: optionalText(left.Fraction),
		GreatestInjectionMl: greatest.Decimal, GreatestInjectionMlFraction: optionalText(greatest.Fraction),
	}
	option.DiluentMl, option.LiquidMl = o.volumes()
	if o.from != nil {
		option.Source = cite(in.edition, o.from.GetProvenance())
	}
	option.Findings = append(in.ofOption(a), findings...)
	return option, nil
}

// ofOption says what there is to say of an option beside what is said of its mix.
func (in *adviceReader) ofOption(a dose.Advised) []*dosev1.Finding {
	var found []*dosev1.Finding
	if nothing := a.Merit.DeliversNothing; len(nothing) > 0 {
		f := &dosev1.Finding{Code: CodeDeliversNothing, Level: formularyv1.Level_LEVEL_HOLD,
			Figures: map[string]string{"graduation_ml": a.Candidate.Syringe.Graduation.Decimal()}}
		for _, i := range nothing {
			f.About = append(f.About, in.injections[i].Ref)
		}
		f.Text = "Injection " + strings.Join(f.About, ", ") + " would deliver nothing: the syringe is read to " + a.Candidate.Syringe.Graduation.Display() + "."
		found = append(found, f)
	}
	if in.weak != nil {
		m := dose.Mark{Ref: in.injections[a.Merit.Largest].Ref, Exact: a.Merit.Greatest, Delivered: a.Merit.GreatestDelivered}
		found = append(found, aboveMost(m, dose.Volume(in.weak.GetVolumeNanoliters()), formularyv1.Level_LEVEL_NOTE, cite(in.edition, in.weak.GetProvenance()))...)
	}
	return found
}

// leftOut writes down what cannot draw the plan; a mix that is out with any syringe is named once.
func (in *adviceReader) leftOut(response *dosev1.AdviseDilutionResponse, mixes []offer, all []dose.LeftOut) {
	last := -1
	for _, l := range all {
		mix, syringe := l.Index/len(in.syringes), in.syringes[l.Index%len(in.syringes)]
		var large *dose.TooLargeError
		whole := errors.As(l.Err, &large) && large.Exact.ML().Cmp(large.Most.Exact().ML()) > 0
		if whole && mix == last {
			continue
		}
		r := mixes[mix].rejected(sentenceOf(l.Err))
		if whole {
			last = mix
		} else {
			r.Syringe = syringe.message()
		}
		response.Rejected = append(response.Rejected, r)
	}
}

// sentenceOf says why a candidate cannot draw the plan.
func sentenceOf(err error) string {
	var large *dose.TooLargeError
	var tight *dose.DoesNotFitError
	var input *dose.InputError
	switch {
	case errors.As(err, &large):
		return "Injection " + large.Ref + " is " + exactText(large.Exact) + " and delivers " + large.Delivered.Display() + ", more than the " +
			large.Most.Display() + " allowed."
	case errors.As(err, &tight):
		return "Injection " + tight.Ref + " needs " + tight.Needs.Display() + " with priming, and the syringe holds " + tight.Capacity.Display() + "."
	case errors.As(err, &input) && input.Field == "syringe.priming_ml":
		return "What is pushed out to prime is more than the syringe holds."
	case errors.As(err, &input) && input.Field == "syringe.dead_space_ml":
		return "What needles and syringe keep is more than the syringe holds."
	case errors.As(err, &input) && input.Rule == dose.RuleTotal:
		return "The plan is more than " + dose.MaxVolume.Display() + " of it."
	default:
		return "The figures do not let it be reckoned exactly."
	}
}

// exactText is a volume for people, with its fraction where it is rounded: by a limit the difference may be small.
func exactText(v dose.ExactVolume) string {
	if fraction := v.Number().Fraction; fraction != "" {
		return v.Display() + " (exactly " + fraction + " mL)"
	}
	return v.Display()
}

func (in *adviceReader) findings(response *dosev1.AdviseDilutionResponse) []*dosev1.Finding {
	var found []*dosev1.Finding
	if in.most == 0 {
		found = append(found, &dosev1.Finding{Code: CodeNoMostVolume, Level: formularyv1.Level_LEVEL_NOTE, About: []string{"most_ml_per_injection"},
			Text: "The greatest volume of an injection: no published figure; set by the medical lead. No dilution was left out for its volume."})
	}
	if response.OptionCount == 0 {
		found = append(found, &dosev1.Finding{Code: CodeNoOption, Level: formularyv1.Level_LEVEL_CAUTION, About: []string{"contents_units"},
			Text: "No dilution of these vials that a label states for " + useText(in.use) + " use, or that the medical lead adopted, draws this plan with these syringes."})
	}
	return found
}
