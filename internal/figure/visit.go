package figure

import (
	"slices"
	"strconv"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/chart"
	"needlebook/internal/record"
)

// Visit is a session as figures see it.
type Visit struct {
	Session record.ID
	On      time.Time // the day, at midnight UTC
	// Kind is unspecified while none was stated, or several are in conflict.
	Kind chartv1.SessionKind
	// Session is the message, what is in conflict left out.
	Message    *chartv1.Session
	Given      chart.Given
	InConflict bool
	Signed     bool
}

// Fold folds a session on a day. The error is that of reading its message.
func Fold(st *record.State, on time.Time, signed bool) (Visit, error) {
	typed, err := chart.Typed(st)
	if err != nil {
		return Visit{}, err
	}
	m := typed.GetSession()
	return Visit{
		Session: st.Key.ID, On: on, Kind: m.GetKind(), Message: m, Given: chart.FoldSession(st, nil), InConflict: len(st.Conflicts()) > 0, Signed: signed,
	}, nil
}

// Treats reports whether the visit is a treatment of its own: something was given, and it is no touch-up.
func (v *Visit) Treats() bool {
	return v.Given.Givings() > 0 && v.Kind != chartv1.SessionKind_SESSION_KIND_TOUCH_UP && v.Kind != chartv1.SessionKind_SESSION_KIND_REVIEW
}

// Regions is the regions that something was given to, ascending; empty text among them for a muscle of none that is known.
func (v *Visit) Regions() []string {
	var out []string
	for _, t := range v.Given.Targets() {
		out = append(out, RegionOf(t.Muscle))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// RegionOf is the region of a muscle; empty for one that the anatomy does not have.
func RegionOf(muscle string) string {
	m, _ := anatomy.MuscleByCode(muscle)
	return string(m.Region)
}

// Unlike reports whether a review found the two sides of a region unlike: another grade right than left by the same scale in the same state, or another
// response. A grade or a response of the whole face, or of a part that is no region of the anatomy, counts for every region. seen is false when the
// review compared no sides there.
func (v *Visit) Unlike(region string) (unlike, seen bool) {
	type aspect struct{ what, region, scale string }
	right, left := map[aspect]string{}, map[aspect]string{}
	note := func(a aspect, side chartv1.Side, value string) {
		if !concerns(a.region, region) {
			return
		}
		switch side {
		case chartv1.Side_SIDE_RIGHT:
			right[a] = value
		case chartv1.Side_SIDE_LEFT:
			left[a] = value
		}
	}
	for _, r := range v.Message.GetRatings() {
		if g := r.GetGrade(); g != nil && r.GetVoid() == nil {
			note(aspect{"grade", g.GetRegion(), g.GetScale() + " " + g.GetContraction().String()}, g.GetSide(), strconv.Itoa(int(g.GetGrade())))
		}
	}
	for _, o := range v.Message.GetOutcomes() {
		if j := o.GetJudgement(); j.GetResponse() != "" && o.GetVoid() == nil {
			note(aspect{"response", j.GetRegion(), j.GetJudge().String()}, j.GetSide(), j.GetResponse())
		}
	}
	for a, value := range right {
		if other, both := left[a]; both {
			seen = true
			unlike = unlike || other != value
		}
	}
	return unlike, seen
}

func concerns(of, region string) bool {
	return of == region || !slices.Contains(anatomy.Regions(), anatomy.Region(of))
}
