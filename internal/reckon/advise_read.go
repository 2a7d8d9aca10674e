package reckon

import (
	"strconv"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// The bounds of the schema.
const (
	mostContents   = 16
	mostSyringes   = 32
	mostDiluents   = 16
	mostOptions    = 100
	defaultOptions = 10
)

// stocked is a syringe at hand, with its entry of the formulary; the code is empty when it has none.
type stocked struct {
	dose.Syringe
	code string
}

func (s stocked) message() *dosev1.AdvisedSyringe {
	return &dosev1.AdvisedSyringe{CapacityMl: s.Capacity.Decimal(), GraduationMl: s.Graduation.Decimal(), InsulinScale: s.MarkVolume > 0, Code: s.code}
}

// adviceReader is what a request for advice says, read.
type adviceReader struct {
	reader
	product     dose.Product
	market, use string
	contents    []dose.Amount
	injections  []dose.Injection
	syringes    []stocked
	// others are the diluents that only the request names, asked the same as a set.
	others []dose.Volume
	asked  map[dose.Volume]bool
	// most is the greatest volume of an injection; zero when nobody set one. weak is a limit that is only remembered and leaves nothing out; nil for none.
	most        dose.Volume
	weak        *formularyv1.Limit
	mostOptions int
}

func readAdvice(e *formulary.Edition, r *dosev1.AdviseDilutionRequest) *adviceReader {
	in := &adviceReader{reader: reader{edition: e}, asked: make(map[dose.Volume]bool), mostOptions: int(r.GetMostOptions())}
	in.product = in.reader.product(r.GetProduct())
	in.market = in.choice(r.GetFormulary())
	in.use = in.reader.use(r.Use)
	in.readContents(r.GetContentsUnits())
	in.injections = in.doses(in.product, r.GetDoses())
	in.readSyringes(r)
	in.readDiluents(r.GetOtherDiluentsMl())
	in.readMost(r)
	if in.mostOptions == 0 {
		in.mostOptions = defaultOptions
	}
	if r.GetMostOptions() > mostOptions {
		in.refuse(badField, "most_options", strconv.FormatUint(uint64(r.GetMostOptions()), 10), "0 to 100")
	}
	return in
}

func (in *adviceReader) readContents(texts []string) {
	if len(texts) == 0 || len(texts) > mostContents {
		in.refuse(badField, "contents_units", strconv.Itoa(len(texts)), "the contents of 1 to 16 vials")
		return
	}
	seen := make(map[string]bool, len(texts))
	for i, text := range texts {
		field := "contents_units[" + strconv.Itoa(i) + "]"
		in.moreThanZero(field, text)
		if seen[text] {
			in.refuse(badField, field, text, "each content only once")
		}
		seen[text] = true
		in.contents = append(in.contents, in.amount(field, in.product, text))
	}
}

// readSyringes reads the syringes at hand, or takes those that the clinic stocks, or the formulary's.
func (in *adviceReader) readSyringes(r *dosev1.AdviseDilutionRequest) {
	needle := in.optional("needle_dead_space_ml", r.NeedleDeadSpaceMl, 0)
	priming := in.optional("priming_ml", r.PrimingMl, 0)
	if len(r.GetSyringes()) > mostSyringes {
		in.refuse(badField, "syringes", strconv.Itoa(len(r.GetSyringes())), "at most 32 syringes")
		return
	}
	for i, s := range r.GetSyringes() {
		field := "syringes[" + strconv.Itoa(i) + "]"
		syringe, _ := in.syringeType(field, s)
		in.checkSyringe(field, s, syringe)
		in.syringes = append(in.syringes, stocked{syringe, s.GetCode()})
	}
	if len(r.GetSyringes()) == 0 {
		for _, s := range in.edition.Stocked() {
			in.syringes = append(in.syringes, stockedOf(s))
		}
	}
	for i := range in.syringes {
		in.syringes[i].DeadSpace += needle
		in.syringes[i].Priming = priming
	}
}

// checkSyringe refuses a scale that nothing can be read on, which would else only be left out of the list.
func (in *adviceReader) checkSyringe(field string, s *dosev1.SyringeType, syringe dose.Syringe) {
	in.moreThanZero(field+".capacity_ml", s.GetCapacityMl())
	switch {
	case syringe.Capacity <= 0 || syringe.Graduation <= 0:
	case syringe.Graduation > syringe.Capacity:
		in.refuse(badQuantity, field+".graduation_ml", s.GetGraduationMl(), "at most the capacity")
	case syringe.Capacity%syringe.Graduation != 0:
		in.refuse(badQuantity, field+".capacity_ml", s.GetCapacityMl(), "a whole number of graduations")
	}
}

func stockedOf(s *formularyv1.Syringe) stocked {
	of := stocked{dose.Syringe{Capacity: dose.Volume(s.GetCapacityNanoliters()), Graduation: dose.Volume(s.GetGraduationNanoliters()),
		DeadSpace: dose.Volume(s.GetDeadSpaceNanoliters())}, s.GetCode()}
	if s.GetInsulinScale() {
		of.MarkVolume = dose.Millilitre / 100
	}
	return of
}

func (in *adviceReader) readDiluents(texts []string) {
	if len(texts) > mostDiluents {
		in.refuse(badField, "other_diluents_ml", strconv.Itoa(len(texts)), "at most 16 volumes")
		return
	}
	for i, text := range texts {
		field := "other_diluents_ml[" + strconv.Itoa(i) + "]"
		diluent := in.volume(field, text)
		in.moreThanZero(field, text)
		in.others = append(in.others, diluent)
		in.asked[diluent] = true
	}
}

// readMost takes the greatest volume of an injection from the request, else the least of the formulary's that may leave something out.
func (in *adviceReader) readMost(r *dosev1.AdviseDilutionRequest) {
	if r.MostMlPerInjection != nil {
		in.most = in.volume("most_ml_per_injection", r.GetMostMlPerInjection())
		in.moreThanZero("most_ml_per_injection", r.GetMostMlPerInjection())
		return
	}
	for _, l := range in.edition.Limits(string(in.product)) {
		volume := dose.Volume(l.GetVolumeNanoliters())
		switch {
		case !limitsVolume(l):
		case formulary.MostLevel(l.GetProvenance()) == formularyv1.Level_LEVEL_NOTE:
			if in.weak == nil || l.GetVolumeNanoliters() < in.weak.GetVolumeNanoliters() {
				in.weak = l
			}
		case in.most == 0 || volume < in.most:
			in.most = volume
		}
	}
}
