package dose

import "strconv"

// MaxInjections is the most injections, given and to come, of one plan.
const MaxInjections = 1000

// Injection is one needle placement to be given.
type Injection struct {
	// Ref names it in the answer; not empty, and unique among the injections to come.
	Ref string
	// Muscle groups the injections whose sides belong in one syringe; empty for none.
	Muscle string
	Side   Side
	// Dose is more than zero, of the concentration's product.
	Dose Amount
}

// Given is an injection that was already given, from a preparation of the same concentration. What was given at another strength is not
// listed: its volumes say nothing about this one's.
type Given struct {
	// Ref names it in errors.
	Ref string
	// Muscle and Side are as in Injection.
	Muscle string
	Side   Side
	// Dose is what it was meant to be; more than zero.
	Dose Amount
	// Delivered is what the plunger's marks say it got.
	Delivered Volume
}

// Loss is what leaked or spilled. The zero value is nothing lost.
type Loss struct {
	// Unknown says that something was lost and nobody knows how much; Volume is then zero and means nothing.
	Unknown bool
	Volume  Volume
}

// InHand is a syringe that is already drawn and primed.
type InHand struct {
	// Reading is where its plunger stands now: a whole number of graduations, at most the capacity.
	Reading Volume
	// Lost is what left it without being given.
	Lost Loss
}

// Tolerance is how far a delivered dose may be from its plan before the answer says so. A nil limit is none stated: nothing is checked.
type Tolerance struct {
	// Injection is the limit for one injection, Side for the total of a side.
	Injection, Side *Percent
}

// DrawRequest is what PlanDraw reckons with. It is only read.
type DrawRequest struct {
	Concentration Concentration
	Syringe       Syringe
	// Injections are to be given in this order.
	Injections []Injection
	// Given were given before, in any order; nil for a fresh plan.
	Given []Given
	// InHand is the syringe to go on with; nil when every syringe is still to be drawn.
	InHand *InHand
	// Taken is what was taken from vials for this plan before now, as Supply.Taken of the plan that is replaced.
	Taken     Volume
	Tolerance Tolerance
}

// check returns the first thing wrong with the request.
func (r *DrawRequest) check() error {
	if !r.Concentration.Valid() {
		return &InputError{Field: "vial", Rule: RuleMissing}
	}
	if err := r.Syringe.check(); err != nil {
		return err
	}
	if len(r.Injections)+len(r.Given) > MaxInjections {
		return &InputError{Field: "doses", Rule: RuleTooMany, Read: strconv.Itoa(len(r.Injections) + len(r.Given))}
	}
	if !r.Taken.ok() {
		return &InputError{Field: "taken_ml", Rule: RuleRange, Read: r.Taken.Decimal()}
	}
	if err := r.checkInjections(); err != nil {
		return err
	}
	if err := r.checkGiven(); err != nil {
		return err
	}
	if err := r.checkInHand(); err != nil {
		return err
	}
	return r.checkTotals()
}

func (r *DrawRequest) checkInjections() error {
	seen := make(map[string]struct{}, len(r.Injections))
	for i := range r.Injections {
		in := &r.Injections[i]
		if in.Ref == "" {
			return &InputError{Field: field("doses", i, "ref"), Rule: RuleEmpty}
		}
		if _, twice := seen[in.Ref]; twice {
			return &InputError{Field: field("doses", i, "ref"), Rule: RuleUnique, Read: in.Ref}
		}
		seen[in.Ref] = struct{}{}
		if err := r.checkDose("doses", i, in.Side, in.Dose); err != nil {
			return err
		}
	}
	return nil
}

func (r *DrawRequest) checkGiven() error {
	for i := range r.Given {
		g := &r.Given[i]
		if err := r.checkDose("given", i, g.Side, g.Dose); err != nil {
			return err
		}
		if !g.Delivered.ok() {
			return &InputError{Field: field("given", i, "delivered_ml"), Rule: RuleRange, Read: g.Delivered.Decimal()}
		}
	}
	return nil
}

// checkDose is the door at which every dose of a plan is held against the plan's one product.
func (r *DrawRequest) checkDose(list string, i int, side Side, dose Amount) error {
	if side >= sideCount {
		return &InputError{Field: field(list, i, "side"), Rule: RuleOneOf, Read: strconv.Itoa(int(side))}
	}
	if want := r.Concentration.content.product; dose.product != want {
		return &MixedProductsError{Field: field(list, i, "dose_units"), Want: want, Got: dose.product}
	}
	if dose.milliunits == 0 {
		return &InputError{Field: field(list, i, "dose_units"), Rule: RulePositive, Read: dose.Decimal()}
	}
	return nil
}

func (r *DrawRequest) checkInHand() error {
	if r.InHand == nil {
		return nil
	}
	h := r.InHand
	switch {
	case h.Reading < 0 || h.Reading > r.Syringe.Capacity:
		return &InputError{Field: "in_hand.reading_ml", Rule: RuleRange, Read: h.Reading.Decimal()}
	case h.Reading%r.Syringe.Graduation != 0:
		return &InputError{Field: "in_hand.reading_ml", Rule: RuleGraduations, Read: h.Reading.Decimal()}
	case h.Lost.Unknown && h.Lost.Volume != 0:
		return &InputError{Field: "in_hand.lost_ml", Rule: RuleUnknownAmount, Read: h.Lost.Volume.Decimal()}
	case !h.Lost.Volume.ok():
		return &InputError{Field: "in_hand.lost_ml", Rule: RuleRange, Read: h.Lost.Volume.Decimal()}
	}
	return nil
}

// checkTotals bounds what all doses come to: at most MaxMilliunits, and at most MaxVolume of liquid, both as meant and as given so far.
// Rounding adds at most half a graduation a side, so all that is delivered is at most 4 x MaxVolume.
func (r *DrawRequest) checkTotals() error {
	var milliunits int64
	var delivered Volume
	for i := range r.Injections {
		milliunits += r.Injections[i].Dose.milliunits
	}
	for i := range r.Given {
		milliunits += r.Given[i].Dose.milliunits
		delivered += r.Given[i].Delivered
	}
	if milliunits > MaxMilliunits {
		return &InputError{Field: "doses", Rule: RuleTotal, Read: formatScaled(milliunits, UnitsDecimals) + " units"}
	}
	if delivered > MaxVolume {
		return &InputError{Field: "given", Rule: RuleTotal, Read: delivered.Decimal() + " mL"}
	}
	if volume := Volume(milliunits * int64(r.Concentration.volume) / r.Concentration.content.milliunits); volume > MaxVolume {
		return &InputError{Field: "doses", Rule: RuleTotal, Read: volume.Decimal() + " mL"}
	}
	return nil
}

func field(list string, i int, name string) string {
	return list + "[" + strconv.Itoa(i) + "]." + name
}
