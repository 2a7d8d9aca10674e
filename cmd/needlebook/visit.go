package main

import (
	"context"
	"errors"
	"flag"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/chart"
	"needlebook/internal/device"
	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"
	"needlebook/internal/record"
	"needlebook/internal/visit"
)

const visitHelp = `
Works on a replica, offline, as the person who is signed in on it. What it
writes is on the disk before it is printed, and merges at the next sync. A deed
that may not be done where the visit stands, or not by who does it, is refused
with a sentence and writes nothing. docs/day.md tells a whole day.`

func visitCommand() command {
	return command{name: "visit", short: "go through a patient's visit on a replica, step by step", sub: []command{
		visitStep("begin", "--patient ID --kind KIND [flags]", "begin a visit", visitBegin),
		visitStep("show", "ID [flags]", "say where a visit stands, plan beside given, and what is owed", visitShow),
		visitStep("identify", "ID --by NAMES [flags]", "record which identifiers of the patient matched", visitIdentify),
		visitStep("ask", "ID --questionnaire ID [flags] <answers.json", "take answers, carry them forward or confirm them", visitAsk),
		visitStep("explain", "ID --text ID [flags]", "record that a consent text was explained", visitExplain),
		visitStep("consent", "ID CONSENT-ID [flags] <agreement.json", "record what the patient decided and how she signed", visitConsent),
		visitStep("withdraw", "ID CONSENT-ID [flags]", "record that a consent was taken back", visitWithdraw),
		visitStep("views", "ID [flags]", "list the photographs that the visit should have and lacks", visitViews),
		visitStep("grade", "ID --scale CODE [flags]", "grade a region and side", visitGrade),
		visitStep("plan", "ID [flags] <injections.json", "plan injections: from nothing, as last time, or from a protocol", visitPlan),
		visitStep("drop", "ID INJECTION-ID --reason TEXT [flags]", "take an injection out of the plan", visitDrop),
		visitStep("answer", "ID CODE --decision WORD [flags]", "answer a finding: lift a hold, accept a caution, or heed it", visitAnswer),
		visitStep("check", "ID --yes ITEMS [flags]", "check before the first needle", visitCheck),
		visitStep("draw", "ID --vial ID [flags]", "draw up what is planned and print the marks", visitDraw),
		visitStep("next", "ID [flags]", "print the next injection and the mark that it ends at", visitNext),
		visitStep("give", "ID [flags]", "record an injection as it was given", visitGive),
		visitStep("spill", "ID GIVING-ID [flags]", "record what of an injection did not reach the muscle", visitSpill),
		visitStep("void-giving", "ID GIVING-ID --reason TEXT [flags]", "void what was recorded as given", visitVoidGiving),
		visitStep("plunger", "ID SYRINGE-ID [flags]", "record where a plunger stands, or that a syringe was put away", visitPlunger),
		visitStep("reason", "ID --reason TEXT [flags]", "say why what was given differs from the plan", visitReason),
		visitStep("observe", "ID --kind KIND [flags]", "record what was measured or seen, or what went wrong", visitObserve),
		visitStep("pause", "ID --reason WORD [flags]", "interrupt the visit", visitPause),
		visitStep("resume", "ID [flags]", "go on after a pause, on whichever tablet", visitResume),
		visitStep("finish", "ID [flags]", "finish the visit", visitEnd(visit.Finish)),
		visitStep("stop", "ID --reason TEXT [flags]", "stop before all that was planned was given", visitEnd(visit.StopEarly)),
		visitStep("cancel", "ID --reason TEXT [flags]", "cancel a visit in which nothing was given", visitEnd(visit.Cancel)),
		visitStep("after-care", "ID [flags]", "print the after-care sheet and record that it was given", visitAfterCare),
		visitStep("review-date", "ID [flags]", "set when the result is looked at", visitReviewDate),
		visitStep("judge", "ID --by WHO [flags]", "judge the result at a review", visitJudge),
		visitStep("sides", "ID [flags]", "print what each side had, and how it was graded", visitSides),
		visitStep("sign", "ID --meaning MEANING [flags]", "sign a visit that ended", visitSign),
		visitStep("void", "ID --reason TEXT [flags]", "say that a visit does not count", visitVoid),
	}}
}

// dayFlags are the flags of a command that works on a replica as the person signed in on it.
type dayFlags struct{ *replicaFlags }

// deed is one such command at work.
type deed struct {
	dayFlags
	ctx context.Context
	e   env
	d   *device.Device
	// book is the edition of the replica's clinic, builtin the one that is shipped.
	book, builtin *formulary.Edition
	// session is the visit that was named first; nil for none.
	session *chartv1.Session
	args    []string
}

// prepared is a command with its flags set up: the names of its arguments, and what it does.
type prepared struct {
	arguments []string
	run       func(*deed) error
}

func visitStep(name, usage, short string, prepare func(*flag.FlagSet) prepared) command {
	return dayCommand("visit", name, usage, short, visitHelp, prepare)
}

// dayCommand is a command of a group that works on a replica.
func dayCommand(group, name, usage, short, long string, prepare func(*flag.FlagSet) prepared) command {
	return command{name: name, usage: usage, short: short, long: long, run: func(ctx context.Context, e env, args []string) error {
		f := dayFlags{newReplicaFlags(e, name)}
		f.FlagSet.Init(group+" "+name, flag.ContinueOnError)
		p := prepare(f.FlagSet)
		found, err := f.parse(args, p.arguments...)
		if err != nil {
			return err
		}
		book, err := formulary.Builtin()
		if err != nil {
			return err
		}
		return f.withDevice(ctx, e, func(d *device.Device) error {
			at := &deed{dayFlags: f, ctx: ctx, e: e, d: d, book: d.Edition(book), builtin: book, args: found}
			if len(p.arguments) > 0 && p.arguments[0] == visitArgument {
				if err := at.readVisit(found[0]); err != nil {
					return err
				}
			}
			return p.run(at)
		})
	}}
}

// visitArgument is the name of the argument that names a visit.
const visitArgument = "ID"

// read finds a record of the replica, typed.
func readFrom[M proto.Message](at *deed, kind record.Kind, name, id string) (m M, err error) {
	key := record.Key{Kind: kind}
	if key.ID, err = readID(name, id); err != nil {
		return m, err
	}
	if at.d.State(key).Empty() {
		want := "a " + kindName(kind) + " that this tablet holds; needlebook replica list " + kindName(kind) + " shows which it does, and sync brings what is new"
		return m, fault.New(faultv1.Reason_REASON_NOT_FOUND, name, id, want)
	}
	r, err := chart.Typed(at.d.State(key))
	if err != nil {
		return m, err
	}
	_, inner, err := chart.KeyOf(r)
	m, _ = inner.(M)
	return m, err
}

func (at *deed) readVisit(id string) (err error) {
	at.session, err = readFrom[*chartv1.Session](at, optionsv1.RecordKind_RECORD_KIND_SESSION, visitArgument, id)
	return err
}

// all is every record of a kind that the replica holds.
func allFrom[M proto.Message](at *deed, kind record.Kind) ([]M, error) {
	var out []M
	for _, key := range at.d.Keys(kind) {
		r, err := chart.Typed(at.d.State(key))
		if err != nil {
			return nil, err
		}
		_, inner, err := chart.KeyOf(r)
		if err != nil {
			return nil, err
		}
		if m, ok := inner.(M); ok {
			out = append(out, m)
		}
	}
	return out, nil
}

func (at *deed) sessions() ([]*chartv1.Session, error) {
	return allFrom[*chartv1.Session](at, optionsv1.RecordKind_RECORD_KIND_SESSION)
}

func (at *deed) vials() ([]*chartv1.Vial, error) {
	return allFrom[*chartv1.Vial](at, optionsv1.RecordKind_RECORD_KIND_VIAL)
}

func (at *deed) vial(id string) (*chartv1.Vial, error) {
	return readFrom[*chartv1.Vial](at, optionsv1.RecordKind_RECORD_KIND_VIAL, "--vial", id)
}

func (at *deed) patient(id string) (*chartv1.Patient, error) {
	return readFrom[*chartv1.Patient](at, optionsv1.RecordKind_RECORD_KIND_PATIENT, "--patient", id)
}

// clinicOf is a clinic's record; nil where the replica does not hold it.
func (at *deed) clinicOf(id string) *chartv1.Clinic {
	c, err := readFrom[*chartv1.Clinic](at, optionsv1.RecordKind_RECORD_KIND_CLINIC, "clinic", id)
	if err != nil {
		return nil
	}
	return c
}

// hand is who works on the replica, with the roles that her record gives her at a clinic.
func (at *deed) hand(clinic string) (visit.Hand, error) {
	by, err := at.d.Act()
	if err != nil {
		return visit.Hand{}, err
	}
	h := visit.Hand{By: by.Staff.String(), At: by.At, NewID: uuid.NewString}
	staff, err := readFrom[*accessv1.Staff](at, optionsv1.RecordKind_RECORD_KIND_STAFF, "staff", h.By)
	if err != nil {
		return h, errors.New("the record of who is signed in is not on this replica, so her roles are not known; needlebook replica sync brings it")
	}
	for _, p := range staff.GetPositions() {
		if a := p.GetAssignment(); p.GetEnded() == nil && (a.ClinicId == nil || clinic == "" || a.GetClinicId() == clinic) {
			h.Roles = append(h.Roles, a.GetRoles()...)
		}
	}
	return h, nil
}

func (at *deed) sessionHand() (visit.Hand, error) { return at.hand(at.session.GetClinicId()) }

// write makes an edit of each part of a record, in this order, and answers the views after it.
func (at *deed) write(parts ...proto.Message) ([]*chartv1.RecordView, error) {
	var views []*chartv1.RecordView
	for _, part := range parts {
		r := chart.RecordOf(part)
		key, _, err := chart.KeyOf(r)
		if err != nil {
			return nil, err
		}
		change, err := at.d.Chart().Edit(&chartv1.EditRecordRequest{Record: r, Context: chart.WriteContext(at.d.State(key).Seen)})
		if err != nil {
			return nil, err
		}
		if len(change.Writes) == 0 {
			continue
		}
		if _, err := at.d.Edit(at.ctx, change); err != nil {
			return nil, err
		}
		view, err := at.d.View(key)
		if err != nil {
			return nil, err
		}
		views = append(views, view)
	}
	return views, nil
}

// done writes parts and prints, for people what tells, for programs the views of the records.
func (at *deed) done(tell func(*page), parts ...proto.Message) error {
	views, err := at.write(parts...)
	if err != nil {
		return err
	}
	if at.json {
		return printAsJSON(at.e.stdout, struct {
			Views []rawJSON `json:"views"`
		}{rawViews(views)})
	}
	if at.session != nil {
		if err := at.readVisit(at.session.GetId()); err != nil {
			return err
		}
	}
	var p page
	at.banner(&p)
	tell(&p)
	return p.write(at.e.stdout)
}

func rawViews(views []*chartv1.RecordView) []rawJSON {
	out := []rawJSON{}
	for _, v := range views {
		if b, err := recordJSON(v); err == nil {
			out = append(out, b)
		}
	}
	return out
}

// banner says that a visit is for practice.
func (at *deed) banner(p *page) {
	if at.session.GetPractice() != nil {
		p.line(visit.PracticeWord + ": this visit treats nobody and counts nowhere.")
	}
}

// stands tells where the visit stands.
func (at *deed) stands(p *page) {
	st := visit.StandingOf(at.session)
	p.wrapped("", "The visit is "+visit.StepText(st.Step)+".")
	for _, d := range st.Doubts {
		p.wrapped("", d)
	}
}

// then writes one part of the visit and tells where it stands.
func (at *deed) then(part *chartv1.Session, err error) error {
	if err != nil {
		return err
	}
	return at.done(at.stands, part)
}

// words splits a flag at its commas; nothing for an empty one.
func words(text string) []string {
	if text == "" {
		return nil
	}
	return strings.Split(text, ",")
}

// readDay reads a day such as 2026-03-01; empty is today by the machine's clock and zone.
func (at *deed) readDay(name, text string) (*recordv1.Date, error) {
	t := at.e.now()
	if text != "" {
		var err error
		if t, err = time.Parse(time.DateOnly, text); err != nil {
			return nil, usagef("%s: %s: read %q, want a day such as 2026-03-01", at.Name(), name, text)
		}
	}
	return &recordv1.Date{Year: int32(t.Year()), Month: int32(t.Month()), Day: int32(t.Day())}, nil
}

// readVolume reads millilitres; nil for an empty text.
func (at *deed) readVolume(name, text string) (*dose.Volume, error) {
	if text == "" {
		return nil, nil
	}
	v, err := dose.ParseVolume(text)
	if err != nil {
		return nil, usagef("%s: %s: read %q, want millilitres such as 0.05", at.Name(), name, text)
	}
	return &v, nil
}

// readSide reads right, left or midline.
func readSide(name, text string) (chartv1.Side, error) {
	switch text {
	case "":
		return 0, nil
	case "right":
		return chartv1.Side_SIDE_RIGHT, nil
	case "left":
		return chartv1.Side_SIDE_LEFT, nil
	case "midline":
		return chartv1.Side_SIDE_MIDLINE, nil
	}
	return 0, usagef("%s: read %q, want right, left or midline: the patient's own", name, text)
}

func sideWord(s chartv1.Side) string {
	return strings.ToLower(strings.TrimPrefix(s.String(), "SIDE_"))
}

// doseText is a dose for people.
func doseText(d *chartv1.Dose) string {
	a, err := dose.NewAmount(dose.Product(d.GetProduct()), int64(d.GetDoseMilliunits()))
	if err != nil {
		return "an unknown dose"
	}
	return a.Display() + " of " + d.GetProduct()
}
