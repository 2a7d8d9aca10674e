package dose

// Vial is what goes into a preparation: a powder to which a diluent is added, or a ready liquid to which none is.
type Vial struct {
	// Content is what the vial holds, more than zero.
	Content Amount
	// Diluent is the volume added to a powder; zero for a ready liquid.
	Diluent Volume
	// Liquid is the volume of a ready liquid; zero for a powder.
	Liquid Volume
}

// Prepared is what Prepare answers.
type Prepared struct {
	Concentration Concentration
	// PerML and PerTenthML are the exact amounts in 1 mL and in 0.1 mL.
	PerML, PerTenthML ExactAmount
	// PerGraduation is the exact amount in one graduation of the syringe that was asked about; zero when none was.
	PerGraduation ExactAmount
}

// Prepare makes a vial's concentration and says what is in 1 mL, in 0.1 mL and in one graduation (zero: none asked about). A vial without
// both or with both of diluent and liquid is an *InputError, as is anything outside its range.
func Prepare(vial Vial, graduation Volume) (Prepared, error) {
	volume, field := vial.Diluent, "vial.diluent_ml"
	if vial.Diluent == 0 {
		volume, field = vial.Liquid, "vial.liquid_ml"
	}
	if (vial.Diluent == 0) == (vial.Liquid == 0) {
		return Prepared{}, &InputError{Field: "vial.diluent_ml", Rule: RuleOneVolume, Read: vial.Diluent.Decimal() + " and " + vial.Liquid.Decimal()}
	}
	if volume < 0 || volume > MaxVolume {
		return Prepared{}, &InputError{Field: field, Rule: RuleRange, Read: volume.Decimal()}
	}
	if vial.Content.product != "" && vial.Content.milliunits == 0 {
		return Prepared{}, &InputError{Field: "vial.content_units", Rule: RulePositive, Read: vial.Content.Decimal()}
	}
	if graduation < 0 || graduation > MaxVolume {
		return Prepared{}, &InputError{Field: "syringe.graduation_ml", Rule: RuleRange, Read: graduation.Decimal()}
	}
	c, err := NewConcentration(vial.Content, volume)
	if err != nil {
		return Prepared{}, err
	}
	p := Prepared{Concentration: c}
	for _, ask := range []struct {
		in  Volume
		out *ExactAmount
	}{{Millilitre, &p.PerML}, {Millilitre / 10, &p.PerTenthML}, {graduation, &p.PerGraduation}} {
		if *ask.out, err = c.UnitsIn(ask.in); err != nil {
			return Prepared{}, err
		}
	}
	return p, nil
}

// Statement is a strength as a label prints it: so many units in so much volume. Both are more than zero.
type Statement struct {
	Units  Amount
	Volume Volume
}

// StatementCheck sets a printed statement beside the exact figures. Neither replaces the other: a label's rounding is shown, never used.
type StatementCheck struct {
	// Printed is the statement as given.
	Printed Statement
	// Exact is what the printed volume holds, ExactVolume the volume that holds the printed units.
	Exact       ExactAmount
	ExactVolume ExactVolume
	// Equal says whether the printed figure is the exact one.
	Equal bool
	// PrintedOver is by how much of the exact figure the printed one is more; negative when it is less.
	PrintedOver Percent
}

// Check compares a label's printed statement with the exact concentration. The error is a *MixedProductsError, an *InputError or
// ErrOverflow.
func (c Concentration) Check(printed Statement) (StatementCheck, error) {
	if printed.Volume <= 0 {
		return StatementCheck{}, &InputError{Field: "label.volume_ml", Rule: RulePositive, Read: printed.Volume.Decimal()}
	}
	if printed.Units.milliunits == 0 {
		return StatementCheck{}, &InputError{Field: "label.units", Rule: RulePositive, Read: printed.Units.Decimal()}
	}
	volume, err := c.VolumeFor(printed.Units)
	if err != nil {
		return StatementCheck{}, err
	}
	exact, err := c.UnitsIn(printed.Volume)
	if err != nil {
		return StatementCheck{}, err
	}
	over, err := relative(printed.Units.Exact().units, exact.units)
	if err != nil {
		return StatementCheck{}, err
	}
	return StatementCheck{Printed: printed, Exact: exact, ExactVolume: volume, Equal: over.value.Sign() == 0, PrintedOver: over}, nil
}

// relative is by how many per cent of want, which is not zero, got is more than want.
func relative(got, want Fraction) (Percent, error) {
	difference, err := got.Sub(want)
	if err != nil {
		return Percent{}, err
	}
	share, err := difference.Div(want)
	if err != nil {
		return Percent{}, err
	}
	percent, err := share.Mul(Fraction{num: 100})
	return Percent{percent}, err
}
