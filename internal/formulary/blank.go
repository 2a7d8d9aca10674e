package formulary

import (
	"strings"

	"needlebook/internal/anatomy"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// NoFigure is what an answer says where nobody published a figure. A blank never permits.
const NoFigure = "no published figure; set by the medical lead"

// Blank is a figure that the edition does not have.
type Blank struct {
	// List is where the lead would set it.
	List string
	// About says what it is of.
	About string
}

// Blanks lists what the edition has no figure for, in the order of the schema's lists.
func (e *Edition) Blanks() []Blank {
	blanks := e.productBlanks("products", "the excipients of ", func(p *formularyv1.Product) bool { return len(p.GetExcipients()) > 0 })
	for _, d := range e.message.GetDilutions() {
		if d.GetValue().GetDiluent() == "unstated" {
			blanks = append(blanks, Blank{"dilutions", "the kind of diluent wherever it is unstated"})
			break
		}
	}
	blanks = append(blanks, e.productBlanks("use_by_rules", "use after mixing or opening of ", func(p *formularyv1.Product) bool {
		for _, r := range e.UseByRules(p.GetName(), "") {
			if Clears(r.GetProvenance()) {
				return true
			}
		}
		return false
	})...)
	for _, p := range e.Products() {
		blanks = append(blanks, e.doseBlanks(p.GetName())...)
	}
	if !e.limitsVolume() {
		blanks = append(blanks, Blank{"limits", "the greatest volume of an injection"})
	}
	blanks = append(blanks, e.productBlanks("interval_rules", "the interval of ", func(p *formularyv1.Product) bool {
		return len(e.IntervalRules(p.GetName(), "")) > 0
	})...)
	if len(e.TouchUpRules()) == 0 {
		blanks = append(blanks, Blank{"touch_up_rules", "the window inside which a touch-up belongs to its treatment"})
	}
	for _, s := range e.Syringes() {
		if s.DeadSpaceNanoliters == nil {
			blanks = append(blanks, Blank{"syringes", "the dead space of " + s.GetCode()})
		}
	}
	blanks = append(blanks, Blank{"syringes", "the dead space of needles: what a drawing needle keeps, and what an injection needle holds once it is primed"})
	return append(blanks, e.lateBlanks()...)
}

func (e *Edition) productBlanks(list, about string, has func(*formularyv1.Product) bool) []Blank {
	var blanks []Blank
	for _, p := range e.Products() {
		if !has(p) {
			blanks = append(blanks, Blank{list, about + p.GetName()})
		}
	}
	return blanks
}

// doseBlanks are the muscles that are treated and of which nobody published a dose of the product, in one blank.
func (e *Edition) doseBlanks(product string) []Blank {
	var muscles []string
	for _, m := range anatomy.Muscles() {
		known := !m.Target
		for _, d := range e.DoseRanges(product, "") {
			known = known || anatomy.Covers(d.GetTarget(), m.Code)
		}
		if !known {
			muscles = append(muscles, m.Name)
		}
	}
	if len(muscles) == 0 {
		return nil
	}
	return []Blank{{"dose_ranges", "doses of " + product + " in " + strings.Join(muscles, ", ")}}
}

func (e *Edition) limitsVolume() bool {
	for _, l := range e.message.GetLimits() {
		if l.GetValue().VolumeNanoliters != nil {
			return true
		}
	}
	return false
}

// lateBlanks are those of the lists behind the syringes.
func (e *Edition) lateBlanks() []Blank {
	var blanks []Blank
	if len(e.message.GetPhotoViews()) == 0 {
		blanks = append(blanks, Blank{"photo_views", "the standard views"})
	}
	if len(e.message.GetReviewRules()) == 0 {
		blanks = append(blanks, Blank{"review_rules", "when a treatment is reviewed"})
	}
	for _, r := range e.message.GetReviewRules() {
		if v := r.GetValue(); v.GetLatest().GetDays() == 0 && v.GetLatest().GetMonths() == 0 {
			blanks = append(blanks, Blank{"review_rules", "when a review by " + v.GetCode() + " is overdue"})
		}
	}
	if len(e.message.GetLiftRules()) == 0 {
		blanks = append(blanks, Blank{"lift_rules", "other rules of lifting than the guardrails' own"})
	}
	if _, ok := e.Tolerance(""); !ok {
		blanks = append(blanks, Blank{"tolerances", "how far a delivered dose may be from its plan"})
	}
	return blanks
}
