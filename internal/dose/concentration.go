package dose

// Concentration is the exact pair (content, the volume it is in), never a rounded quotient. Both are more than zero. The zero value is
// invalid; Valid tells.
type Concentration struct {
	content Amount
	volume  Volume
}

// NewConcentration says that the content is in the volume. The error is an *InputError that names content_units or volume_ml.
func NewConcentration(content Amount, volume Volume) (Concentration, error) {
	if content.product == "" {
		return Concentration{}, &InputError{Field: "product", Rule: RuleMissing}
	}
	if content.milliunits == 0 {
		return Concentration{}, &InputError{Field: "content_units", Rule: RulePositive, Read: content.Decimal()}
	}
	if volume <= 0 {
		return Concentration{}, &InputError{Field: "volume_ml", Rule: RulePositive, Read: volume.Decimal()}
	}
	if !volume.ok() {
		return Concentration{}, &InputError{Field: "volume_ml", Rule: RuleRange, Read: volume.Decimal()}
	}
	return Concentration{content, volume}, nil
}

// Valid says whether the concentration was made by NewConcentration or Prepare.
func (c Concentration) Valid() bool { return c.volume > 0 }

// Product is what is dissolved.
func (c Concentration) Product() Product { return c.content.product }

// Content is the amount in the whole of Volume.
func (c Concentration) Content() Amount { return c.content }

// Volume is the volume that holds Content.
func (c Concentration) Volume() Volume { return c.volume }

// UnitsIn is the exact amount in v. The error is an *InputError for an invalid concentration or a volume outside 0 to MaxVolume, or
// ErrOverflow.
func (c Concentration) UnitsIn(v Volume) (ExactAmount, error) {
	if !c.Valid() {
		return ExactAmount{}, &InputError{Field: "vial", Rule: RuleMissing}
	}
	if !v.ok() {
		return ExactAmount{}, &InputError{Field: "volume_ml", Rule: RuleRange, Read: v.Decimal()}
	}
	units, err := ratio(false, uint64(v), uint64(c.content.milliunits), uint64(c.volume), milliunitsPerUnit)
	return ExactAmount{c.content.product, units}, err
}

// VolumeFor is the exact volume that holds the dose: dose x volume / content. The error is a *MixedProductsError, an *InputError for an
// invalid concentration, or ErrOverflow.
func (c Concentration) VolumeFor(dose Amount) (ExactVolume, error) {
	if !c.Valid() {
		return ExactVolume{}, &InputError{Field: "vial", Rule: RuleMissing}
	}
	if err := same(c.content.product, dose.product); err != nil {
		return ExactVolume{}, err
	}
	ml, err := ratio(false, uint64(dose.milliunits), uint64(c.volume), uint64(c.content.milliunits), uint64(Millilitre))
	return ExactVolume{ml}, err
}
