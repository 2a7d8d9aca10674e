package guard

import (
	"slices"

	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// products holds unknown and mixed products, and a dose from a vial of another product.
func (c *checker) products() {
	for _, product := range c.named {
		if _, ok := c.e.Product(product); !ok {
			c.say(said{code: CodeProductUnknown, about: []string{"injections"}, of: product, text: "The formulary does not hold the product " + product + "."})
		}
	}
	if len(c.named) > 1 {
		c.say(said{code: CodeProductMixed, about: []string{"injections"}, text: "This visit holds doses of " + listText(c.named) +
			". Units of one product are not units of another."})
	}
	for k := range c.injections {
		i := &c.injections[k]
		if !i.hasDose {
			c.say(said{code: CodeDoseMissing, about: []string{i.path}, text: "No dose is recorded: " + c.name(i) + "."})
			continue
		}
		id, _ := i.vialID(c.f.Session)
		if v := c.f.vial(id); v != nil && v.GetPresentation().GetProduct() != i.product {
			c.wrong(i.path, id, i.product, v)
		}
		if i.giving != nil && id == "" {
			c.say(said{code: CodeVialNotRecorded, about: []string{i.path}, text: c.name(i) + ": given, and no vial is recorded."})
		}
	}
}

func (c *checker) wrong(path, id, product string, v *chartv1.Vial) {
	text := "The vial holds " + v.GetPresentation().GetProduct() + ", and the dose is of " + product + "."
	if v.GetPresentation().GetProduct() == "" {
		text = "What the vial holds is not recorded, and the dose is of " + product + "."
	}
	c.say(said{code: CodeProductWrong, about: []string{path, vialKey(id)}, text: text})
}

func vialKey(id string) string { return keyOf(optionsv1.RecordKind_RECORD_KIND_VIAL, id) }

// vials judges each vial of the visit: those of the facts, and those that syringes and givings name.
func (c *checker) vials() {
	for _, id := range c.vialsNamed() {
		if c.f.vial(id) == nil {
			c.say(said{code: CodeVialUnknown, about: []string{vialKey(id)}, text: "The record of a vial that the dose is from is not known here."})
		}
	}
	if len(c.f.Vials) == 0 {
		c.say(said{code: CodeVialMissing, about: []string{"syringes"},
			text: "No vial is chosen for this visit, so lot, expiry, recall and strength were not checked."})
	}
	for _, v := range c.f.Vials {
		about := []string{vialKey(v.GetId())}
		c.vialStands(v, about)
		c.expiry(v, about)
		c.recall(v, about)
		c.sharing(v, about)
		c.content(v, about)
		c.preparation(v, about)
	}
	c.planned()
}

func (c *checker) vialsNamed() []string {
	var ids []string
	add := func(id string) {
		if id != "" && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	for _, s := range c.f.Session.GetSyringes() {
		if s.GetVoid() == nil {
			add(s.GetFilling().GetVialId())
		}
	}
	for k := range c.injections {
		id, _ := c.injections[k].vialID(c.f.Session)
		add(id)
	}
	return ids
}

// planned holds a product that is still to be given and that none of the vials holds, and says where a vial holds less than is to come.
func (c *checker) planned() {
	for _, product := range c.named {
		toGive, n := c.sum(product, func(i *injection) bool { return i.giving == nil })
		if n == 0 || len(c.f.Vials) == 0 {
			continue
		}
		var has, drawn int64
		found := false
		for _, v := range c.f.Vials {
			if v.GetPresentation().GetProduct() != product {
				continue
			}
			found = true
			has += int64(v.GetPresentation().GetContentMilliunits())
			for _, d := range v.GetDraws() {
				if d.GetVoid() == nil && d.GetAmount().GetSessionId() != c.f.Session.GetId() {
					drawn += int64(d.GetAmount().GetDoseMilliunits())
				}
			}
		}
		switch given, _ := c.sum(product, func(i *injection) bool { return i.giving != nil }); {
		case !found:
			c.say(said{code: CodeProductWrong, about: []string{"injections"}, of: product, text: "None of the vials holds " + product + ", of which " +
				unitsText(product, toGive) + " are planned."})
		case has-drawn < toGive+given:
			c.say(said{code: CodeOverdrawn, about: []string{"injections"}, of: product,
				figures: []string{"left_units", unitsDecimal(max(has-drawn, 0)), "needed_units", unitsDecimal(toGive + given)},
				text: product + ": " + unitsText(product, toGive+given) + " are needed and the vials hold " + unitsText(product, has-drawn) +
					" for this visit."})
		}
	}
}

func (c *checker) vialStands(v *chartv1.Vial, about []string) {
	if v.GetVoid() != nil {
		c.say(said{code: CodeVialVoid, about: about, text: "The record of the vial does not count."})
	}
	if v.GetDiscarded() != nil && !c.allGiven() {
		c.say(said{code: CodeVialDiscarded, about: about, text: "The vial is recorded as used up or gone."})
	}
	if v.GetBlocked() != nil {
		c.say(said{code: CodeVialBlocked, about: about, text: "The vial must not be used: " + v.GetBlocked().GetReason()})
	}
	if v.GetClinicId() != c.f.Session.GetClinicId() {
		c.say(said{code: CodeVialElsewhere, about: about, text: "The vial belongs to another clinic than this visit's, or to none."})
	}
}

// allGiven reports whether nothing is still to be given, so that a vial thrown away since says nothing.
func (c *checker) allGiven() bool {
	return !slices.ContainsFunc(c.injections, func(i injection) bool { return i.giving == nil })
}

// expiry takes the earliest of what the pack and the lot's records say.
func (c *checker) expiry(v *chartv1.Vial, about []string) {
	until, ok := dayOf(v.GetLabelling().GetExpiresOn())
	for _, lot := range c.lotsOf(v) {
		if day, known := dayOf(lot.GetExpiresOn()); known && (!ok || day < until) {
			until, ok = day, true
		}
	}
	switch {
	case !ok:
		c.say(said{code: CodeExpiryUnknown, about: about, text: "The last day on which the vial may be used is not recorded."})
	case c.day > until:
		c.say(said{code: CodeVialExpired, about: about, text: "The vial expired: its last day of use was " + until.String() + "."})
	}
}

func (c *checker) lotsOf(v *chartv1.Vial) []*chartv1.Lot {
	return c.f.lotsOf(v.GetLabelling().GetLotId(), v.GetPresentation().GetProduct(), v.GetLabelling().GetLotNumber())
}

func (c *checker) recall(v *chartv1.Vial, about []string) {
	c.recallAlike(v, about)
	for _, p := range v.GetPreparations() {
		if d := p.GetDiluent(); p.GetVoid() == nil && d != nil {
			c.recalled("The lot of the diluent, ", c.f.lotsOf(d.GetLotId(), "", d.GetLotNumber()), about)
		}
	}
	lots := c.lotsOf(v)
	if len(lots) == 0 {
		c.say(said{code: CodeLotUnknown, about: about, text: "The record of the vial's lot is not known here, so whether it was recalled was not checked."})
		return
	}
	c.recalled("The lot ", lots, about)
}

// recalled holds for each recall of these lots that was not lifted.
func (c *checker) recalled(the string, lots []*chartv1.Lot, about []string) {
	for _, lot := range lots {
		for _, r := range lot.GetRecalls() {
			if r.GetLifted() == nil {
				c.say(said{code: CodeRecalled, about: []string{about[0], keyOf(optionsv1.RecordKind_RECORD_KIND_LOT, lot.GetId())},
					of: r.GetId(), text: the + lot.GetIdentity().GetNumber() + " was recalled: " + r.GetNotice().GetReason()})
			}
		}
	}
}

// recallAlike cautions where a lot was recalled whose number only looks like the vial's: one of the two may have been mistyped.
func (c *checker) recallAlike(v *chartv1.Vial, about []string) {
	number, id := v.GetLabelling().GetLotNumber(), v.GetLabelling().GetLotId()
	for _, lot := range c.f.alike(v.GetPresentation().GetProduct(), number) {
		recalled := slices.ContainsFunc(lot.GetRecalls(), func(r *chartv1.LotRecall) bool { return r.GetLifted() == nil })
		if recalled && lot.GetId() != id {
			c.say(said{code: CodeRecalledAlike, about: []string{about[0], keyOf(optionsv1.RecordKind_RECORD_KIND_LOT, lot.GetId())},
				text: "A lot was recalled whose number looks like this vial's: " + lot.GetIdentity().GetNumber() + ", and the vial's is " + number +
					". Read the number on the vial again."})
		}
	}
}

// sharing looks for a visit that is none of this patient's and drew from the vial or pierced it. A visit that is not known here may be anybody's.
func (c *checker) sharing(v *chartv1.Vial, about []string) {
	other := slices.ContainsFunc(v.GetDraws(), func(d *chartv1.Draw) bool {
		return d.GetVoid() == nil && d.GetAmount() != nil && !c.f.ofPatient(d.GetAmount().GetSessionId())
	}) || slices.ContainsFunc(v.GetEntries(), func(e *chartv1.VialEntry) bool {
		return e.GetVoid() == nil && e.GetPiercing().GetSessionId() != "" && !c.f.ofPatient(e.GetPiercing().GetSessionId())
	})
	switch {
	case !other:
	case c.f.Clinic.GetPolicies().GetSharedVials():
		c.say(said{code: CodeVialSharedByRule, about: about, text: "The vial was used for another patient too, which the clinic's policies allow."})
	default:
		c.say(said{code: CodeVialShared, about: about,
			text: "The vial was used for another patient, or for a visit that is not known here. " +
				"The clinic's policies do not allow a second patient from one vial."})
	}
}

// content says where the formulary has no such vial.
func (c *checker) content(v *chartv1.Vial, about []string) {
	p := v.GetPresentation()
	for _, known := range c.e.Presentations(p.GetProduct()) {
		if known.GetContentMilliunits() == p.GetContentMilliunits() && known.GetLiquidNanoliters() == p.GetLiquidNanoliters() {
			return
		}
	}
	c.say(said{code: CodeContentUnknown, about: about, figures: []string{"content_units", unitsDecimal(int64(p.GetContentMilliunits()))},
		text: "The formulary has no vial of " + anyName(p.GetProduct()) + " with " + unitsText(p.GetProduct(), int64(p.GetContentMilliunits())) +
			". Check what is printed on it."})
}

func anyName(product string) string {
	if product == "" {
		return "a product that was not recorded"
	}
	return product
}

// strength is the concentration of a dose from a vial: exact, and false where it is not known.
func (c *checker) strength(v *chartv1.Vial, preparation string) (dose.Concentration, bool) {
	p := v.GetPresentation()
	volume := p.GetLiquidNanoliters()
	if !isLiquid(v) {
		prepared := preparationOf(v, preparation)
		if prepared == nil {
			return dose.Concentration{}, false
		}
		volume = prepared.GetDiluent().GetVolumeNanoliters()
	}
	content, err := dose.NewAmount(dose.Product(p.GetProduct()), int64(p.GetContentMilliunits()))
	if err != nil {
		return dose.Concentration{}, false
	}
	concentration, err := dose.NewConcentration(content, dose.Volume(volume))
	return concentration, err == nil
}

// isLiquid reports whether a vial is a ready liquid.
func isLiquid(v *chartv1.Vial) bool {
	p := v.GetPresentation()
	return p != nil && p.LiquidNanoliters != nil
}

// preparationOf is the preparation named, else the only one that counts; nil where neither is there.
func preparationOf(v *chartv1.Vial, id string) *chartv1.Preparation {
	var only *chartv1.Preparation
	n := 0
	for _, p := range v.GetPreparations() {
		if p.GetVoid() != nil {
			continue
		}
		if id != "" && p.GetId() == id {
			return p
		}
		only, n = p, n+1
	}
	if n == 1 && id == "" {
		return only
	}
	return nil
}
