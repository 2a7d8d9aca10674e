package reckon

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
)

// The bounds of the schema.
const (
	mostDoses    = 200
	mostRefRunes = 64
)

// drawReader is what a request to draw up says, read.
type drawReader struct {
	reader
	market     string
	product    dose.Product
	vial       dose.Vial
	syringe    dose.Syringe
	injections []dose.Injection
	// most is the greatest volume of an injection that the request allows; zero when it names none.
	most dose.Volume
	// tolerance is what the standard allows the syringe, in words; empty when it is not known.
	tolerance string
	// needle is what the injection needle holds; nil when it is not known.
	needle *dose.Volume
	// injectionLimit and sideLimit are the lead's limits that the request carries; nil where it names none.
	injectionLimit, sideLimit *dose.Percent
}

func readDraw(e *formulary.Edition, r *dosev1.PlanDrawRequest) *drawReader {
	in := &drawReader{reader: reader{edition: e}}
	in.product = in.reader.product(r.GetProduct())
	in.vial = in.reader.vial(in.product, r.GetVial())
	in.market = in.choice(r.GetFormulary())
	in.readSyringe(r)
	in.injections = in.doses(in.product, r.GetDoses())
	if r.MostMlPerInjection != nil {
		in.most = in.volume("most_ml_per_injection", r.GetMostMlPerInjection())
		in.moreThanZero("most_ml_per_injection", r.GetMostMlPerInjection())
	}
	if r.InjectionNeedleDeadSpaceMl != nil {
		needle := in.volume("injection_needle_dead_space_ml", r.GetInjectionNeedleDeadSpaceMl())
		in.needle = &needle
	}
	if t := r.GetTolerance(); t != nil {
		in.injectionLimit = in.percent("tolerance.injection_percent", t.InjectionPercent)
		in.sideLimit = in.percent("tolerance.side_difference_percent", t.SideDifferencePercent)
	}
	return in
}

// readSyringe reads the syringe with what its needles keep. Dead space of barrel and drawing needle are lost once for each syringe, so they add.
func (in *drawReader) readSyringe(r *dosev1.PlanDrawRequest) {
	needle := in.optional("needle_dead_space_ml", r.NeedleDeadSpaceMl, 0)
	priming := in.optional("priming_ml", r.PrimingMl, 0)
	if r.GetSyringe() == nil {
		in.refuse(badField, "syringe", "", "the syringe's capacity and graduation")
		return
	}
	in.syringe, in.tolerance = in.syringeType("syringe", r.GetSyringe())
	in.syringe.DeadSpace += needle
	in.syringe.Priming = priming
}

// syringeType reads a type of syringe, and what the standard allows it where the formulary says so.
func (in *reader) syringeType(field string, s *dosev1.SyringeType) (dose.Syringe, string) {
	syringe := dose.Syringe{
		Capacity:   in.volume(field+".capacity_ml", s.GetCapacityMl()),
		Graduation: in.volume(field+".graduation_ml", s.GetGraduationMl()),
	}
	if s != nil {
		syringe.DeadSpace = in.optional(field+".dead_space_ml", s.DeadSpaceMl, 0)
	}
	if s.GetInsulinScale() {
		syringe.MarkVolume = dose.Millilitre / 100
	}
	in.moreThanZero(field+".graduation_ml", s.GetGraduationMl())
	return syringe, in.matchSyringe(field, s, syringe)
}

// matchSyringe finds the syringe in the formulary: by its code, with which the request must agree, else by what it is.
func (in *reader) matchSyringe(field string, s *dosev1.SyringeType, read dose.Syringe) (tolerance string) {
	if s == nil || s.Code == nil {
		for _, known := range in.edition.Syringes() {
			if known.GetCapacityNanoliters() == int64(read.Capacity) && known.GetGraduationNanoliters() == int64(read.Graduation) &&
				known.GetInsulinScale() == s.GetInsulinScale() {
				return known.GetToleranceText()
			}
		}
		return ""
	}
	known, ok := in.edition.Syringe(s.GetCode())
	switch {
	case !ok:
		in.refuse(badField, field+".code", s.GetCode(), "a syringe of the formulary, or nothing")
	case known.GetCapacityNanoliters() != int64(read.Capacity):
		in.refuse(badField, field+".capacity_ml", s.GetCapacityMl(), dose.Volume(known.GetCapacityNanoliters()).Decimal()+", as the formulary's "+s.GetCode())
	case known.GetGraduationNanoliters() != int64(read.Graduation):
		in.refuse(badField, field+".graduation_ml", s.GetGraduationMl(),
			dose.Volume(known.GetGraduationNanoliters()).Decimal()+", as the formulary's "+s.GetCode())
	case known.GetInsulinScale() != s.GetInsulinScale():
		in.refuse(badField, field+".insulin_scale", strconv.FormatBool(s.GetInsulinScale()), "the other, as the formulary's "+s.GetCode())
	default:
		return known.GetToleranceText()
	}
	return ""
}

// doses reads the injections of a plan.
func (in *reader) doses(product dose.Product, doses []*dosev1.PlannedDose) []dose.Injection {
	var injections []dose.Injection
	if len(doses) == 0 || len(doses) > mostDoses {
		in.refuse(badField, "doses", strconv.Itoa(len(doses)), "1 to 200 injections")
		return nil
	}
	seen := make(map[string]bool, len(doses))
	for i, d := range doses {
		if ref := d.GetRef(); ref == "" || utf8.RuneCountInString(ref) > mostRefRunes {
			in.refuse(badField, indexed("doses", i, "ref"), ref, "a name of 1 to 64 characters")
		} else if seen[ref] {
			in.refuse(badField, indexed("doses", i, "ref"), ref, "a name that no other injection has")
		}
		seen[d.GetRef()] = true
		injection := dose.Injection{Ref: d.GetRef(), Dose: in.amount(indexed("doses", i, "dose_units"), product, d.GetDoseUnits()), Muscle: d.GetMuscle()}
		in.moreThanZero(indexed("doses", i, "dose_units"), d.GetDoseUnits())
		if d != nil {
			injection.Side = in.side(indexed("doses", i, "side"), d.Side)
		}
		if d.GetMuscle() != "" || (d != nil && d.Muscle != nil) {
			in.word(indexed("doses", i, "muscle"), d.GetMuscle())
		}
		injections = append(injections, injection)
	}
	return injections
}

// resume reads where a plan stands. What a side had comes as an exact volume, which must be that of a dose: a volume that was rounded is refused
// unless it happens to be one.
func (in *drawReader) resume(request *dose.DrawRequest, r *dosev1.DrawResumption) error {
	if r == nil {
		return nil
	}
	request.InHand = &dose.InHand{Reading: in.volume("resume.plunger_ml", r.GetPlungerMl())}
	if loss := r.GetLoss(); loss != nil {
		request.InHand.Lost = dose.Loss{Unknown: loss.LostMl == nil, Volume: in.optional("resume.loss.lost_ml", loss.LostMl, 0)}
	}
	seen := make(map[dose.Side]bool)
	for i, g := range r.GetGiven() {
		given := dose.Given{Ref: indexed("resume.given", i, "exact_ml"), Delivered: in.volume(indexed("resume.given", i, "delivered_ml"), g.GetDeliveredMl())}
		if g != nil {
			given.Side = in.side(indexed("resume.given", i, "side"), g.Side)
		}
		if seen[given.Side] {
			in.refuse(badField, indexed("resume.given", i, "side"), given.Side.String(), "each side only once")
		}
		seen[given.Side] = true
		given.Dose = in.givenDose(indexed("resume.given", i, "exact_ml"), g.GetExactMl(), request.Concentration)
		switch {
		case given.Dose.Milliunits() > 0:
			request.Given = append(request.Given, given)
		case given.Delivered != 0:
			in.refuse(badField, indexed("resume.given", i, "exact_ml"), g.GetExactMl(), "more than zero where something was delivered")
		}
	}
	return in.refused.Err()
}

// givenDose is the dose whose exact volume a text states, as a decimal or as a reduced fraction such as 7/120. Zero is nothing given.
func (in *drawReader) givenDose(field, text string, c dose.Concentration) dose.Amount {
	none := dose.Amount{}
	ml, ok := in.exactML(field, text)
	if !ok {
		return none
	}
	perML, err := c.UnitsIn(dose.Millilitre)
	if err != nil {
		in.refuse(noReckoning, field, text, "a volume whose dose can be reckoned")
		return none
	}
	units, err := ml.Mul(perML.Units())
	if err == nil && units.Sign() == 0 {
		return none
	}
	thousand, err2 := dose.NewFraction(1000, 1)
	if err := errors.Join(err, err2); err != nil {
		in.refuse(badQuantity, field, text, "a volume whose dose can be reckoned")
		return none
	}
	milliunits, err := units.Mul(thousand)
	if err != nil || milliunits.Den() != 1 {
		in.refuse(badQuantity, field, text, "the exact volume of doses of at most 3 decimals of a unit: where an answer has a fraction, the fraction")
		return none
	}
	amount, err := dose.NewAmount(c.Product(), milliunits.Num())
	if err != nil {
		in.refuse(badQuantity, field, text, "a volume of at most 100000 units")
	}
	return amount
}

// exactML reads "0.0583" or "7/120".
func (in *drawReader) exactML(field, text string) (dose.Fraction, bool) {
	num, den, isFraction := strings.Cut(text, "/")
	if !isFraction {
		before := len(in.refused)
		volume := in.volume(field, text)
		return volume.Exact().ML(), len(in.refused) == before
	}
	n, err := strconv.ParseInt(num, 10, 64)
	d, err2 := strconv.ParseInt(den, 10, 64)
	if errors.Join(err, err2) == nil && n >= 0 && d > 1 {
		if f, err := dose.NewFraction(n, d); err == nil && f.String() == text {
			return f, true
		}
	}
	in.refuse(badQuantity, field, text, "a decimal of mL or a reduced fraction, such as 7/120")
	return dose.Fraction{}, false
}

// drawRefusal says an error of the plan in the request's own names.
func (in *drawReader) drawRefusal(err error, r *dosev1.PlanDrawRequest) error {
	var large *dose.DoesNotFitError
	if errors.As(err, &large) {
		for i, d := range r.GetDoses() {
			if d.GetRef() == large.Ref {
				return fault.New(noReckoning, indexed("doses", i, "dose_units"), d.GetDoseUnits(),
					fmt.Sprintf("a dose that fits the syringe of %s mL: with priming it needs %s mL", large.Capacity.Decimal(), large.Needs.Decimal()))
			}
		}
	}
	return refusal(err, [][2]string{{"syringe.priming_ml", "priming_ml"}, {"in_hand.reading_ml", "resume.plunger_ml"},
		{"in_hand.lost_ml", "resume.loss.lost_ml"}, {"given", "resume.given"}})
}
