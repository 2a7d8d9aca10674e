package visit

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/formulary"
)

// GradeRegion records a grade. Scale, version and direction are taken from the edition's scale of that code, so that a grade always says which way it
// counts; a grade outside the scale, or of a region that it does not rate, is refused. A grade of the same scale, region, side and contraction that this
// visit holds already is voided by it.
func GradeRegion(h Hand, e *formulary.Edition, s *chartv1.Session, g *chartv1.Grade) (*chartv1.Session, error) {
	if err := May(Rate, s, h.Roles...); err != nil {
		return nil, err
	}
	fresh := proto.CloneOf(g)
	found := false
	for _, entry := range e.Message().GetRatingScales() {
		scale := entry.GetValue()
		if scale.GetCode() != g.GetScale() {
			continue
		}
		found = true
		switch {
		case g.GetGrade() < scale.GetLowest() || g.GetGrade() > scale.GetHighest():
			return nil, wrong("ratings.grade.grade", strconv.Itoa(int(g.GetGrade())),
				strconv.Itoa(int(scale.GetLowest()))+" to "+strconv.Itoa(int(scale.GetHighest())))
		case !rates(scale.GetRegions(), g.GetRegion()):
			return nil, wrong("ratings.grade.region", g.GetRegion(), "one of "+strings.Join(scale.GetRegions(), ", "))
		}
		fresh.Version, fresh.Direction = scale.GetVersion(), scale.GetHigherIs()
	}
	if !found {
		return nil, wrong("ratings.grade.scale", g.GetScale(), "a scale of the formulary")
	}
	fresh.Rated = h.Act()
	out := part(s)
	out.Ratings = []*chartv1.Rating{{Id: h.NewID(), Grade: fresh}}
	for _, old := range s.GetRatings() {
		if old.GetVoid() == nil && gradeKey(old.GetGrade()) == gradeKey(fresh) {
			out.Ratings = append(out.Ratings, &chartv1.Rating{Id: old.GetId(), Void: h.void("graded anew in this visit")})
		}
	}
	return out, nil
}

// rates reports whether a scale rates a region: by its name, or because it is for the whole face.
func rates(regions []string, region string) bool {
	return len(regions) == 0 || slices.Contains(regions, region) || slices.Contains(regions, "whole_face")
}

type gradeOf struct {
	scale, region string
	side          chartv1.Side
	how           chartv1.Contraction
}

func gradeKey(g *chartv1.Grade) gradeOf {
	return gradeOf{g.GetScale(), g.GetRegion(), g.GetSide(), g.GetContraction()}
}

// Graded is one thing that was graded, before and at the reviews, the earliest first.
type Graded struct {
	Scale       string              `json:"scale"`
	Region      string              `json:"region"`
	Side        chartv1.Side        `json:"side"`
	Contraction chartv1.Contraction `json:"contraction"`
	Grades      []GradeAt           `json:"grades"`
}

// GradeAt is a grade in a visit.
type GradeAt struct {
	SessionID string         `json:"session_id"`
	Grade     *chartv1.Grade `json:"grade"`
}

// CompareGrades lays the grades of a patient's visits side by side by scale, region, side and contraction, so that the left and the right, and before and
// after, can be compared. Voided visits and grades are left out.
func CompareGrades(sessions []*chartv1.Session) []Graded {
	visits := slices.Clone(sessions)
	slices.SortStableFunc(visits, func(a, b *chartv1.Session) int {
		return cmp.Or(cmp.Compare(dayNumber(a), dayNumber(b)), strings.Compare(a.GetId(), b.GetId()))
	})
	at := map[gradeOf]int{}
	var out []Graded
	for _, s := range visits {
		for _, r := range s.GetRatings() {
			g := r.GetGrade()
			if s.GetVoid() != nil || r.GetVoid() != nil || g == nil {
				continue
			}
			key := gradeKey(g)
			i, ok := at[key]
			if !ok {
				i, at[key] = len(out), len(out)
				out = append(out, Graded{Scale: key.scale, Region: key.region, Side: key.side, Contraction: key.how})
			}
			out[i].Grades = append(out[i].Grades, GradeAt{s.GetId(), g})
		}
	}
	slices.SortStableFunc(out, func(a, b Graded) int {
		return cmp.Or(strings.Compare(a.Region, b.Region), cmp.Compare(a.Side, b.Side), cmp.Compare(a.Contraction, b.Contraction), strings.Compare(a.Scale, b.Scale))
	})
	return out
}

// JudgeResult records how good a result is, by whom: of a region and a side, or of the whole face.
func JudgeResult(h Hand, s *chartv1.Session, j *chartv1.OutcomeJudgement) (*chartv1.Session, error) {
	if err := May(Judge, s, h.Roles...); err != nil {
		return nil, err
	}
	switch {
	case j.GetJudge() == chartv1.Judge_JUDGE_UNSPECIFIED:
		return nil, wrong("outcomes.judgement.judge", "", "the clinician or the patient")
	case j.Response == nil && j.SatisfactionPermille == nil && j.MoreWanted == nil && j.GetText() == "":
		return nil, wrong("outcomes.judgement", "", "a response, a satisfaction or words")
	}
	fresh := proto.CloneOf(j)
	fresh.Taken = h.Act()
	out := part(s)
	out.Outcomes = []*chartv1.Outcome{{Id: h.NewID(), Judgement: fresh}}
	return out, nil
}

// FollowUps lists the visits that look back on one: its reviews and touch-ups that count, the earliest first.
func FollowUps(parent *chartv1.Session, history []*chartv1.Session) []*chartv1.Session {
	var out []*chartv1.Session
	for _, s := range history {
		if s.GetParent().GetSessionId() == parent.GetId() && s.GetVoid() == nil && (s.GetPractice() != nil) == (parent.GetPractice() != nil) {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b *chartv1.Session) int {
		return cmp.Or(cmp.Compare(dayNumber(a), dayNumber(b)), strings.Compare(a.GetId(), b.GetId()))
	})
	return out
}

// SideTotal is what a treatment and its touch-ups gave to one side with one product, in thousandths of a unit: what was given, and how much of it came of
// touch-ups.
type SideTotal struct {
	Product  string       `json:"product"`
	Side     chartv1.Side `json:"side"`
	Given    int64        `json:"given_milliunits"`
	TouchUps int64        `json:"touch_up_milliunits"`
}

// SidesOf sums what a treatment gave to each side, its touch-ups counted in. What was spilt counts as given: the sums are what was put in.
func SidesOf(parent *chartv1.Session, history []*chartv1.Session) []SideTotal {
	var out []SideTotal
	for i, s := range append([]*chartv1.Session{parent}, FollowUps(parent, history)...) {
		for _, in := range s.GetInjections() {
			for _, g := range in.GetGivings() {
				if counts(g) {
					out = addSide(out, g.GetGiven().GetDose(), sideGiven(in, g), i > 0)
				}
			}
		}
	}
	slices.SortFunc(out, func(a, b SideTotal) int {
		return cmp.Or(strings.Compare(a.Product, b.Product), cmp.Compare(a.Side, b.Side))
	})
	return out
}

func addSide(sums []SideTotal, d *chartv1.Dose, side chartv1.Side, touchUp bool) []SideTotal {
	i := slices.IndexFunc(sums, func(t SideTotal) bool { return t.Product == d.GetProduct() && t.Side == side })
	if i < 0 {
		i = len(sums)
		sums = append(sums, SideTotal{Product: d.GetProduct(), Side: side})
	}
	sums[i].Given += int64(d.GetDoseMilliunits())
	if touchUp {
		sums[i].TouchUps += int64(d.GetDoseMilliunits())
	}
	return sums
}
