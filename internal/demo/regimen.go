package demo

import (
	"fmt"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
)

const (
	right   = chartv1.Side_SIDE_RIGHT
	left    = chartv1.Side_SIDE_LEFT
	midline = chartv1.Side_SIDE_MIDLINE
)

// point is one injection of a regimen: how many of them, in which muscle and on which side.
type point struct {
	muscle string
	side   chartv1.Side
	times  int
}

// regimen is an area treated in one way. How many units is in the formulary, under the code of a published dose range.
type regimen struct {
	name    string // as people say it
	product string
	region  string
	ranges  string // the code of the dose range
	points  []point
}

// Regimens by their names in this table.
const (
	frownLines   = "frown lines"
	crowsFeet    = "crow's feet"
	forehead     = "forehead"
	lipLines     = "lip lines"
	mouthCorners = "mouth corners"
)

func both(muscle string, times int) []point {
	return []point{{muscle, right, times}, {muscle, left, times}}
}

// regimens is what the clinics treat. The number of injections is that of the range that each row names.
func regimens() []regimen {
	frown := append([]point{{"procerus", midline, 1}}, both("corrugator_supercilii", 2)...)
	return []regimen{
		{frownLines, "onabotulinumtoxinA", "upper_face", "onabotulinumtoxina_us_glabella_total_label", frown},
		{crowsFeet, "onabotulinumtoxinA", "upper_face", "onabotulinumtoxina_us_lateral_canthus_side_label", both("orbicularis_oculi", 3)},
		{forehead, "onabotulinumtoxinA", "upper_face", "onabotulinumtoxina_us_forehead_total_label",
			append([]point{{"frontalis", midline, 1}}, both("frontalis", 2)...)},
		{lipLines, "onabotulinumtoxinA", "lower_face", "onabotulinumtoxina_orbicularis_oris_injection_quadrant", both("orbicularis_oris", 2)},
		{mouthCorners, "onabotulinumtoxinA", "lower_face", "onabotulinumtoxina_depressor_anguli_oris_side_three_point",
			both("depressor_anguli_oris", 3)},
		{frownLines, "abobotulinumtoxinA", "upper_face", "abobotulinumtoxina_us_glabella_total_label", frown},
		{mouthCorners, "abobotulinumtoxinA", "lower_face", "abobotulinumtoxina_depressor_anguli_oris_side_practice",
			both("depressor_anguli_oris", 2)},
		{frownLines, "incobotulinumtoxinA", "upper_face", "incobotulinumtoxina_eu_uk_glabella_total_label", frown},
		{crowsFeet, "incobotulinumtoxinA", "upper_face", "incobotulinumtoxina_eu_uk_lateral_canthus_side_label", both("orbicularis_oculi", 3)},
	}
}

// mixing is how the clinics mix a product: a presentation with a dilution of the formulary, by its code.
type mixing struct{ product, presentation, dilution string }

func mixings() []mixing {
	return []mixing{
		{"onabotulinumtoxinA", "onabotulinumtoxina_us_100", "onabotulinumtoxina_us_100_in_2_5_label"},
		{"abobotulinumtoxinA", "abobotulinumtoxina_us_300", "abobotulinumtoxina_us_300_in_1_5_label"},
		{"incobotulinumtoxinA", "incobotulinumtoxina_eu_uk_50", "incobotulinumtoxina_eu_uk_50_in_1_25_label"},
	}
}

// book is the formulary as the demo reads it: every figure is looked up by its code, so that one that is gone is an error and not a guess.
type book struct{ *formulary.Edition }

func (b book) doseRange(r regimen) (*formularyv1.DoseRange, error) {
	for _, d := range b.DoseRanges(r.product, "") {
		if d.GetCode() == r.ranges {
			return d, nil
		}
	}
	return nil, fmt.Errorf("formulary %s: no dose range %s", b.Version(), r.ranges)
}

func (b book) mix(product string) (mixing, *formularyv1.Dilution, error) {
	for _, m := range mixings() {
		for _, d := range b.DilutionsOf(m.product) {
			if m.product == product && d.GetCode() == m.dilution {
				return m, d, nil
			}
		}
	}
	return mixing{}, nil, fmt.Errorf("formulary %s: no dilution of %s", b.Version(), product)
}

// syringe is the type of syringe for a region: a fine scale where doses are small.
func (b book) syringe(region string) (*formularyv1.Syringe, error) {
	code := "general_1_by_0_01"
	if region == "lower_face" {
		code = "insulin_u100_0_3_by_0_005"
	}
	s, ok := b.Syringe(code)
	if !ok {
		return nil, fmt.Errorf("formulary %s: no syringe %s", b.Version(), code)
	}
	return s, nil
}

// planned is one injection with its dose.
type planned struct {
	muscle string
	side   chartv1.Side
	dose   dose.Amount
}

// perInjection is the lowest and the highest dose of one injection of a regimen, in milliunits, by the formulary.
func (b book) perInjection(r regimen) (lowest, highest int32, err error) {
	d, err := b.doseRange(r)
	if err != nil {
		return 0, 0, err
	}
	n := int32(1)
	switch d.GetBasis() {
	case formularyv1.DoseBasis_DOSE_BASIS_INJECTION:
	case formularyv1.DoseBasis_DOSE_BASIS_SIDE:
		n = int32(r.points[len(r.points)-1].times)
	case formularyv1.DoseBasis_DOSE_BASIS_TOTAL:
		n = 0
		for _, p := range r.points {
			n += int32(p.times)
		}
	default:
		return 0, 0, fmt.Errorf("dose range %s: its basis %s is not read", r.ranges, d.GetBasis())
	}
	return (d.GetLowestMilliunits() + n - 1) / n, d.GetHighestMilliunits() / n, nil
}

// halfUnit is the step in which doses are chosen, in milliunits.
const halfUnit = 500

// plan chooses the doses of regimens within their ranges, equal on both sides.
func (b book) plan(d *dice, rs []regimen) (out []planned, err error) {
	for _, r := range rs {
		lowest, highest, err := b.perInjection(r)
		if err != nil {
			return nil, err
		}
		milliunits := lowest + halfUnit*int32(d.between(0, int(highest-lowest)/halfUnit))
		a, err := dose.NewAmount(dose.Product(r.product), int64(milliunits))
		if err != nil {
			return nil, err
		}
		for _, p := range r.points {
			for range p.times {
				out = append(out, planned{p.muscle, p.side, a})
			}
		}
	}
	return out, nil
}

// find is the regimens of a product by their names.
func find(product string, names ...string) (out []regimen) {
	for _, r := range regimens() {
		for _, n := range names {
			if r.product == product && r.name == n {
				out = append(out, r)
			}
		}
	}
	return out
}
