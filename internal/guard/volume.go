package guard

import (
	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// volumes judges the volume of each injection: whether the syringe can measure it, whether it agrees with the strength, and the limits of it.
func (c *checker) volumes() {
	anyLimit := false
	for k := range c.injections {
		i := &c.injections[k]
		mix, ok := c.mixOf(i)
		if !i.hasDose || !ok || string(mix.Product()) != i.product {
			continue
		}
		amount, err := dose.NewAmount(dose.Product(i.product), i.milliunits)
		if err != nil {
			continue
		}
		exact, err := mix.VolumeFor(amount)
		if err != nil {
			continue
		}
		graduation := c.graduation(i)
		c.measured(i, exact, graduation)
		c.agreed(i, exact, graduation)
		anyLimit = c.volumeLimits(i, exact) || anyLimit
	}
	if !anyLimit && len(c.named) > 0 {
		c.say(said{code: CodeVolumeUnset, about: []string{"injections"},
			text: "The greatest volume of one injection: no published figure; set by the medical lead. None was held for its volume."})
	}
}

// mixOf is the strength that an injection is measured with: that of its vial, or, while it is planned, of the only vial of its product.
func (c *checker) mixOf(i *injection) (dose.Concentration, bool) {
	if id, preparation := i.vialID(c.f.Session); id != "" {
		return c.strength(c.f.vial(id), preparation)
	}
	var only *chartv1.Vial
	for _, v := range c.f.Vials {
		if v.GetPresentation().GetProduct() != i.product {
			continue
		}
		if only != nil {
			return dose.Concentration{}, false
		}
		only = v
	}
	return c.strength(only, "")
}

// graduation is the smallest step of the syringe: that of the giving, else the finest of the visit's, else the finest that the clinic stocks, else the finest
// of the formulary. What even that cannot measure nothing can.
func (c *checker) graduation(i *injection) dose.Volume {
	var finest int64
	take := func(step int64) {
		if step > 0 && (finest == 0 || step < finest) {
			finest = step
		}
	}
	for _, s := range c.f.Session.GetSyringes() {
		if s.GetVoid() != nil {
			continue
		}
		if s.GetId() != "" && s.GetId() == i.giving.GetGiven().GetSyringeId() {
			return dose.Volume(s.GetFilling().GetGraduationNanoliters())
		}
		take(s.GetFilling().GetGraduationNanoliters())
	}
	if finest == 0 {
		for _, s := range c.f.Clinic.GetSyringes() {
			if known, ok := c.e.Syringe(s.GetSyringeCode()); ok && s.GetEnded() == nil {
				take(known.GetGraduationNanoliters())
			}
		}
	}
	if finest == 0 {
		for _, s := range c.e.Syringes() {
			take(s.GetGraduationNanoliters())
		}
	}
	return dose.Volume(finest)
}

// measured holds what is at most half a step, and cautions what is less than one. What was given was measured.
func (c *checker) measured(i *injection, exact dose.ExactVolume, graduation dose.Volume) {
	if i.giving != nil || graduation <= 0 || exact.ML().Cmp(graduation.Exact().ML()) >= 0 {
		return
	}
	s := said{code: CodeSmall, about: []string{i.path}, figures: []string{"exact_ml", exact.Number().Decimal, "graduation_ml", graduation.Decimal()},
		text: c.name(i) + ", is " + exact.Display() + ", less than the " + graduation.Display() + " that the syringe is read to."}
	if half, err := dose.NewFraction(int64(graduation), 2*int64(dose.Millilitre)); err == nil && exact.ML().Cmp(half) <= 0 {
		s.code, s.text = CodeTooSmall, c.name(i)+", is "+exact.Display()+", and the syringe is read to "+graduation.Display()+": the plunger may not move."
	}
	c.say(s)
}

// agreed compares the volume that was given with the dose: within one step, since marks are rounded.
func (c *checker) agreed(i *injection, exact dose.ExactVolume, graduation dose.Volume) {
	given := i.giving.GetGiven()
	if given == nil || given.VolumeNanoliters == nil {
		return
	}
	volume := dose.Volume(given.GetVolumeNanoliters())
	difference, err := exact.ML().Sub(volume.Exact().ML())
	if err == nil && difference.Abs().Cmp(graduation.Exact().ML()) <= 0 {
		return
	}
	c.say(said{code: CodeConcentration, about: []string{i.path},
		figures: []string{"exact_ml", exact.Number().Decimal, "given_ml", mlDecimal(int64(volume))},
		text:    c.name(i) + ": the marks say " + mlText(int64(volume)) + ", and by the strength of the vial the dose is " + exact.Display() + "."})
}

// volumeLimits reports whether any limit speaks of the volume of such an injection.
func (c *checker) volumeLimits(i *injection, exact dose.ExactVolume) (any bool) {
	for _, l := range c.e.Limits(i.product) {
		if l.GetBasis() != formularyv1.DoseBasis_DOSE_BASIS_INJECTION || l.VolumeNanoliters == nil || l.Target != nil && !c.body.covers(l.GetTarget(),
			i.muscle) {
			continue
		}
		any = true
		most := dose.Volume(l.GetVolumeNanoliters())
		if exact.ML().Cmp(most.Exact().ML()) <= 0 {
			continue
		}
		c.say(said{code: CodeVolumeMost, level: l.GetLevel(), about: []string{i.path}, of: l.GetCode(), source: l.GetProvenance(),
			figures: []string{"exact_ml", exact.Number().Decimal, "most_ml", most.Decimal()},
			text:    c.name(i) + ", is " + exact.Display() + ", more than the " + most.Display() + " that one injection may be."})
	}
	return any
}
