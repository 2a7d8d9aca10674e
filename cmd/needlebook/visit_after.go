package main

import (
	"flag"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/chart"
	"needlebook/internal/record"
	"needlebook/internal/visit"
)

func visitAfterCare(f *flag.FlagSet) prepared {
	language := f.String("language", "en", "the `language` of the sheet")
	way := f.String("way", "", "how it was given, such as paper or mail; only prints it without")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		vials, err := at.vials()
		if err != nil {
			return err
		}
		sheet := visit.SheetOf(at.book, at.session, at.clinicOf(at.session.GetClinicId()), vials, *language)
		tell := func(p *page) {
			for line := range strings.Lines(sheet.Text) {
				p.wrapped("", strings.TrimRight(line, "\n"))
			}
			for _, lack := range sheet.Lacks {
				p.wrapped("", "The sheet lacks "+lack+".")
			}
		}
		if *way == "" {
			return at.done(tell)
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		part, err := visit.GiveAfterCare(h, at.session, sheet, *language, *way, at.session.GetBasis().GetEdition())
		if err != nil {
			return err
		}
		return at.done(tell, part)
	}}
}

func visitReviewDate(f *flag.FlagSet) prepared {
	from := f.String("from", "", "the earliest `day`; by the formulary without it")
	until := f.String("until", "", "the last `day`")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		first, last, err := visit.ReviewSpan(at.book, at.session)
		if *from != "" {
			first, err = at.readDay("--from", *from)
			if err == nil {
				last, err = at.readDay("--until", *until)
			}
		}
		if err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		part, err := visit.SetReviewDate(h, at.session, first, last)
		if err != nil {
			return err
		}
		return at.done(func(p *page) {
			p.line("Review between " + visit.DateText(first) + " and " + visit.DateText(last) + ".")
		}, part)
	}}
}

func visitJudge(f *flag.FlagSet) prepared {
	by := f.String("by", "", "who judges: clinician or patient")
	region := f.String("region", "", "the `region`; the whole face without it")
	side := f.String("side", "", "right, left or midline; both without it")
	response := f.String("response", "", "too_little, as_wanted, too_much or spread")
	satisfaction := f.Int("satisfaction", -1, "how satisfied, 0 to 1000")
	more := f.String("more-wanted", "", "yes or no")
	text := f.String("text", "", "in `words`")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		j := &chartv1.OutcomeJudgement{Judge: chartv1.Judge(chartv1.Judge_value["JUDGE_"+strings.ToUpper(*by)]), Text: *text}
		s, err := readSide(at.Name()+": --side", *side)
		if err != nil {
			return err
		}
		if s != 0 {
			j.Side = s.Enum()
		}
		if *region != "" {
			j.Region = region
		}
		if *response != "" {
			j.Response = response
		}
		if *satisfaction >= 0 {
			j.SatisfactionPermille = proto.Int32(int32(*satisfaction))
		}
		switch *more {
		case "":
		case "yes", "no":
			j.MoreWanted = proto.Bool(*more == "yes")
		default:
			return usagef("%s: --more-wanted: read %q, want yes or no", at.Name(), *more)
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.JudgeResult(h, at.session, j))
	}}
}

// sidesJSON is what each side had and how it was graded.
type sidesJSON struct {
	Sides  []visit.SideTotal `json:"sides"`
	Grades []visit.Graded    `json:"grades"`
}

func visitSides(*flag.FlagSet) prepared {
	return prepared{[]string{visitArgument}, func(at *deed) error {
		history, err := at.sessions()
		if err != nil {
			return err
		}
		history = slices.DeleteFunc(history, func(s *chartv1.Session) bool { return s.GetPatientId() != at.session.GetPatientId() })
		follow := append([]*chartv1.Session{at.session}, visit.FollowUps(at.session, history)...)
		out := sidesJSON{visit.SidesOf(at.session, history), visit.CompareGrades(follow)}
		if at.json {
			return printAsJSON(at.e.stdout, out)
		}
		var p page
		at.banner(&p)
		rows := [][]string{{"side", "given", "of it touch-ups", "product"}}
		for _, s := range out.Sides {
			rows = append(rows, []string{sideWord(s.Side), unitsOf(&chartv1.Dose{Product: s.Product, DoseMilliunits: int32(s.Given)}),
				unitsOf(&chartv1.Dose{Product: s.Product, DoseMilliunits: int32(s.TouchUps)}), s.Product})
		}
		p.table(rows)
		for _, g := range out.Grades {
			var grades []string
			for _, x := range g.Grades {
				grades = append(grades, gradeShown(x.Grade))
			}
			how := spaces(strings.ToLower(strings.TrimPrefix(g.Contraction.String(), "CONTRACTION_")))
			p.wrapped("", fmt.Sprintf("%s %s, %s: %s", spaces(g.Region), strings.TrimPrefix(sideWord(g.Side), "unspecified"), how, strings.Join(grades, ", then ")))
		}
		return p.write(at.e.stdout)
	}}
}

func visitSign(f *flag.FlagSet) prepared {
	meaning := f.String("meaning", "", "what is said by it: performed, supervised or addendum")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		s := chart.Signing{}
		var err error
		if s.Meaning, s.Statement, err = readMeaning(at.Name(), *meaning); err != nil {
			return err
		}
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		key, err := readKey("session", at.session.GetId())
		if err != nil {
			return err
		}
		if err := at.d.CheckWhole(key); err != nil {
			return err
		}
		if err := visit.MaySign(h, at.session, s.Meaning); err != nil {
			return err
		}
		if s.By, err = at.d.Act(); err != nil {
			return err
		}
		s.ID, s.Proof, s.Role = record.ID(uuid.New()), "unlocked_device", h.Roles[0]
		change, err := at.d.Chart().Sign(at.d.State(key), s)
		if err != nil {
			return err
		}
		if _, err := at.d.Edit(at.ctx, change); err != nil {
			return err
		}
		return visitShow(f).run(at)
	}}
}

func visitVoid(f *flag.FlagSet) prepared {
	reason := f.String("reason", "", "why it does not count, in `words`")
	return prepared{[]string{visitArgument}, func(at *deed) error {
		h, err := at.sessionHand()
		if err != nil {
			return err
		}
		return at.then(visit.VoidVisit(h, at.session, *reason))
	}}
}

// shownJSON is where a visit stands.
type shownJSON struct {
	Step     string             `json:"step"`
	Practice bool               `json:"practice"`
	Void     bool               `json:"void"`
	Given    bool               `json:"given"`
	Doubts   []string           `json:"doubts"`
	May      []string           `json:"may"`
	Lacking  []string           `json:"lacking"`
	Owed     []visit.Owed       `json:"owed"`
	Plan     []visit.Difference `json:"plan"`
	View     rawJSON            `json:"view"`
}

func visitShow(*flag.FlagSet) prepared {
	return prepared{[]string{visitArgument}, func(at *deed) error {
		if err := at.readVisit(at.session.GetId()); err != nil {
			return err
		}
		key, err := readKey("session", at.session.GetId())
		if err != nil {
			return err
		}
		view, err := at.d.View(key)
		if err != nil {
			return err
		}
		st := visit.StandingOf(at.session)
		owed := visit.OwedOf(at.session, len(view.GetLateEntries()))
		if at.json {
			raw, err := recordJSON(view)
			if err != nil {
				return err
			}
			return printAsJSON(at.e.stdout, shownJSON{strings.ToLower(strings.TrimPrefix(st.Step.String(), "SESSION_STEP_")), st.Practice, st.Void, st.Given,
				st.Doubts, at.may(), visit.Lacking(at.session), owed, visit.PlanAndGiven(at.session), raw})
		}
		t := recordText{doses: len(at.session.GetInjections()) > 0}
		at.banner(&t.page)
		at.stands(&t.page)
		at.plan(&t.page)
		for _, lack := range visit.Lacking(at.session) {
			t.wrapped("", at.vialNames(lack))
		}
		for _, o := range owed {
			t.wrapped("", "Owed: "+o.Text)
		}
		t.conflicts(view.GetConflicts(), false)
		t.held(view.GetHeldEdits(), false)
		t.late(key.Kind, view.GetLateEntries())
		t.wrapped("", "May be done now: "+strings.Join(at.may(), ", ")+".")
		return t.write(at.e.stdout)
	}}
}

// may lists what who is signed in may do in the visit as it stands.
func (at *deed) may() []string {
	out := []string{}
	h, err := at.sessionHand()
	if err != nil {
		return out
	}
	for _, row := range visit.Table() {
		if visit.May(row.Deed, at.session, h.Roles...) == nil {
			out = append(out, string(row.Deed))
		}
	}
	return out
}
