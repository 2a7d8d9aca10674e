package formulary

import (
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// entry is what every list of an edition holds.
type entry[V any] interface {
	GetValue() V
}

// pick returns the values that match, in the edition's order.
func pick[V any, E entry[V]](entries []E, match func(V) bool) []V {
	var found []V
	for _, e := range entries {
		if v := e.GetValue(); match(v) {
			found = append(found, v)
		}
	}
	return found
}

func one[V any](found []V) (V, bool) {
	var none V
	if len(found) == 0 {
		return none, false
	}
	return found[0], true
}

// Product finds a product by its nonproprietary name.
func (e *Edition) Product(name string) (*formularyv1.Product, bool) {
	return one(pick(e.message.GetProducts(), func(p *formularyv1.Product) bool { return p.GetName() == name }))
}

// Products lists all products.
func (e *Edition) Products() []*formularyv1.Product {
	return pick(e.message.GetProducts(), func(*formularyv1.Product) bool { return true })
}

// Presentations lists the vial sizes of a product.
func (e *Edition) Presentations(product string) []*formularyv1.Presentation {
	return pick(e.message.GetPresentations(), func(p *formularyv1.Presentation) bool { return p.GetProduct() == product })
}

// Mix is a vial with its diluent, or a ready liquid with none. Content is in thousandths of a unit, volumes are in nanolitres.
type Mix struct {
	Product           string
	ContentMilliunits int64
	DiluentNanoliters int64
	LiquidNanoliters  int64
}

// Dilutions lists what is stated of exactly this mix, and what the clinic of At adopted. A ready liquid matches when the product has a presentation of this content and this volume.
func (e *Edition) Dilutions(mix Mix) []*formularyv1.Dilution {
	if mix.LiquidNanoliters != 0 && !e.hasLiquid(mix) {
		return nil
	}
	match := func(d *formularyv1.Dilution) bool {
		return d.GetProduct() == mix.Product && int64(d.GetContentMilliunits()) == mix.ContentMilliunits &&
			d.GetDiluentNanoliters() == mix.DiluentNanoliters
	}
	return append(pick(e.message.GetDilutions(), match), e.adoptedHere(match)...)
}

func (e *Edition) hasLiquid(mix Mix) bool {
	for _, p := range e.Presentations(mix.Product) {
		if int64(p.GetContentMilliunits()) == mix.ContentMilliunits && p.GetLiquidNanoliters() == mix.LiquidNanoliters {
			return true
		}
	}
	return false
}

// DilutionsOf lists every dilution of a product, of any standing and use.
func (e *Edition) DilutionsOf(product string) []*formularyv1.Dilution {
	match := func(d *formularyv1.Dilution) bool { return d.GetProduct() == product }
	return append(pick(e.message.GetDilutions(), match), e.adoptedHere(match)...)
}

// UseByRules lists how long a product may be used after mixing or opening, in the market asked for; empty asks for all.
func (e *Edition) UseByRules(product, market string) []*formularyv1.UseByRule {
	return pick(e.message.GetUseByRules(), func(r *formularyv1.UseByRule) bool {
		return r.GetProduct() == product && Holds(r.GetMarket(), market)
	})
}

// Syringe finds a type of syringe by its code.
func (e *Edition) Syringe(code string) (*formularyv1.Syringe, bool) {
	return one(pick(e.message.GetSyringes(), func(s *formularyv1.Syringe) bool { return s.GetCode() == code }))
}

// Syringes lists all types of syringe.
func (e *Edition) Syringes() []*formularyv1.Syringe {
	return pick(e.message.GetSyringes(), func(*formularyv1.Syringe) bool { return true })
}

// Tolerance finds how far a delivered dose may be from its plan: the entry of the target, else the one for the whole face. The built-in edition has
// none, since nobody published one.
func (e *Edition) Tolerance(target string) (*formularyv1.Tolerance, bool) {
	if target != "" {
		if t, ok := one(pick(e.message.GetTolerances(), func(t *formularyv1.Tolerance) bool { return t.Target != nil && t.GetTarget() == target })); ok {
			return t, true
		}
	}
	return one(pick(e.message.GetTolerances(), func(t *formularyv1.Tolerance) bool { return t.Target == nil }))
}

// Limits lists the ceilings that hold for a product, those for any product among them.
func (e *Edition) Limits(product string) []*formularyv1.Limit {
	return pick(e.message.GetLimits(), func(l *formularyv1.Limit) bool { return l.Product == nil || l.GetProduct() == product })
}

// DoseRanges lists the labelled and published doses of a product, in the market asked for; empty asks for all.
func (e *Edition) DoseRanges(product, market string) []*formularyv1.DoseRange {
	return pick(e.message.GetDoseRanges(), func(d *formularyv1.DoseRange) bool {
		return d.GetProduct() == product && Holds(d.GetMarket(), market)
	})
}

// IntervalRules lists the least times between treatments that hold after a product, those for any product among them.
func (e *Edition) IntervalRules(product, market string) []*formularyv1.IntervalRule {
	return pick(e.message.GetIntervalRules(), func(r *formularyv1.IntervalRule) bool {
		return (r.Product == nil || r.GetProduct() == product) && Holds(r.GetMarket(), market)
	})
}

// Source finds a publication by the code with which figures cite it.
func (e *Edition) Source(code string) (*formularyv1.Source, bool) {
	return one(pick(e.message.GetSources(), func(s *formularyv1.Source) bool { return s.GetCode() == code }))
}

// TouchUpRules lists the windows inside which a touch-up belongs to its parent. The built-in edition has none, since nobody published one.
func (e *Edition) TouchUpRules() []*formularyv1.TouchUpRule {
	return pick(e.message.GetTouchUpRules(), func(*formularyv1.TouchUpRule) bool { return true })
}

// RatioBands lists the published ratios between units of two products, whichever of the two a band names first.
func (e *Edition) RatioBands(a, b string) []*formularyv1.RatioBand {
	return pick(e.message.GetRatioBands(), func(r *formularyv1.RatioBand) bool {
		return r.GetProduct() == a && r.GetOtherProduct() == b || r.GetProduct() == b && r.GetOtherProduct() == a
	})
}

// IntervalRulesAfter lists the least times that count from a treatment with a product, in the market asked for; empty asks for all markets. A product that
// nobody knows, which is empty, may be any: then all rules count.
func (e *Edition) IntervalRulesAfter(had, market string) []*formularyv1.IntervalRule {
	return pick(e.message.GetIntervalRules(), func(r *formularyv1.IntervalRule) bool {
		from := r.OtherProduct
		if from == nil {
			from = r.Product
		}
		return (had == "" || from == nil || *from == had) && Holds(r.GetMarket(), market)
	})
}
