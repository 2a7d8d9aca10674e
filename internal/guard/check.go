package guard

import (
	"cmp"
	"slices"
	"strings"

	"needlebook/internal/chart"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// Check says what speaks against what a session plans or gave: holds first, then cautions, then notes, each by its code. Nothing of it is kept or changed.
// Every finding has another id. A session without an id gets findings without ids.
func Check(e *formulary.Edition, f *Facts) []*dosev1.Finding {
	c := &checker{e: e, f: f, body: newAtlas(), published: make(map[string][]*formularyv1.DoseRange, 1)}
	c.day, c.dayKnown = c.judged()
	c.readInjections()
	for _, topic := range []func(){
		c.session, c.clock, c.patient, c.ages, c.injector,
	} {
		topic()
	}
	if len(c.injections) > 0 {
		for _, topic := range []func(){
			c.order, c.screening, c.alerts, c.consents, c.products, c.vials, c.volumes, c.ranges, c.slips, c.limits, c.intervals, c.places, c.sides, c.depths,
		} {
			topic()
		}
	}
	c.attachAnswers()
	return Worst(c.found, nil)
}

// MayInject reports whether something is to be given and no hold stands in the way: every one was lifted by someone who may.
func MayInject(found []*dosev1.Finding) bool {
	for _, f := range found {
		if f.GetCode() == CodeNothingPlanned || f.GetLevel() == hold && !isLifted(f) {
			return false
		}
	}
	return true
}

// Worst is the findings of several readings of the same facts: each finding once, as the reading says it that speaks most strongly; of equals the first. An
// answer stands only if it stands beside that one.
func Worst(readings ...[]*dosev1.Finding) []*dosev1.Finding {
	if len(readings) == 1 {
		return readings[0]
	}
	all := make([]*dosev1.Finding, 0, len(readings[0]))
	at := make(map[string]int, len(readings[0]))
	for _, found := range readings {
		for _, f := range found {
			key := f.GetFindingId()
			if key == "" {
				key = f.GetCode() + "\x00" + strings.Join(f.GetAbout(), "\x00")
			}
			i, seen := at[key]
			switch {
			case !seen:
				at[key] = len(all)
				all = append(all, f)
			case f.GetLevel() < all[i].GetLevel() || f.GetLevel() == all[i].GetLevel() && isLifted(all[i]) && !isLifted(f):
				all[i] = f
			}
		}
	}
	return arranged(all)
}

func arranged(found []*dosev1.Finding) []*dosev1.Finding {
	slices.SortStableFunc(found, func(a, b *dosev1.Finding) int {
		return cmp.Or(cmp.Compare(a.GetLevel(), b.GetLevel()), strings.Compare(a.GetCode(), b.GetCode()), slices.Compare(a.GetAbout(), b.GetAbout()),
			strings.Compare(a.GetFindingId(), b.GetFindingId()))
	})
	return found
}

// checker is one check in the making.
type checker struct {
	e *formulary.Edition
	f *Facts
	// day is the day that is judged on; dayKnown is false where it is the moment's and not the visit's.
	day      dose.Day
	dayKnown bool
	// injections is what was given, and what is planned where nothing was.
	injections []injection
	// named are the products of the injections, in their order, each once.
	named []string
	body  atlas
	// published are the ranges of each product as far as they were asked for.
	published map[string][]*formularyv1.DoseRange
	// had is what the patient had in one injection, by product and muscle; nil until it is asked for.
	had   map[dosed]*usual
	found []*dosev1.Finding
}

// said is a finding before it has its level, roles and id.
type said struct {
	code string
	// level is what a figure wants; unspecified means the table's. It never makes a finding stronger than the table, or than the clinic's own edition
	// makes the table.
	level formularyv1.Level
	// about is refs or paths; of tells apart findings of one code about the same thing, such as the code of a zone.
	about []string
	of    string
	text  string
	// figures are by name, each name followed by its decimal.
	figures []string
	source  *formularyv1.Provenance
}

// say adds a finding. Its level is the weaker of what the table and the figure say, then what the clinic's edition makes of that, then no more than the
// figure's source allows.
func (c *checker) say(s said) {
	rule, ok := RuleOf(s.code)
	if !ok {
		panic("guard: no rule of " + s.code) // the table lists every code; a test calls each
	}
	level := c.atClinic(rule, formulary.Weaker(rule.Level, s.level))
	if s.source != nil {
		level = formulary.Weaker(level, formulary.MostLevel(s.source))
	}
	f := &dosev1.Finding{Code: s.code, Level: level, About: s.about, Text: s.text}
	if len(s.figures) > 0 {
		f.Figures = make(map[string]string, len(s.figures)/2)
		for i := 0; i+1 < len(s.figures); i += 2 {
			f.Figures[s.figures[i]] = s.figures[i+1]
		}
	}
	if s.source != nil {
		f.Source = Cite(c.e, s.source)
	}
	if id := c.f.Session.GetId(); id != "" {
		f.FindingId = chart.FindingID(s.code, append([]string{keyOf(optionsv1.RecordKind_RECORD_KIND_SESSION, id), s.of}, s.about...)...)
	}
	if level == hold {
		f.LiftableBy = c.lift(rule).Roles
	}
	c.found = append(c.found, f)
}

// keyOf names a record as chart does.
func keyOf(kind optionsv1.RecordKind, id string) string { return kind.String() + "/" + id }

// Cite writes a figure's provenance out, with what its sources are.
func Cite(e *formulary.Edition, p *formularyv1.Provenance) *dosev1.Citation {
	cited := &dosev1.Citation{Obtained: p.GetObtained(), Section: p.GetSection(), Remark: p.GetRemark()}
	for _, code := range p.GetSources() {
		source := &dosev1.CitedSource{Code: code}
		if s, ok := e.Source(code); ok {
			source.Title, source.Issuer, source.Year, source.Address = s.GetTitle(), s.GetIssuer(), s.GetYear(), s.GetAddress()
		}
		cited.Sources = append(cited.Sources, source)
	}
	return cited
}
