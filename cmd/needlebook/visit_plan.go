package main

import (
	"flag"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/dose"
	"needlebook/internal/visit"
)

func visitPlan(f *flag.FlagSet) prepared {
	last := f.Bool("last", false, "as last time, with --product in --regions")
	product := f.String("product", "", "the `product`")
	regions := f.String("regions", "", "the `regions`, with commas between; the whole face without them")
	protocol := f.String("protocol", "", "`id` of a protocol of the clinic")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		var part *chartv1.Session
		var flags []visit.Flag
		switch {
		case *last:
			history, err := at.sessions()
			if err != nil {
				return err
			}
			history = slices.DeleteFunc(history, func(s *chartv1.Session) bool { return s.GetPatientId() != at.session.GetPatientId() })
			part, flags, err = visit.AsLastTime(h, at.book, history, at.session, *product, words(*regions)...)
			if err != nil {
				return err
			}
		case *protocol != "":
			p, err := readFrom[*chartv1.Protocol](at, kindProtocol, "--protocol", *protocol)
			if err != nil {
				return err
			}
			if part, flags, err = visit.FromProtocol(h, at.book, p, at.session); err != nil {
				return err
			}
		default:
			if part, err = at.planFromInput(h); err != nil {
				return err
			}
		}
		return at.done(func(p *page) {
			at.plan(p)
			for _, x := range flags {
				p.wrapped("", "Look at this: "+x.Text)
			}
		}, part)
	}}
}

// planFromInput plans the injections on standing input, one behind the other.
func (at *deed) planFromInput(h visit.Hand) (*chartv1.Session, error) {
	injections, err := readMessages(at, func() *chartv1.Injection { return &chartv1.Injection{} })
	if err != nil {
		return nil, err
	}
	if len(injections) == 0 {
		return nil, usagef("%s: standard input is empty, want injections as JSON, or --last or --protocol", at.Name())
	}
	so := proto.CloneOf(at.session)
	out := &chartv1.Session{Id: at.session.GetId()}
	for _, in := range injections {
		part, err := visit.PlanInjection(h, so, in)
		if err != nil {
			return nil, err
		}
		proto.Merge(so, part)
		proto.Merge(out, part)
	}
	return out, nil
}

// plan prints what is planned and what was given, side by side.
func (at *deed) plan(p *page) {
	rows := [][]string{{"injection", "muscle", "side", "planned", "given"}}
	var differs []string
	for _, d := range visit.PlanAndGiven(at.session) {
		var given []string
		for _, g := range d.Given {
			given = append(given, unitsOf(g.GetGiven().GetDose()))
		}
		if visit.StandingOf(at.session).Given && len(d.Kinds) > 0 {
			text := d.InjectionID[:8] + " " + spaces(d.Muscle) + " " + sideWord(d.Side) + ": " + spaces(strings.Join(d.Kinds, ", "))
			if len(d.Reasons) > 0 {
				text += ": " + strings.Join(d.Reasons, "; ")
			}
			differs = append(differs, text)
		}
		rows = append(rows, []string{d.InjectionID[:8], spaces(d.Muscle), sideWord(d.Side), unitsOf(d.Planned), strings.Join(given, " + ")})
	}
	if len(rows) > 1 {
		p.table(rows)
		for _, text := range differs {
			p.wrapped("  ", text)
		}
		p.wrapped("", "Doses are units of "+strings.Join(productsOf(at.session), ", ")+".")
	}
}

func unitsOf(d *chartv1.Dose) string {
	if d == nil {
		return "-"
	}
	a, err := dose.NewAmount(dose.Product(d.GetProduct()), int64(d.GetDoseMilliunits()))
	if err != nil {
		return "?"
	}
	return a.Decimal()
}

func spaces(code string) string { return strings.ReplaceAll(code, "_", " ") }

func productsOf(s *chartv1.Session) (out []string) {
	for _, in := range s.GetInjections() {
		out = append(out, in.GetPlanned().GetProduct())
		for _, g := range in.GetGivings() {
			out = append(out, g.GetGiven().GetDose().GetProduct())
		}
	}
	slices.Sort(out)
	return slices.DeleteFunc(slices.Compact(out), func(p string) bool { return p == "" })
}

func visitDrop(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why, in `words`")
	return prepared{[]string{visitArgument, "INJECTION-ID"}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.DropInjection(h, at.session, wholeID(at.session, at.args[1]), *reason))
	}}
}

func visitCheck(f *flag.FlagSet) prepared {
	yes := f.String("yes", "", "`items` that stand: identity,sides,product,consent,order,skin or all")
	no := f.String("no", "", "the `items` that do not stand")
	witness := f.String("witness", "", "staff `id` of who checked too")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		answers := &chartv1.ReadinessAnswers{}
		named := map[string]**bool{
			"identity": &answers.Identity, "sides": &answers.Sides, "product": &answers.Product, "consent": &answers.Consent, "order": &answers.Order,
			"skin": &answers.Skin,
		}
		var all []string
		for _, item := range visit.CheckItems() {
			all = append(all, item.Name)
		}
		if *yes == "all" {
			*yes = strings.Join(all, ",")
		}
		for value, list := range map[bool][]string{true: words(*yes), false: words(*no)} {
			for _, name := range list {
				if named[name] == nil {
					return usagef("%s: read %q, want one of %s", at.Name(), name, strings.Join(all, ", "))
				}
				*named[name] = &value
			}
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		part, missing, err := visit.CheckBeforeNeedle(h, at.session, answers, *witness)
		if err != nil {
			return err
		}
		return at.done(func(p *page) {
			if len(missing) > 0 {
				p.wrapped("", "Not ready. Missing: "+strings.Join(missing, ", ")+".")
			}
			at.stands(p)
			at.holds(p)
		}, part)
	}}
}
