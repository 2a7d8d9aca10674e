package formulary

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// Problem is one thing that is wrong, or worth a look, in a clinic's edition.
type Problem struct {
	// List and Key name the entry; Key is empty for the edition as a whole, then List names its field.
	List, Key string
	// Field is the entry's field as the schema names it; empty for the entry as a whole.
	Field string
	// Text says what was read and what is wanted.
	Text string
	// Blocks is true when the edition cannot be published as it is; else a lead should look.
	Blocks bool
}

// String is one line: where, and what.
func (p Problem) String() string {
	where := p.List
	if p.Key != "" {
		where += " " + p.Key
	}
	if p.Field != "" {
		where += ", " + p.Field
	}
	return where + ": " + p.Text
}

// Check reads a clinic's edition against the edition that it derives from and against the anatomy, and names every problem that it finds: in the order of
// the schema's lists, then by entry. Bounds of single fields are the schema's and are not looked at here. An edition without a blocking problem derives
// without an error. Neither argument is changed or kept.
func Check(base *Edition, derived *formularyv1.FormularyEdition) []Problem {
	c := &checker{base: base, derived: derived, sources: map[string]formularyv1.Obtained{}, products: map[string]bool{}, fresh: map[string]bool{}}
	c.header()
	lists := entryLists()
	for _, list := range lists {
		c.keys(list)
	}
	c.learn()
	for _, list := range lists {
		entries := derived.ProtoReflect().Get(list).List()
		for i := range entries.Len() {
			if value := valueOf(entries.Get(i).Message()); value.IsValid() && !isRemoved(entries.Get(i).Message()) {
				c.value(string(list.Name()), value)
			}
		}
	}
	c.broken()
	c.zones()
	order := map[string]int{}
	for i, list := range lists {
		order[string(list.Name())] = i + 1
	}
	slices.SortStableFunc(c.problems, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(order[a.List], order[b.List]), strings.Compare(a.Key, b.Key))
	})
	return c.problems
}

// checker gathers problems. What stands once the edition is laid over its base is in merged, sources and products.
type checker struct {
	base     *Edition
	derived  *formularyv1.FormularyEdition
	merged   []placed
	sources  map[string]formularyv1.Obtained
	products map[string]bool
	// fresh holds the list/key of each entry that the edition brings itself.
	fresh    map[string]bool
	problems []Problem
}

// placed is an entry's value and where it stands.
type placed struct {
	list, key string
	value     protoreflect.Message
}

func (c *checker) blocks(list, key, field, format string, args ...any) {
	c.problems = append(c.problems, Problem{list, key, field, fmt.Sprintf(format, args...), true})
}

func (c *checker) remarks(list, key, field, format string, args ...any) {
	c.problems = append(c.problems, Problem{list, key, field, fmt.Sprintf(format, args...), false})
}

func (c *checker) header() {
	if c.derived.GetLabel() == "" {
		c.blocks("label", "", "", "is empty, want what people call the edition")
	}
	switch version := c.derived.GetVersion(); {
	case version == "":
		c.blocks("version", "", "", "is empty, want a name that no other edition has")
	case strings.HasPrefix(version, "builtin"):
		c.blocks("version", "", "", "read %q; names that begin with builtin are those of editions that are shipped", version)
	case version == c.base.Version():
		c.blocks("version", "", "", "read %q, which is the base's", version)
	}
	b := c.derived.GetBase()
	if b == nil {
		return
	}
	if b.GetVersion() != c.base.Version() {
		c.blocks("base", "", "", "read %q, and it is laid over %s", b.GetVersion(), c.base.Version())
	}
	if len(b.GetHash()) > 0 && !bytes.Equal(b.GetHash(), c.base.hash[:]) {
		c.blocks("base", "", "", "has the hash %x, and %s has %s", b.GetHash(), c.base.Version(), c.base.Hash())
	}
}

// keys checks that entries have a value or remove, that codes and ids occur once, and that what is removed is in the base.
func (c *checker) keys(list protoreflect.FieldDescriptor) {
	name := string(list.Name())
	old, ids, seen := map[string]string{}, map[string]bool{}, map[string]bool{}
	entries := c.base.message.ProtoReflect().Get(list).List()
	for i := range entries.Len() {
		old[idOf(entries.Get(i).Message())] = keyOf(valueOf(entries.Get(i).Message()))
	}
	entries = c.derived.ProtoReflect().Get(list).List()
	for i := range entries.Len() {
		entry := entries.Get(i).Message()
		value, key := valueOf(entry), keyOf(valueOf(entry))
		where := cmp.Or(key, fmt.Sprintf("[%d]", i))
		switch {
		case isRemoved(entry) && value.IsValid():
			c.blocks(name, where, "", "both has a value and is removed, want one of them")
		case isRemoved(entry) && old[idOf(entry)] == "":
			c.blocks(name, where, "removed", "the base has no entry with the id %q", idOf(entry))
		case isRemoved(entry):
		case !value.IsValid():
			c.blocks(name, where, "", "neither has a value nor removes an entry")
		case key == "":
			c.blocks(name, where, "", "has no code or name")
		case seen[key]:
			c.blocks(name, key, "", "occurs more than once")
		}
		if id := idOf(entry); id != "" && ids[id] {
			c.blocks(name, where, "id", "read %q, which another entry has", id)
		}
		ids[idOf(entry)] = true
		if !isRemoved(entry) && value.IsValid() {
			seen[key], c.fresh[name+"/"+key] = true, true
		}
	}
}

// learn gathers what stands once the edition is laid over its base.
func (c *checker) learn() {
	for _, list := range entryLists() {
		name := string(list.Name())
		_, removed, _ := changes(name, c.derived.ProtoReflect().Get(list).List())
		add := func(entry protoreflect.Message) {
			value := valueOf(entry)
			c.merged = append(c.merged, placed{name, keyOf(value), value})
			switch v := value.Interface().(type) {
			case *formularyv1.Source:
				c.sources[v.GetCode()] = v.GetObtained()
			case *formularyv1.Product:
				c.products[v.GetName()] = true
			}
		}
		old := c.base.message.ProtoReflect().Get(list).List()
		for i := range old.Len() {
			if entry := old.Get(i).Message(); removed[idOf(entry)] == nil && !c.fresh[name+"/"+keyOf(valueOf(entry))] {
				add(entry)
			}
		}
		fresh := c.derived.ProtoReflect().Get(list).List()
		for i := range fresh.Len() {
			if entry := fresh.Get(i).Message(); valueOf(entry).IsValid() && !isRemoved(entry) {
				add(entry)
			}
		}
	}
}

// broken names entries of the base that stay and cite or concern what the edition took away.
func (c *checker) broken() {
	for _, p := range c.merged {
		if c.fresh[p.list+"/"+p.key] {
			continue
		}
		c.known(p.list, p.key, p.value)
		if provenance := provenanceOf(p.value); provenance != nil {
			c.cited(p.list, p.key, provenance)
		}
	}
}

// value checks one entry that the edition brings.
func (c *checker) value(list string, value protoreflect.Message) {
	key := keyOf(value)
	c.known(list, key, value)
	c.places(list, key, value)
	c.order(list, key, value)
	c.periods(list, key, value)
	c.whole(list, key, value)
	c.provenance(list, key, value)
}

// known checks that the products named are in the edition.
func (c *checker) known(list, key string, value protoreflect.Message) {
	for _, name := range []protoreflect.Name{"product", "other_product"} {
		field := value.Descriptor().Fields().ByName(name)
		if field == nil || !value.Has(field) {
			continue
		}
		if product := value.Get(field).String(); !c.products[product] {
			c.blocks(list, key, string(name), "read %q, which is no product of the edition", product)
		}
	}
}

// provenanceOf is where an entry's figures come from; nil when it is not stated, or for what carries none.
func provenanceOf(value protoreflect.Message) *formularyv1.Provenance {
	field := value.Descriptor().Fields().ByName("provenance")
	if field == nil || !value.Has(field) {
		return nil
	}
	p, _ := value.Get(field).Message().Interface().(*formularyv1.Provenance)
	return p
}

func (c *checker) cited(list, key string, p *formularyv1.Provenance) {
	for _, source := range p.GetSources() {
		if _, ok := c.sources[source]; !ok {
			c.blocks(list, key, "provenance.sources", "cites %s, which is not among the sources", source)
		}
	}
}

// provenance checks that figures say how they were come by, cite what they were read in, and claim no more than that.
func (c *checker) provenance(list, key string, value protoreflect.Message) {
	if value.Descriptor().Fields().ByName("provenance") == nil {
		return
	}
	p := provenanceOf(value)
	if p.GetObtained() == formularyv1.Obtained_OBTAINED_UNSPECIFIED {
		c.blocks(list, key, "provenance", "does not say how its figures were come by")
		return
	}
	c.cited(list, key, p)
	best, known := formularyv1.Obtained_OBTAINED_TRADE, false
	for _, source := range p.GetSources() {
		if obtained, ok := c.sources[source]; ok {
			best, known = min(best, obtained), true
		}
	}
	switch o := p.GetObtained(); o {
	case formularyv1.Obtained_OBTAINED_READ, formularyv1.Obtained_OBTAINED_READ_COPY, formularyv1.Obtained_OBTAINED_TRADE,
		formularyv1.Obtained_OBTAINED_COMPUTED:
		if len(p.GetSources()) == 0 {
			c.blocks(list, key, "provenance.sources", "is %s and cites no source", ObtainedText(o))
		} else if known && o < best && o != formularyv1.Obtained_OBTAINED_COMPUTED {
			c.blocks(list, key, "provenance.obtained", "is %s, and the best of its sources is %s", ObtainedText(o), ObtainedText(best))
		}
	case formularyv1.Obtained_OBTAINED_LEAD:
		if p.GetRemark() == "" {
			c.remarks(list, key, "provenance.remark", "says not why the medical lead set it")
		}
	default:
		if len(p.GetSources()) > 0 {
			c.blocks(list, key, "provenance.sources", "is %s and cites a source; name it in the remark", ObtainedText(o))
		}
	}
	c.level(list, key, value, p)
}

// level checks that no figure raises more than its provenance may.
func (c *checker) level(list, key string, value protoreflect.Message, p *formularyv1.Provenance) {
	field := value.Descriptor().Fields().ByName("level")
	if field == nil {
		return
	}
	level := formularyv1.Level(value.Get(field).Enum())
	if most := MostLevel(p); level != formularyv1.Level_LEVEL_UNSPECIFIED && level < most {
		c.blocks(list, key, "level", "is a %s on a figure that is %s, which makes at most a %s", levelText(level), ObtainedText(p.GetObtained()), levelText(most))
	}
}

func levelText(level formularyv1.Level) string {
	return strings.ToLower(strings.TrimPrefix(enumName(level.Descriptor(), level.Number()), "LEVEL_"))
}

// order checks that of two figures that belong together the lower does not exceed the higher.
func (c *checker) order(list, key string, value protoreflect.Message) {
	fields := value.Descriptor().Fields()
	for _, pair := range [][2]protoreflect.Name{
		{"lowest_milliunits", "highest_milliunits"}, {"injections_at_least", "injections_at_most"}, {"least_micrometers", "most_micrometers"},
		{"lowest_millicelsius", "highest_millicelsius"}, {"youngest_years", "below_years"}, {"lowest", "highest"},
		{"lowest_thousandths", "highest_thousandths"}, {"graduation_nanoliters", "capacity_nanoliters"},
	} {
		low, high := fields.ByName(pair[0]), fields.ByName(pair[1])
		if low == nil || high == nil || low.HasPresence() && (!value.Has(low) || !value.Has(high)) {
			continue
		}
		if value.Get(low).Int() > value.Get(high).Int() {
			first, second := shown(value, low), shown(value, high)
			c.blocks(list, key, string(pair[0]), "is %s, and %s is %s, which is less", first.Text, second.Name, second.Text)
		}
	}
}

// shown is a field in people's words and units.
func shown(value protoreflect.Message, field protoreflect.FieldDescriptor) Figure {
	return figure(string(field.Name()), fmt.Sprint(value.Get(field).Interface()))
}

// periods checks that spans are written in days or in months, and that windows open before they close.
func (c *checker) periods(list, key string, value protoreflect.Message) {
	fields := value.Descriptor().Fields()
	for i := range fields.Len() {
		field := fields.Get(i)
		if field.Kind() != protoreflect.MessageKind || field.IsList() || !value.Has(field) {
			continue
		}
		p, ok := value.Get(field).Message().Interface().(*formularyv1.Period)
		switch {
		case !ok:
		case p.GetDays() != 0 && p.GetMonths() != 0:
			c.blocks(list, key, string(field.Name()), "read %d days and %d months, want one of them", p.GetDays(), p.GetMonths())
		case p.GetDays() == 0 && p.GetMonths() == 0 && list == "review_rules":
			c.remarks(list, key, string(field.Name()), "%s", NoFigure)
		case p.GetDays() == 0 && p.GetMonths() == 0:
			c.blocks(list, key, string(field.Name()), "is neither days nor months")
		}
	}
	var earliest, latest *formularyv1.Period
	switch v := value.Interface().(type) {
	case *formularyv1.ReviewRule:
		earliest, latest = v.GetEarliest(), v.GetLatest()
	case *formularyv1.TouchUpRule:
		earliest, latest = v.GetEarliest(), v.GetLatest()
	}
	if latest.GetDays() != 0 && earliest.GetDays() > latest.GetDays() || latest.GetMonths() != 0 && earliest.GetMonths() > latest.GetMonths() {
		c.blocks(list, key, "earliest", "is later than latest")
	}
}

// whole checks what single fields cannot say.
func (c *checker) whole(list, key string, value protoreflect.Message) {
	switch v := value.Interface().(type) {
	case *formularyv1.DoseRange:
		if v.LowestMilliunits == nil && v.HighestMilliunits == nil {
			c.remarks(list, key, "", "%s", NoFigure)
		}
	case *formularyv1.Limit:
		c.limit(key, v)
	case *formularyv1.Tolerance:
		if v.InjectionPermille == nil && v.SideDifferencePermille == nil && v.SlipTimes == nil {
			c.blocks(list, key, "", "sets nothing")
		}
	case *formularyv1.AgeLimit:
		if v.YoungestYears == nil && v.BelowYears == nil {
			c.blocks(list, key, "", "has neither a youngest age nor one to be under")
		}
	case *formularyv1.RatingScale:
		for _, g := range v.GetGrades() {
			if g.GetGrade() < v.GetLowest() || g.GetGrade() > v.GetHighest() {
				c.blocks(list, key, "grades", "read %d, want a grade from %d to %d", g.GetGrade(), v.GetLowest(), v.GetHighest())
			}
		}
	case *formularyv1.Dilution:
		if (v.GetDiluentNanoliters() == 0) != (v.GetDiluent() == "none") {
			c.blocks(list, key, "diluent", "read %q with %s mL, want none for a ready liquid and for nothing else", v.GetDiluent(),
				peopleValue("diluent_nanoliters", fmt.Sprint(v.GetDiluentNanoliters())))
		}
	}
}

func (c *checker) limit(key string, v *formularyv1.Limit) {
	switch {
	case (v.DoseMilliunits == nil) == (v.VolumeNanoliters == nil):
		c.blocks("limits", key, "", "limits a dose and a volume, or neither; want one of them")
	case v.DoseMilliunits != nil && v.Product == nil:
		c.blocks("limits", key, "product", "is absent; units of one product are not units of another")
	}
	if (v.GetBasis() == formularyv1.DoseBasis_DOSE_BASIS_WINDOW) != (v.Window != nil) {
		c.blocks("limits", key, "window", "belongs to the basis %s and to no other", "window")
	}
}

// Blocking reports whether any of the problems blocks.
func Blocking(problems []Problem) bool {
	return slices.ContainsFunc(problems, func(p Problem) bool { return p.Blocks })
}

// Reference names the edition as one that derives from it names its base.
func (e *Edition) Reference() *formularyv1.EditionReference {
	r := &formularyv1.EditionReference{Version: e.Version(), Hash: bytes.Clone(e.hash[:])}
	if e.ID() != "" {
		r.EditionId = proto.String(e.ID())
	}
	return r
}
