package reckon

import (
	"cmp"
	"slices"
	"strconv"

	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// review is a session that looks back on another.
type review struct {
	session *chartv1.Session
	day     dose.Day
	// dated says that the day is known and not in doubt.
	dated bool
	// doubtful says that what it looks back on is in conflict.
	doubtful bool
}

// readReviews finds the sessions that look back on a treatment, by that treatment, oldest first. One whose treatment is in conflict stands with each.
func (in *asymmetryReader) readReviews(sessions []*chartv1.Session) {
	in.reviews = make(map[string][]review)
	for i, s := range sessions {
		of := in.conflicts[s.GetId()]
		if _, void := in.voided(of, "void", s.GetVoid()); void || in.forPractice(s) {
			continue
		}
		parents := optionsOf(in.reader, of, "parent", s.GetParent(), parseMessage[*chartv1.SessionParent])
		at := review{session: s, doubtful: len(parents) > 1}
		days := optionsOf(in.reader, of, "on", s.GetOn(), parseMessage[*recordv1.Date])
		if len(days) == 1 && days[0] != nil {
			at.day, at.dated = in.day("facts.sessions["+strconv.Itoa(i)+"].on", days[0]), true
		}
		seen := map[string]bool{"": true}
		for _, p := range parents {
			if id := p.GetSessionId(); !seen[id] {
				seen[id] = true
				in.reviews[id] = append(in.reviews[id], at)
			}
		}
	}
	for _, all := range in.reviews {
		slices.SortStableFunc(all, func(a, b review) int {
			return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.session.GetId(), b.session.GetId()))
		})
	}
}

// graded is what a grade is of; grades are only compared within one.
type graded struct {
	region, scale, version string
	direction              formularyv1.ScaleDirection
	contraction            chartv1.Contraction
}

func compareGraded(a, b graded) int {
	return cmp.Or(cmp.Compare(a.region, b.region), cmp.Compare(a.scale, b.scale), cmp.Compare(a.version, b.version),
		cmp.Compare(a.direction, b.direction), cmp.Compare(a.contraction, b.contraction))
}

// pair is the grades of right and left; nil where there is none.
type pair struct{ right, left *int32 }

// responses adds the grades of the treatment's own visit, which are those before it, beside those of each review; without a review those before alone.
func (in *asymmetryReader) responses(t *dosev1.TreatmentSides, i int) {
	v := &in.visits[i]
	before, doubtful := in.grades(v.session)
	t.InConflict = t.InConflict || doubtful
	reviews := in.reviews[v.session.GetId()]
	for _, r := range reviews {
		after, doubtful := in.grades(r.session)
		t.InConflict = t.InConflict || doubtful || r.doubtful
		in.judgements(t, r.session)
		from, until := in.history.Days(i)
		var days *int32
		if r.dated && from == until {
			n := int32(r.day - until)
			days = &n
		}
		t.Responses = append(t.Responses, responsesOf(before, after, r.session.GetId(), days)...)
	}
	if len(reviews) == 0 {
		t.Responses = responsesOf(before, nil, "", nil)
	}
}

func responsesOf(before, after map[graded]pair, session string, days *int32) []*dosev1.SideResponse {
	var keys []graded
	for k := range before {
		keys = append(keys, k)
	}
	for k := range after {
		if _, both := before[k]; !both {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, compareGraded)
	var all []*dosev1.SideResponse
	for _, k := range keys {
		b, a := before[k], after[k]
		all = append(all, &dosev1.SideResponse{Region: k.region, Scale: k.scale, Version: k.version, Direction: k.direction, Contraction: k.contraction,
			RightBefore: b.right, LeftBefore: b.left, RightAfter: a.right, LeftAfter: a.left,
			RightChange: change(b.right, a.right), LeftChange: change(b.left, a.left), ReviewSessionId: session, DaysAfter: days})
	}
	return all
}

func change(before, after *int32) *int32 {
	if before == nil || after == nil {
		return nil
	}
	n := *after - *before
	return &n
}

// grades are the grades of a session that have a side. One that is in conflict, or that stands beside another of the same, is left out and doubtful.
func (in *asymmetryReader) grades(s *chartv1.Session) (grades map[graded]pair, doubtful bool) {
	of := in.conflicts[s.GetId()]
	grades = make(map[graded]pair)
	differ := make(map[graded]map[chartv1.Side]bool)
	for _, rating := range s.GetRatings() {
		path := "ratings[" + rating.GetId() + "]"
		maybeVoid, void := in.voided(of, path+".void", rating.GetVoid())
		g := rating.GetGrade()
		side, ok := sideOf(g.GetSide())
		switch {
		case of.doubtful(path+".grade") || maybeVoid != void:
			doubtful = true
			continue
		case void || !ok || side == dose.SideMidline || in.regions != nil && !in.regions[g.GetRegion()]:
			continue
		}
		k := graded{g.GetRegion(), g.GetScale(), g.GetVersion(), g.GetDirection(), g.GetContraction()}
		p := grades[k]
		at := &p.right
		if side == dose.SideLeft {
			at = &p.left
		}
		n := g.GetGrade()
		switch {
		case differ[k][g.GetSide()]:
		case *at != nil && **at != n:
			*at, doubtful = nil, true
			if differ[k] == nil {
				differ[k] = make(map[chartv1.Side]bool)
			}
			differ[k][g.GetSide()] = true
		default:
			*at = &n
		}
		grades[k] = p
	}
	return grades, doubtful
}

// judgements adds how the result was judged at a review.
func (in *asymmetryReader) judgements(t *dosev1.TreatmentSides, s *chartv1.Session) {
	of := in.conflicts[s.GetId()]
	for _, o := range s.GetOutcomes() {
		path := "outcomes[" + o.GetId() + "]"
		maybeVoid, void := in.voided(of, path+".void", o.GetVoid())
		j := o.GetJudgement()
		switch {
		case of.doubtful(path+".judgement") || maybeVoid != void:
			t.InConflict = true
		case !void && (in.regions == nil || j.GetRegion() == "" || in.regions[j.GetRegion()]):
			t.Judgements = append(t.Judgements, &dosev1.SideJudgement{SessionId: s.GetId(), Side: optionalChartSide(j.GetSide()), Region: j.GetRegion(),
				Judge: j.GetJudge(), Response: j.GetResponse()})
		}
	}
}
