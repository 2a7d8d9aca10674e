package guard

import (
	"slices"

	"needlebook/internal/anatomy"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// injection is one needle placement as it is judged: a giving, or what is planned where none counts.
type injection struct {
	of     *chartv1.Injection
	giving *chartv1.Giving // nil for one that is planned
	path   string
	muscle string
	known  bool // the anatomy holds the muscle
	about  anatomy.Muscle
	side   chartv1.Side
	place  *chartv1.Place
	depth  *chartv1.Depth
	// product and milliunits are the dose; hasDose is false where none was recorded, and then milliunits is zero.
	product    string
	milliunits int64
	hasDose    bool
}

// name is the injection in a sentence: product, dose, place.
func (c *checker) name(i *injection) string {
	if !i.hasDose {
		return c.body.sided(i.muscle, i.side)
	}
	return i.product + ", " + unitsText(i.product, i.milliunits) + ", " + c.body.sided(i.muscle, i.side)
}

// vialID and preparationID are where a dose came from, by the giving or by the syringe that it names.
func (i *injection) vialID(s *chartv1.Session) (vial, preparation string) {
	g := i.giving.GetGiven()
	if g.GetVialId() != "" {
		return g.GetVialId(), g.GetPreparationId()
	}
	for _, syringe := range s.GetSyringes() {
		if g.GetSyringeId() != "" && syringe.GetId() == g.GetSyringeId() {
			return syringe.GetFilling().GetVialId(), syringe.GetFilling().GetPreparationId()
		}
	}
	return "", ""
}

// readInjections lists what is given and planned. What was given of a voided injection was given; one without a dose stays, so that it is said.
func (c *checker) readInjections() {
	c.injections = make([]injection, 0, len(c.f.Session.GetInjections()))
	for _, in := range c.f.Session.GetInjections() {
		path := "injections[" + in.GetId() + "]"
		base := injection{of: in, muscle: in.GetMuscle(), side: in.GetSide(), place: in.GetPlace(), depth: in.GetDepth()}
		base.about, base.known = c.body.muscles[base.muscle]
		given := false
		for _, g := range in.GetGivings() {
			if g.GetVoid() == nil {
				given = true
				c.add(base.gave(g, path+".givings["+g.GetId()+"]"))
			}
		}
		if !given && in.GetVoid() == nil && (in.GetPlanned() != nil || len(in.GetGivings()) == 0) {
			base.path = path
			c.add(base.withDose(in.GetPlanned()))
		}
	}
}

func (c *checker) add(i injection) {
	c.injections = append(c.injections, i)
	if i.hasDose && !slices.Contains(c.named, i.product) {
		c.named = append(c.named, i.product)
	}
}

func (i injection) gave(g *chartv1.Giving, path string) injection {
	i.giving, i.path = g, path
	if g.GetSide() != chartv1.Side_SIDE_UNSPECIFIED {
		i.side = g.GetSide()
	}
	if g.GetPlace() != nil {
		i.place = g.GetPlace()
	}
	if g.GetDepth() != nil {
		i.depth = g.GetDepth()
	}
	return i.withDose(g.GetGiven().GetDose())
}

func (i injection) withDose(d *chartv1.Dose) injection {
	i.hasDose = d.GetProduct() != "" && d.GetDoseMilliunits() > 0
	if i.hasDose {
		i.product, i.milliunits = d.GetProduct(), int64(d.GetDoseMilliunits())
	}
	return i
}

// sum is the milliunits of a product in the injections that match.
func (c *checker) sum(product string, match func(*injection) bool) (total int64, n int) {
	for k := range c.injections {
		if i := &c.injections[k]; i.hasDose && i.product == product && match(i) {
			total += i.milliunits
			n++
		}
	}
	return total, n
}

// regions lists the regions of the injections, from above, each once; a muscle that nobody knows has none.
func (c *checker) regions() []anatomy.Region {
	var all []anatomy.Region
	for _, r := range anatomy.Regions() {
		if slices.ContainsFunc(c.injections, func(i injection) bool { return i.known && i.about.Region == r }) {
			all = append(all, r)
		}
	}
	return all
}

func counts(v *recordv1.Void) bool { return v == nil }
