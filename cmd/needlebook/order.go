package main

import (
	"flag"
	"fmt"
	"strings"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/dose"
	"needlebook/internal/visit"
)

const kindOrder = optionsv1.RecordKind_RECORD_KIND_ORDER

func orderCommand() command {
	step := func(name, usage, short string, prepare func(*flag.FlagSet) prepared) command {
		return dayCommand("order", name, usage, short, visitHelp, prepare)
	}
	return command{name: "order", short: "write, issue, change and countersign orders on a replica", sub: []command{
		step("draft", "--patient ID --prescriber ID [flags]", "write an order, which permits nothing until it is issued", orderDraft),
		step("issue", "ORDER-ID [flags]", "issue an order, as its prescriber", orderIssue),
		step("voice", "ORDER-ID --text TEXT [flags]", "record a change that the prescriber gave by voice", orderVoice),
		step("countersign", "ORDER-ID CHANGE-ID [flags]", "confirm a change by voice, as its prescriber", orderCountersign),
		step("withdraw", "ORDER-ID --reason TEXT [flags]", "end an order", orderWithdraw),
		step("use", "ID --order ORDER-ID [flags]", "name the order that permits a visit", orderUse),
		step("show", "ORDER-ID [flags]", "show an order with what it is owed", orderShow),
	}}
}

// leaveFlags are the flags that say what may be given.
type leaveFlags struct{ product, regions, muscles, most *string }

func newLeaveFlags(f *flag.FlagSet) leaveFlags {
	return leaveFlags{
		f.String("product", "", "the `product`"), f.String("regions", "", "the `regions` that may be treated, with commas between"),
		f.String("muscles", "", "the `muscles` that may be treated"), f.String("most-units", "", "the most in one visit, in `units`"),
	}
}

func (x leaveFlags) read(at *deed) (*chartv1.OrderLeave, error) {
	if *x.product == "" {
		return nil, nil
	}
	a, err := dose.ParseAmount(dose.Product(*x.product), *x.most)
	if err != nil {
		return nil, usagef("%s: --most-units: read %q, want units such as 50", at.Name(), *x.most)
	}
	return &chartv1.OrderLeave{Product: *x.product, Regions: words(*x.regions), Muscles: words(*x.muscles), MostMilliunits: int32(a.Milliunits())}, nil
}

func orderDraft(f *flag.FlagSet) prepared {
	patient := f.String("patient", "", "`id` of the patient; none in a standing order")
	kind := f.String("kind", "prescription", "or patient_specific_direction, or standing_order")
	prescriber := f.String("prescriber", "", "staff `id` of the prescriber")
	clinic := f.String("clinic", "", "`id` of the clinic; any of the organisation without it")
	examined := f.String("examined", "", "how the prescriber examined: in_person, video, telephone or records")
	from := f.String("from", "", "the first `day`; today without it")
	until := f.String("until", "", "the last `day`")
	repeats := f.Int("repeats", 1, "how many visits it covers")
	where := f.String("jurisdiction", "", "where it was made, of ISO 3166")
	staff := f.String("staff", "", "in a standing order: who may act on it, staff `ids` with commas between")
	criteria := f.String("criteria", "", "in a standing order: whom it covers, in `words`")
	youngest := f.Int("youngest-years", 18, "in a standing order: the youngest age, in whole `years`")
	leave := newLeaveFlags(f)
	return prepared{run: func(at *deed) error {
		n, ok := chartv1.OrderKind_value["ORDER_KIND_"+strings.ToUpper(*kind)]
		if !ok {
			return usagef("%s: --kind: read %q, want prescription, patient_specific_direction or standing_order", at.Name(), *kind)
		}
		line, err := leave.read(at)
		if err != nil {
			return err
		}
		first, err := at.readDay("--from", *from)
		if err != nil {
			return err
		}
		last, err := at.readDay("--until", *until)
		if err != nil {
			return err
		}
		h, err := at.hand(*clinic)
		if err != nil {
			return err
		}
		m := &chartv1.Order{
			Kind: chartv1.OrderKind(n).Enum(), PrescriberId: prescriber, Repeats: new(int32(*repeats)), Validity: &chartv1.Validity{From: first, Until: last},
		}
		for field, text := range map[**string]string{&m.PatientId: *patient, &m.ClinicId: *clinic, &m.Jurisdiction: *where} {
			if text != "" {
				*field = &text
			}
		}
		if line != nil {
			m.Lines = []*chartv1.OrderLine{{Leave: line}}
		}
		if chartv1.OrderKind(n) == chartv1.OrderKind_ORDER_KIND_STANDING_ORDER {
			m.Repeats, m.Standing = nil, &chartv1.StandingScope{StaffIds: words(*staff), Criteria: *criteria, YoungestYears: int32(*youngest)}
		}
		if *examined != "" {
			way := chartv1.ExaminationWay(chartv1.ExaminationWay_value["EXAMINATION_WAY_"+strings.ToUpper(*examined)])
			m.Examination = &chartv1.Examination{Way: way, Examined: &recordv1.Act{By: *prescriber, At: h.Act().GetAt()}}
		}
		o, err := visit.DraftOrder(h, at.book, m)
		if err != nil {
			return err
		}
		return at.done(func(p *page) { at.tellOrder(p, o) }, o)
	}}
}

// namedOrder reads the order that the first argument names, and who works there.
func (at *deed) namedOrder() (*chartv1.Order, visit.Hand, error) {
	o, err := readFrom[*chartv1.Order](at, kindOrder, "ORDER-ID", at.args[0])
	if err != nil {
		return nil, visit.Hand{}, err
	}
	h, err := at.hand(o.GetClinicId())
	return o, h, err
}

// thenOrder writes one part of an order and tells how it is.
func (at *deed) thenOrder(part *chartv1.Order, err error) error {
	if err != nil {
		return err
	}
	return at.done(func(p *page) {
		if o, err := readFrom[*chartv1.Order](at, kindOrder, "ORDER-ID", part.GetId()); err == nil {
			at.tellOrder(p, o)
		}
	}, part)
}

func (at *deed) tellOrder(p *page, o *chartv1.Order) {
	stands := "a draft, which permits nothing"
	switch {
	case o.GetWithdrawn() != nil:
		stands = "withdrawn"
	case o.GetIssued() != nil:
		stands = "issued, from " + visit.DateText(o.GetValidity().GetFrom()) + " until " + visit.DateText(o.GetValidity().GetUntil())
	}
	p.wrapped("", "Order "+o.GetId()+" is "+stands+".")
	for _, l := range o.GetLines() {
		if l.GetWithdrawn() == nil {
			x := l.GetLeave()
			p.wrapped("  ", fmt.Sprintf("at most %s in a visit, in %s", doseText(&chartv1.Dose{Product: x.GetProduct(), DoseMilliunits: x.GetMostMilliunits()}),
				spaces(strings.Join(append(x.GetRegions(), x.GetMuscles()...), ", "))))
		}
	}
	for _, c := range o.GetChanges() {
		read := "NOT READ BACK"
		if c.GetChange().GetReadBack() {
			read = "read back"
		}
		if c.GetCountersigned() == nil {
			read += ", the prescriber's countersignature is owed"
		}
		p.wrapped("  ", "changed by voice: "+c.GetChange().GetText()+" ("+c.GetId()+"; "+read+")")
	}
}

func orderIssue(f *flag.FlagSet) prepared {
	statement := f.String("statement", "", "what the prescriber confirms, in `words`")
	return prepared{[]string{"ORDER-ID"}, func(at *deed) error {
		o, h, err := at.namedOrder()
		if err != nil {
			return err
		}
		staff, err := readFrom[*accessv1.Staff](at, optionsv1.RecordKind_RECORD_KIND_STAFF, "staff", h.By)
		if err != nil {
			return err
		}
		if *statement == "" {
			*statement = "I examined this patient as recorded, and prescribe this."
		}
		today, err := at.readDay("", "")
		if err != nil {
			return err
		}
		return at.thenOrder(visit.IssueOrder(h, o, staff, today, *statement))
	}}
}

func orderVoice(f *flag.FlagSet) prepared {
	text := f.String("text", "", "what was ordered, in `words`")
	readBack := f.Bool("read-back", false, "it was read back and confirmed")
	leave := newLeaveFlags(f)
	return prepared{[]string{"ORDER-ID"}, func(at *deed) error {
		o, h, err := at.namedOrder()
		if err != nil {
			return err
		}
		line, err := leave.read(at)
		if err != nil {
			return err
		}
		return at.thenOrder(visit.ChangeByVoice(h, at.book, o, *text, line, *readBack))
	}}
}

func orderCountersign(*flag.FlagSet) prepared {
	return prepared{[]string{"ORDER-ID", "CHANGE-ID"}, func(at *deed) error {
		o, h, err := at.namedOrder()
		if err != nil {
			return err
		}
		return at.thenOrder(visit.Countersign(h, o, at.args[1]))
	}}
}

func orderWithdraw(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why, in `words`")
	return prepared{[]string{"ORDER-ID"}, func(at *deed) error {
		o, h, err := at.namedOrder()
		if err != nil {
			return err
		}
		return at.thenOrder(visit.WithdrawOrder(h, o, *reason))
	}}
}

func orderUse(f *flag.FlagSet) prepared {
	order := f.String("order", "", "`id` of the order")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		o, err := readFrom[*chartv1.Order](at, kindOrder, "--order", *order)
		if err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.SetOrder(h, at.session, o))
	}}
}

func orderShow(*flag.FlagSet) prepared {
	return prepared{[]string{"ORDER-ID"}, func(at *deed) error {
		o, _, err := at.namedOrder()
		if err != nil {
			return err
		}
		return at.done(func(p *page) { at.tellOrder(p, o) })
	}}
}
