package reckon

import (
	"needlebook/internal/dose"

	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// optionalText is nil for an empty text: a fraction is there only when its decimal is rounded.
func optionalText(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// plain is a fraction as units and per cent are written: in full when it ends within 4 decimals, else rounded half-even to 4.
func plain(f dose.Fraction) dose.Number { return dose.NewPercent(f).Number() }

// millilitres is a volume, of at most dose.MaxVolume, as volumes are written: in full when it is a whole number of nanolitres.
func millilitres(f dose.Fraction) string {
	if nanolitres := int64(dose.Millilitre); nanolitres%f.Den() == 0 {
		return dose.Volume(f.Num() * (nanolitres / f.Den())).Decimal()
	}
	return plain(f).Decimal
}

func concentrationOf(c dose.Concentration) (*dosev1.Concentration, error) {
	perML, err := c.UnitsIn(dose.Millilitre)
	if err != nil {
		return nil, err
	}
	perTenth, err := c.UnitsIn(dose.Millilitre / 10)
	if err != nil {
		return nil, err
	}
	ml, tenth := perML.Number(), perTenth.Number()
	return &dosev1.Concentration{
		UnitsPerMl: ml.Decimal, UnitsPerMlFraction: optionalText(ml.Fraction),
		UnitsPerTenthMl: tenth.Decimal, UnitsPerTenthMlFraction: optionalText(tenth.Fraction),
	}, nil
}

func doseVolume(amount dose.Amount, exact dose.ExactVolume) *dosev1.DoseVolume {
	n := exact.Number()
	return &dosev1.DoseVolume{DoseUnits: amount.Decimal(), VolumeMl: n.Decimal, VolumeMlFraction: optionalText(n.Fraction)}
}

// percentOf is part as per cent of whole, which is more than zero.
func percentOf(part, whole dose.Fraction) (dose.Percent, error) {
	share, err := part.Div(whole)
	if err != nil {
		return dose.Percent{}, err
	}
	hundred, err := dose.NewFraction(100, 1)
	if err != nil {
		return dose.Percent{}, err
	}
	percent, err := share.Mul(hundred)
	return dose.NewPercent(percent), err
}
