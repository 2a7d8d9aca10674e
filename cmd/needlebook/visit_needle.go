package main

import (
	"cmp"
	"encoding/json"
	"flag"
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/dose"
	"needlebook/internal/reckon"
	"needlebook/internal/visit"
)

// splitJSON cuts a JSON list into its values.
func splitJSON(text string) ([]rawJSON, error) {
	var raw []json.RawMessage
	if err := json.Unmarshal([]byte(text), &raw); err != nil {
		return nil, err
	}
	var out []rawJSON
	for _, r := range raw {
		out = append(out, rawJSON(r))
	}
	return out, nil
}

// fillingFlags are the flags that say what syringes are filled with and from.
type fillingFlags struct {
	vial, preparation, syringe, priming, checked, label *string
}

func newFillingFlags(f *flag.FlagSet) fillingFlags {
	return fillingFlags{
		vial:        f.String("vial", "", "`id` of the vial"),
		preparation: f.String("preparation", "", "`id` of the preparation; the only one without it"),
		syringe:     f.String("syringe", "", "the type of syringe, by the formulary's `code`"),
		priming:     f.String("priming-ml", "", "what is pushed out after the needle is changed, in `mL`"),
		checked:     f.String("checked-by", "", "staff `id` of who checked"),
		label:       f.String("label", "", "what is written on the syringe"),
	}
}

// goOn takes what was not said from the syringe that is in use; with none in use nothing.
func (x fillingFlags) goOn(s *chartv1.Session) {
	used := visit.InUse(s)
	if len(used) == 0 {
		return
	}
	f := used[0].GetFilling()
	if *x.vial == "" {
		*x.vial, *x.preparation = f.GetVialId(), cmp.Or(*x.preparation, f.GetPreparationId())
	}
	*x.syringe = cmp.Or(*x.syringe, f.GetSyringeCode())
}

func (x fillingFlags) read(at *deed) (f visit.Filling, err error) {
	if *x.vial == "" {
		return f, usagef("%s: --vial is absent and no syringe is in use, want the id of a vial; needlebook replica list vial shows them", at.Name())
	}
	if f.Vial, err = at.vial(*x.vial); err != nil {
		return f, err
	}
	syringe, ok := at.book.Syringe(*x.syringe)
	if !ok {
		return f, usagef("%s: --syringe: read %q, want one of the formulary's codes; needlebook formulary show -section syringes lists them", at.Name(), *x.syringe)
	}
	f.Syringe, f.PreparationID, f.CheckedBy, f.Label = syringe, *x.preparation, *x.checked, *x.label
	priming, err := at.readVolume("--priming-ml", *x.priming)
	if err != nil {
		return f, err
	}
	if priming != nil {
		f.Priming, f.NeedleChanged = *priming, true
	}
	return f, nil
}

func visitDraw(f *flag.FlagSet) prepared {
	filling := newFillingFlags(f)
	return prepared{[]string{visitArgument}, func(at *deed) error {
		from, err := filling.read(at)
		if err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		drawn, err := visit.DrawUpPlan(h, at.session, from)
		if err != nil {
			return err
		}
		return at.done(func(p *page) {
			at.marks(p, drawn.Plan, drawn.Session)
			p.wrapped("", reckon.Caution)
		}, drawn.Vial, drawn.Session)
	}}
}

// marks prints the syringes of a plan with the mark after each injection.
func (at *deed) marks(p *page, plan dose.Plan, part *chartv1.Session) {
	for i, x := range plan.Syringes {
		name := ""
		if part != nil && i < len(part.GetSyringes()) {
			name = " " + part.GetSyringes()[i].GetId()
		}
		p.line(fmt.Sprintf("Syringe%s: draw to %s, then the first mark is %s", name, x.DrawTo.Display(), plan.Syringe.MarkText(x.Drawn)))
		rows := [][]string{{"injection", "muscle", "side", "dose", "stop at"}}
		for _, m := range x.Marks {
			in := injectionNamed(at.session, m.Ref)
			rows = append(rows, []string{m.Ref[:8], spaces(in.GetMuscle()), sideWord(in.GetSide()), m.Dose.Display(), plan.Syringe.MarkText(m.Mark)})
		}
		p.table(rows)
	}
}

// wholeID is the id of the one injection of a visit that begins with what was typed, as lists print it; what was typed where it is not one.
func wholeID(s *chartv1.Session, typed string) string {
	found := ""
	for _, in := range s.GetInjections() {
		if len(typed) < 8 || !strings.HasPrefix(in.GetId(), typed) {
			continue
		}
		if found != "" {
			return typed
		}
		found = in.GetId()
	}
	return cmp.Or(found, typed)
}

func injectionNamed(s *chartv1.Session, id string) *chartv1.Injection {
	for _, in := range s.GetInjections() {
		if in.GetId() == id {
			return in
		}
	}
	return nil
}

// nextJSON is what is to be given next.
type nextJSON struct {
	InjectionID string `json:"injection_id"`
	SyringeID   string `json:"syringe_id"`
	Muscle      string `json:"muscle"`
	Side        string `json:"side"`
	DoseUnits   string `json:"dose_units"`
	Product     string `json:"product"`
	MarkML      string `json:"mark_ml"`
}

func visitNext(f *flag.FlagSet) prepared {
	filling := newFillingFlags(f)
	return prepared{[]string{visitArgument}, func(at *deed) error {
		filling.goOn(at.session)
		from, err := filling.read(at)
		if err != nil {
			return err
		}
		syringe, mark, err := visit.NextMark(at.session, from)
		if err != nil {
			return err
		}
		if syringe == "" {
			return usagef("%s: no syringe in use serves what is to come; draw up first", at.Name())
		}
		in := injectionNamed(at.session, mark.Ref)
		if at.json {
			return printAsJSON(at.e.stdout, nextJSON{mark.Ref, syringe, in.GetMuscle(), sideWord(in.GetSide()), mark.Dose.Decimal(),
				in.GetPlanned().GetProduct(), mark.Mark.Decimal()})
		}
		var p page
		at.banner(&p)
		at.holds(&p)
		p.wrapped("", fmt.Sprintf("Next: %s, %s, %s; stop at %s.", spaces(in.GetMuscle()), sideWord(in.GetSide()), doseText(in.GetPlanned()), mark.Mark.Display()))
		p.wrapped("", reckon.Caution)
		return p.write(at.e.stdout)
	}}
}

func visitGive(f *flag.FlagSet) prepared {
	injection := f.String("injection", "", "`id` of the planned injection, or its first eight signs as lists print them")
	muscle := f.String("muscle", "", "the `muscle` of an injection that nobody planned")
	side := f.String("side", "", "right, left or midline, where it is not as planned")
	units := f.String("dose-units", "", "the dose in `units`, where it is not as planned")
	product := f.String("product", "", "the `product`, with --dose-units; as planned without it")
	syringe := f.String("syringe-id", "", "`id` of the syringe; the only one in use without it")
	mark := f.String("mark-ml", "", "where the plunger stood after it, in `mL`")
	by := f.String("by", "", "staff `id` of who injected; who is signed in without it")
	when := f.String("at", "", "when, as 2026-03-01T09:30:00Z; now without it")
	lost := f.String("lost-ml", "", "what of it did not reach the muscle, in `mL`, or unknown")
	reason := f.String("reason", "", "why it differs from the plan, in `words`")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		shot := visit.Shot{InjectionID: wholeID(at.session, *injection), Muscle: *muscle, SyringeID: *syringe, By: *by, Reason: *reason}
		var err error
		if shot.Side, err = readSide(at.Name()+": --side", *side); err != nil {
			return err
		}
		if shot.MarkAfter, err = at.readVolume("--mark-ml", *mark); err != nil {
			return err
		}
		if shot.At, err = at.readMoment("--at", *when); err != nil {
			return err
		}
		if shot.Dose, err = at.readGivenDose(*injection, *units, *product); err != nil {
			return err
		}
		if *lost != "" {
			shot.Spill = &chartv1.Spill{}
			if *lost != "unknown" {
				v, err := at.readVolume("--lost-ml", *lost)
				if err != nil {
					return err
				}
				shot.Spill.LostNanoliters = new(int64(*v))
			}
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		part, err := visit.GiveShot(h, at.session, shot)
		if err != nil {
			return err
		}
		return at.done(func(p *page) { at.plan(p); at.stands(p); p.wrapped("", reckon.Caution) }, part)
	}}
}

func (at *deed) readMoment(name, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return t, usagef("%s: %s: read %q, want a time such as 2026-03-01T09:30:00Z", at.Name(), name, text)
	}
	return t, nil
}

// readGivenDose is a dose other than planned; nil for as planned.
func (at *deed) readGivenDose(injection, units, product string) (*chartv1.Dose, error) {
	if units == "" {
		return nil, nil
	}
	if product == "" {
		product = injectionNamed(at.session, injection).GetPlanned().GetProduct()
	}
	if _, ok := at.book.Product(product); !ok {
		return nil, usagef("%s: --product: read %q, want a product of the formulary", at.Name(), product)
	}
	a, err := dose.ParseAmount(dose.Product(product), units)
	if err != nil {
		return nil, usagef("%s: --dose-units: read %q, want units such as 2.5", at.Name(), units)
	}
	return &chartv1.Dose{Product: product, DoseMilliunits: int32(a.Milliunits())}, nil
}

func visitSpill(f *flag.FlagSet) prepared {
	lost := f.String("lost-ml", "", "how much, in `mL`; nobody knows without it")
	text := f.String("text", "", "what happened, in `words`")
	return prepared{[]string{visitArgument, "GIVING-ID"}, func(at *deed) error {
		v, err := at.readVolume("--lost-ml", *lost)
		if err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.SpillShot(h, at.session, at.args[1], v, *text))
	}}
}

func visitVoidGiving(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why it does not count, in `words`")
	return prepared{[]string{visitArgument, "GIVING-ID"}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.VoidShot(h, at.session, at.args[1], *reason))
	}}
}

func visitPlunger(f *flag.FlagSet) prepared {
	mark := f.String("mark-ml", "", "where it stands, in `mL`")
	after := f.String("after", "", "`id` of the injection after which it was read")
	away := f.Bool("put-away", false, "the syringe is not in use any more")
	return prepared{[]string{visitArgument, "SYRINGE-ID"}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		if *away {
			return at.then(visit.PutAway(h, at.session, at.args[1]))
		}
		v, err := at.readVolume("--mark-ml", *mark)
		if err != nil {
			return err
		}
		if v == nil {
			return usagef("%s: --mark-ml is absent, want where the plunger stands", at.Name())
		}
		return at.then(visit.ReadPlunger(h, at.session, at.args[1], *v, *after))
	}}
}

func visitReason(f *flag.FlagSet) prepared {
	injection := f.String("injection", "", "`id` of the injection; the whole plan without it")
	reason := f.String("reason", "", "why, in `words`")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.GiveReason(h, at.session, *injection, *reason))
	}}
}

func visitObserve(f *flag.FlagSet) prepared {
	kind := f.String("kind", "", "what, such as pulse; with --complication such as bruise")
	value := f.String("value", "", "the value, a `number`")
	unit := f.String("unit", "", "its unit, a `code` of UCUM such as mm[Hg]")
	text := f.String("text", "", "in `words`")
	complication := f.Bool("complication", false, "it is something that went wrong")
	injection := f.String("injection", "", "`id` of the injection that a complication came with")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		if *complication {
			return at.then(visit.Complicate(h, at.session, *kind, *injection, *text))
		}
		v := &chartv1.ObservedValue{Kind: *kind, Unit: *unit, Text: *text}
		if *value != "" {
			n, err := dose.ParseVolume(*value) // a decimal of at most six places, read exactly
			if err != nil || int64(n)%1000 != 0 {
				return usagef("%s: --value: read %q, want a number with at most 3 decimals", at.Name(), *value)
			}
			v.Thousandths = proto.Int64(int64(n) / 1000)
		}
		return at.then(visit.ObserveValue(h, at.session, v))
	}}
}

func visitPause(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why, one `word` such as faint, bleeding, pain, wish or equipment")
	text := f.String("text", "", "more, in `words`")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		card := at.clinicOf(at.session.GetClinicId()).GetEmergency()
		part, err := visit.PauseVisit(h, at.session, *reason, *text, card != nil)
		if err != nil {
			return err
		}
		return at.done(func(p *page) {
			at.stands(p)
			if card == nil {
				p.wrapped("", "The clinic has no emergency card on this replica.")
				return
			}
			p.line("EMERGENCY CARD, call " + card.GetPhone())
			p.wrapped("  ", card.GetText())
		}, part)
	}}
}

func visitResume(*flag.FlagSet) prepared {
	return prepared{[]string{visitArgument}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.Resume(h, at.session))
	}}
}

func visitEnd(how visit.Deed) func(*flag.FlagSet) prepared {
	return func(f *flag.FlagSet) prepared {
		reason := f.String("reason", "", "why, in `words`; not needed to finish")
		return prepared{[]string{visitArgument}, func(at *deed) error {
			h, err := at.sessionHand()
			if err != nil {
				return err
			}
			part, err := visit.End(h, at.session, how, *reason)
			if err != nil {
				return err
			}
			return at.done(func(p *page) {
				at.plan(p)
				at.stands(p)
				for _, lack := range visit.Lacking(at.session) {
					p.wrapped("", at.vialNames(lack))
				}
			}, part)
		}}
	}
}

// gradeShown is a grade with what it counts.
func gradeShown(g *chartv1.Grade) string {
	return strconv.Itoa(int(g.GetGrade())) + " (" + g.GetScale() + ")"
}
