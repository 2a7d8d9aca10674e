package reckon

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/fault"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

func date(text string) *recordv1.Date {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return &recordv1.Date{Year: int32(at.Year()), Month: int32(at.Month()), Day: int32(at.Day())}
}

// treated is a session with one giving in the mentalis on the right.
func treated(id, on, product string, milliunits int32) *chartv1.Session {
	return &chartv1.Session{Id: id, ClinicId: proto.String("c1"), Kind: chartv1.SessionKind_SESSION_KIND_TREATMENT.Enum(), On: date(on),
		Injections: []*chartv1.Injection{{Id: id + "-i", Muscle: proto.String("mentalis"), Side: chartv1.Side_SIDE_RIGHT.Enum(),
			Givings: []*chartv1.Giving{{Id: id + "-g", Given: &chartv1.GivenDose{Dose: &chartv1.Dose{Product: product, DoseMilliunits: milliunits}}}}}}}
}

func askedOn(on string, sessions ...*chartv1.Session) *dosev1.GetToxinHistoryRequest {
	return &dosev1.GetToxinHistoryRequest{On: date(on), Subject: &dosev1.GetToxinHistoryRequest_Facts{Facts: &dosev1.HistoryFacts{
		Patient: &chartv1.Patient{Id: "p"}, Sessions: sessions, Knowledge: []*dosev1.ClinicKnowledgeFact{{ClinicId: "c1", CompleteUntil: timestamppb.New(time.Unix(1_770_000_000, 0))}}}}}
}

func history(t testing.TB, e *formulary.Edition, r *dosev1.GetToxinHistoryRequest) *dosev1.GetToxinHistoryResponse {
	t.Helper()
	before := proto.CloneOf(r)
	h, err := GetToxinHistory(e, r)
	if err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(before, r) {
		t.Fatal("the request was changed")
	}
	return h
}

// threeMonths is the day of the month three months later, or the last of that month: the rule of java.time.LocalDate.plusMonths, in the standard
// library's calendar.
func threeMonths(d time.Time) time.Time {
	later := d.AddDate(0, 3, 0)
	if later.Day() != d.Day() {
		later = later.AddDate(0, 0, -later.Day())
	}
	return later
}

// Every interval of the table of label rules, whose rows name their sources, is kept as it is written (12 weeks, 90 days and 3 calendar months are three
// rules), and its first day is the standard library's, also at the ends of months and around leap days.
func TestEveryIntervalOfTheLabels(t *testing.T) {
	e := builtin(t)
	periods := map[string]struct {
		days, months int32
		after        func(time.Time) time.Time
	}{
		"12 weeks": {84, 0, func(d time.Time) time.Time { return d.AddDate(0, 0, 84) }},
		"90 days":  {90, 0, func(d time.Time) time.Time { return d.AddDate(0, 0, 90) }},
		"3 months": {0, 3, threeMonths},
	}
	checked := 0
	for _, row := range readRows(t, "label_rules.csv") {
		if row["topic"] != "min_retreatment_interval" {
			continue
		}
		for written, p := range periods {
			if !strings.Contains(row["rule"]+" "+row["note"], written) {
				continue
			}
			for _, on := range []string{"2025-11-30", "2025-11-29", "2023-11-30", "2024-02-29", "2026-01-31", "2026-05-15", "2025-12-01"} {
				at, err := time.Parse(time.DateOnly, on)
				if err != nil {
					t.Fatal(err)
				}
				want := date(p.after(at).Format(time.DateOnly))
				for _, c := range []struct {
					asked string
					met   bool
				}{{p.after(at).AddDate(0, 0, -1).Format(time.DateOnly), false}, {p.after(at).Format(time.DateOnly), true}} {
					h := history(t, e, askedOn(c.asked, treated("s", on, row["product"], 1000)))
					if !slices.ContainsFunc(h.GetProducts()[0].GetIntervals(), func(s *dosev1.IntervalState) bool {
						return s.GetDays() == p.days && s.GetMonths() == p.months && s.GetMarket() == row["region"] && s.GetProduct() == row["product"] &&
							proto.Equal(s.GetEarliestOn(), want) && s.GetMet() == c.met
					}) {
						t.Errorf("%s, %s (%s), %s after %s: not among %v", row["product"], row["region"], row["source"], written, on, h.GetProducts()[0].GetIntervals())
					}
					checked++
				}
			}
		}
	}
	if checked < 14*12 {
		t.Errorf("only %d days looked at", checked)
	}
}

// The ceiling of 400 units in 3 months over all uses (S06), at it and one step above: what a document tells of a disease counts, a day that has passed
// the 3 months does not.
func TestWindow(t *testing.T) {
	e := builtin(t)
	request := func(on string, milliunits int32) *dosev1.GetToxinHistoryRequest {
		r := askedOn("2026-02-28", treated("s", on, "onabotulinumtoxinA", milliunits))
		r.GetFacts().Patient.PriorTreatments = []*chartv1.PriorTreatment{{Id: "t", Report: &chartv1.PriorTreatmentReport{
			On:      &recordv1.ApproximateDate{Year: 2025, Month: proto.Int32(12), Day: proto.Int32(24)},
			Product: proto.String("onabotulinumtoxinA"), DoseMilliunits: proto.Int32(200_000), Therapeutic: true}}}
		return r
	}
	for _, c := range []struct {
		on         string
		milliunits int32
		sum        string
		over       bool
	}{
		{"2025-12-01", 200_000, "400", false},
		{"2025-12-01", 200_001, "400.001", true},
		{"2025-11-30", 200_001, "200", false}, // 3 months have passed on 28 February
		{"2026-02-28", 200_001, "400.001", true},
	} {
		h := history(t, e, request(c.on, c.milliunits))
		w := h.GetProducts()[0].GetWindows()[0]
		if w.GetGiven().GetLeastUnits() != c.sum || w.GetGiven().GetMostUnits() != c.sum || w.GetLimitUnits() != "400" || !citesOneOf(w.GetSource(), "S06") {
			t.Errorf("%s: %v", c.on, w)
		}
		i := slices.Index(codes(h.GetFindings()), CodeWindowAboveMost)
		if (i >= 0) != c.over || i >= 0 && h.GetFindings()[i].GetLevel() != formularyv1.Level_LEVEL_HOLD {
			t.Errorf("%s, %d: %v", c.on, c.milliunits, codes(h.GetFindings()))
		}
	}
	r := request("2025-12-01", 1000)
	r.GetFacts().Patient.PriorTreatments[0].Report.DoseMilliunits = nil
	h := history(t, e, r)
	i := slices.Index(codes(h.GetFindings()), CodeWindowAboveMost)
	if i < 0 || h.GetFindings()[i].GetLevel() != formularyv1.Level_LEVEL_CAUTION {
		t.Errorf("an unknown dose: %v", h.GetFindings())
	}
}

// Every code of a history, with facts that raise it and facts that just do not.
func TestHistoryFindings(t *testing.T) {
	const ona = "onabotulinumtoxinA"
	caution, note := formularyv1.Level_LEVEL_CAUTION, formularyv1.Level_LEVEL_NOTE
	reported := func(change func(*chartv1.PriorTreatmentReport)) *dosev1.GetToxinHistoryRequest {
		r := askedOn("2026-06-01")
		report := &chartv1.PriorTreatmentReport{On: &recordv1.ApproximateDate{Year: 2025}, Product: proto.String(ona), DoseMilliunits: proto.Int32(1000)}
		change(report)
		r.GetFacts().Patient.PriorTreatments = []*chartv1.PriorTreatment{{Id: "t", Report: report}}
		return r
	}
	touchUp := func(on string) *dosev1.GetToxinHistoryRequest {
		u := treated("u", on, ona, 1000)
		u.Kind, u.Parent = chartv1.SessionKind_SESSION_KIND_TOUCH_UP.Enum(), &chartv1.SessionParent{SessionId: "s"}
		return askedOn("2026-06-01", treated("s", "2026-01-01", ona, 1000), u)
	}
	conflict := func(values ...string) *dosev1.GetToxinHistoryRequest {
		r := askedOn("2026-06-01", treated("s", "2026-01-01", ona, 1000))
		r.GetFacts().Conflicts = []*dosev1.PathSiblings{{Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: "s"},
			Path: "on", ValuesJson: values}}
		return r
	}
	undated := askedOn("2026-06-01", treated("s", "2026-01-01", ona, 1000))
	undated.GetFacts().Sessions[0].On = nil
	unchecked := askedOn("2026-06-01", treated("s", "2026-01-01", ona, 1000))
	unchecked.GetFacts().Knowledge[0].CompleteUntil = nil
	same := func(*chartv1.PriorTreatmentReport) {}
	fine := reported(same)
	for _, c := range []struct {
		code        string
		level       formularyv1.Level
		clinic      bool
		trips, does *dosev1.GetToxinHistoryRequest
	}{
		{CodeClinicUnchecked, caution, false, unchecked, fine},
		{CodeIntervalNotMet, caution, false, askedOn("2026-03-31", treated("s", "2026-01-01", ona, 1000)), askedOn("2026-04-01", treated("s", "2026-01-01", ona, 1000))},
		{CodeNoInterval, note, false, askedOn("2026-06-01", treated("s", "2026-01-01", "rimabotulinumtoxinB", 1000)), fine},
		{CodeTouchUpCounts, note, false, touchUp("2026-01-15"), fine}, // nobody published a window
		{CodeTouchUpCounts, caution, true, touchUp("2026-01-14"), touchUp("2026-01-15")},
		{CodeTouchUpCounts, caution, true, touchUp("2026-01-30"), touchUp("2026-01-29")},
		{CodeDoseUnknown, caution, false, reported(func(r *chartv1.PriorTreatmentReport) { r.DoseMilliunits = nil }), fine},
		{CodeProductUnknown, caution, false, reported(func(r *chartv1.PriorTreatmentReport) { r.Product = nil }), fine},
		{CodeUndated, caution, false, undated, fine},
		{CodeUndated, caution, false, reported(func(r *chartv1.PriorTreatmentReport) { r.On = nil }), fine},
		{CodeAfterDay, caution, false, askedOn("2026-06-01", treated("s", "2026-06-02", ona, 1000)), askedOn("2026-06-01", treated("s", "2026-06-01", ona, 1000))},
		{CodeInConflict, caution, false, conflict(`{"year":2026,"month":1,"day":1}`, `{"year":2026,"month":1,"day":2}`), conflict(`{"year":2026,"month":1,"day":1}`)},
	} {
		e := builtin(t)
		if c.clinic {
			e = clinic(t)
		}
		h := history(t, e, c.trips)
		i := slices.Index(codes(h.GetFindings()), c.code)
		if i < 0 {
			t.Errorf("%s: not raised by %v: %v", c.code, c.trips, codes(h.GetFindings()))
			continue
		}
		if f := h.GetFindings()[i]; f.GetLevel() != c.level || f.GetText() == "" || len(f.GetAbout()) == 0 || f.GetAbout()[0] == "" {
			t.Errorf("%s: %v", c.code, f)
		}
		if quiet := history(t, e, c.does); slices.Contains(codes(quiet.GetFindings()), c.code) {
			t.Errorf("%s: raised by %v", c.code, c.does)
		}
	}
}

// No history is an all-clear: each says that other clinics were not checked, the one without a treatment among them.
func TestNeverAnAllClear(t *testing.T) {
	for _, r := range []*dosev1.GetToxinHistoryRequest{askedOn("2026-06-01"), askedOn("2026-06-01", treated("s", "2020-01-01", "onabotulinumtoxinA", 1000))} {
		h := history(t, builtin(t), r)
		if !strings.HasPrefix(h.GetUncheckedText(), "Other clinics not checked") || !slices.Contains(codes(h.GetFindings()), CodeElsewhereUnchecked) {
			t.Errorf("%q, %v", h.GetUncheckedText(), codes(h.GetFindings()))
		}
	}
}

// Of a patient who is for practice nothing counts, whatever her sessions say.
func TestPracticeCountsNowhere(t *testing.T) {
	s := treated("s", "2026-01-01", "onabotulinumtoxinA", 1000)
	r := askedOn("2026-06-01", s)
	r.GetFacts().Patient.Practice = &chartv1.PracticeMark{}
	if h := history(t, builtin(t), r); len(h.GetTreatments()) != 0 || h.LastOfAny != nil {
		t.Errorf("of a patient for practice: %v", h.GetTreatments())
	}
}

// What does not count: a voided session, a voided giving, a voided report. What counts although nobody wrote all of it down: a giving without a dose.
func TestWhatCounts(t *testing.T) {
	void := &recordv1.Void{Reason: "wrong patient"}
	for name, c := range map[string]struct {
		change func(*chartv1.Session)
		want   int
	}{
		"a treatment":         {func(*chartv1.Session) {}, 1},
		"a voided session":    {func(s *chartv1.Session) { s.Void = void }, 0},
		"marked as practice":  {func(s *chartv1.Session) { s.Practice = &chartv1.PracticeMark{} }, 1}, // of a real patient: a mark hides nobody's treatment
		"a voided giving":     {func(s *chartv1.Session) { s.Injections[0].Givings[0].Void = void }, 0},
		"a voided injection":  {func(s *chartv1.Session) { s.Injections[0].Void = void }, 1}, // it was given before it left the plan
		"nothing given":       {func(s *chartv1.Session) { s.Injections[0].Givings = nil }, 0},
		"a dose of nothing":   {func(s *chartv1.Session) { s.Injections[0].Givings[0].Given.Dose.DoseMilliunits = 0 }, 0},
		"no dose written":     {func(s *chartv1.Session) { s.Injections[0].Givings[0].Given = nil }, 1},
		"given at a review":   {func(s *chartv1.Session) { s.Kind = chartv1.SessionKind_SESSION_KIND_REVIEW.Enum() }, 1},
		"a kind nobody wrote": {func(s *chartv1.Session) { s.Kind = nil }, 1},
	} {
		s := treated("s", "2026-01-01", "onabotulinumtoxinA", 1000)
		c.change(s)
		h := history(t, builtin(t), askedOn("2026-06-01", s))
		if len(h.GetTreatments()) != c.want || len(h.GetProducts()) != c.want || (h.LastOfAny != nil) != (c.want == 1) {
			t.Errorf("%s: %v", name, h.GetTreatments())
		}
	}
}

// Conflicts: each value stands, so that the sum is a range; an element that only a conflict names is found; a void in conflict makes it from nothing.
func TestConflictsMakeRanges(t *testing.T) {
	const ona = "onabotulinumtoxinA"
	dose := func(milliunits int) string {
		return fmt.Sprintf(`{"dose":{"product":%q,"dose_milliunits":%d}}`, ona, milliunits)
	}
	for _, c := range []struct {
		path        string
		values      []string
		least, most string
		targets     int
	}{
		{"injections[s-i].givings[s-g].given", []string{dose(1000), dose(1500)}, "1", "1.5", 1},
		{"injections[s-i].givings[s-g].side", []string{`"SIDE_LEFT"`, `null`}, "1", "1", 2},
		{"injections[s-i].muscle", []string{`"mentalis"`, `"platysma"`}, "1", "1", 2},
		{"injections[s-i].givings[s-g].void", []string{`null`, `{"reason":"x"}`}, "0", "1", 1},
		{"injections[s-i].givings[other].given", []string{dose(250), dose(500)}, "1.25", "1.5", 1},
		{"void", []string{`null`, `{"reason":"x"}`}, "0", "1", 1},
		{"injections[s-i].givings[s-g].spill", []string{`null`, `{"text":"it ran out"}`}, "0", "1", 1},
	} {
		r := askedOn("2026-06-01", treated("s", "2026-01-01", ona, 1000))
		r.GetFacts().Conflicts = []*dosev1.PathSiblings{{Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: "s"},
			Path: c.path, ValuesJson: c.values}}
		h := history(t, builtin(t), r)
		total := h.GetProducts()[0].GetTotal()
		if g := total.GetGiven(); g.GetLeastUnits() != c.least || g.GetMostUnits() != c.most || g.GetCertain() != (c.least == c.most) || len(total.GetTargets()) != c.targets {
			t.Errorf("%s: %v", c.path, total)
		}
		if !h.GetTreatments()[0].GetInConflict() || !slices.Contains(codes(h.GetFindings()), CodeInConflict) {
			t.Errorf("%s: the conflict is not said", c.path)
		}
	}
}

// A report that names only a year or a month counts from its last day, since the treatment may have been then; and never later than the day asked about.
func TestApproximateDaysCountFromTheirEnd(t *testing.T) {
	for _, c := range []struct {
		on   *recordv1.ApproximateDate
		from string
	}{
		{&recordv1.ApproximateDate{Year: 2025}, "2025-12-31"},
		{&recordv1.ApproximateDate{Year: 2024, Month: proto.Int32(2)}, "2024-02-29"},
		{&recordv1.ApproximateDate{Year: 2026, Month: proto.Int32(6)}, "2026-06-11"},
		{&recordv1.ApproximateDate{Year: 2026}, "2026-06-11"},
		{&recordv1.ApproximateDate{Year: 2026, Month: proto.Int32(6), Day: proto.Int32(3)}, "2026-06-03"},
		{nil, "2026-06-11"},
	} {
		r := askedOn("2026-06-11")
		r.GetFacts().Patient.PriorTreatments = []*chartv1.PriorTreatment{{Id: "t", Report: &chartv1.PriorTreatmentReport{On: c.on, Product: proto.String("prabotulinumtoxinA")}}}
		h := history(t, builtin(t), r)
		if from := h.GetProducts()[0].GetIntervals()[0].GetCountedFrom(); !proto.Equal(from, date(c.from)) {
			t.Errorf("%v: counted from %v", c.on, from)
		}
	}
}

// Pages hold every treatment once, newest first, and sums do not depend on them.
func TestPages(t *testing.T) {
	var sessions []*chartv1.Session
	for i := range 7 {
		sessions = append(sessions, treated(fmt.Sprint("s", i), time.Date(2020+i%3, 1, 1+i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), "onabotulinumtoxinA", 1000))
	}
	r := askedOn("2026-06-01", sessions...)
	whole := history(t, builtin(t), r)
	r.PageSize = 3
	var seen []*dosev1.TreatmentEntry
	for {
		page := history(t, builtin(t), r)
		seen = append(seen, page.GetTreatments()...)
		if page.GetProducts()[0].GetTotal().GetGiven().GetLeastUnits() != "7" {
			t.Errorf("a page sums %v", page.GetProducts()[0].GetTotal())
		}
		if r.PageToken = page.GetNextPageToken(); r.PageToken == "" {
			break
		}
	}
	if !slices.EqualFunc(seen, whole.GetTreatments(), func(a, b *dosev1.TreatmentEntry) bool { return proto.Equal(a, b) }) || len(seen) != 7 {
		t.Errorf("%v", seen)
	}
	for i := 1; i < len(seen); i++ {
		a, b := seen[i-1].GetOn(), seen[i].GetOn()
		if a.GetYear() < b.GetYear() || a.GetYear() == b.GetYear() && a.GetDay() < b.GetDay() {
			t.Errorf("%v stands before %v", a, b)
		}
	}
}

// So many values in conflict that their combinations cannot be gone through are refused, with the giving at which it was too many.
func TestTooManyConflicts(t *testing.T) {
	r := askedOn("2026-06-01", treated("s", "2026-01-01", "onabotulinumtoxinA", 1000))
	values := func(n int, text string) []string {
		var all []string
		for i := range n {
			all = append(all, fmt.Sprintf(text, i))
		}
		return all
	}
	set := func(muscles int) {
		r.GetFacts().Conflicts = nil
		for path, all := range map[string][]string{
			"injections[s-i].muscle":             values(muscles, `"m%d"`),
			"injections[s-i].givings[s-g].given": values(64, `{"dose":{"product":"onabotulinumtoxinA","dose_milliunits":%d}}`),
			"injections[s-i].givings[s-g].spill": values(16, `{"text":"%d"}`),
		} {
			r.GetFacts().Conflicts = append(r.GetFacts().Conflicts, &dosev1.PathSiblings{
				Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: "s"}, Path: path, ValuesJson: all})
		}
	}
	set(64)
	if h, err := GetToxinHistory(builtin(t), r); err != nil || len(h.GetProducts()[0].GetTotal().GetTargets()) != 64 {
		t.Errorf("64 x 64 x 16 ways: %v", err)
	}
	set(64)
	r.GetFacts().Sessions = append(r.GetFacts().Sessions, treated("t", "2026-01-02", "onabotulinumtoxinA", 1000))
	r.GetFacts().Conflicts = append(r.GetFacts().Conflicts, &dosev1.PathSiblings{
		Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: "t"}, Path: "injections[t-i].muscle", ValuesJson: values(1, `"m%d"`)})
	_, err := GetToxinHistory(builtin(t), r)
	if o := fault.Of(err); o == nil || o.Reason != faultv1.Reason_REASON_CANNOT_RECKON || o.Field != "facts.sessions[1].injections[0].givings[0]" {
		t.Errorf("one more: %v", err)
	}
}

// A touch-up belongs to its parent only on the word of someone who may: not by a window that is only remembered, nor while its kind or its parent is in
// conflict.
func TestTouchUpsInDoubt(t *testing.T) {
	request := func() *dosev1.GetToxinHistoryRequest {
		u := treated("u", "2026-01-15", "onabotulinumtoxinA", 1000)
		u.Kind, u.Parent = chartv1.SessionKind_SESSION_KIND_TOUCH_UP.Enum(), &chartv1.SessionParent{SessionId: "s"}
		return askedOn("2026-06-01", treated("s", "2026-01-01", "onabotulinumtoxinA", 1000), u)
	}
	remembered := edition(t, &formularyv1.FormularyEdition{Version: proto.String("weak"), TouchUpRules: []*formularyv1.TouchUpRuleEntry{{
		Value: &formularyv1.TouchUpRule{Code: "a", Earliest: &formularyv1.Period{Days: 1}, Latest: &formularyv1.Period{Days: 90},
			Level: formularyv1.Level_LEVEL_CAUTION, Provenance: &formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_MEMORY}}}}})
	conflict := func(path string, values ...string) *dosev1.GetToxinHistoryRequest {
		r := request()
		r.GetFacts().Conflicts = []*dosev1.PathSiblings{{Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: "u"}, Path: path, ValuesJson: values}}
		return r
	}
	for name, c := range map[string]struct {
		e    *formulary.Edition
		r    *dosev1.GetToxinHistoryRequest
		want bool
		text string
	}{
		"the lead's window":    {clinic(t), request(), true, ""},
		"a remembered window":  {remembered, request(), false, "set by the medical lead"},
		"its kind in conflict": {clinic(t), conflict("kind", `"SESSION_KIND_TOUCH_UP"`, `"SESSION_KIND_TREATMENT"`), false, "in conflict"},
		"its parent too":       {clinic(t), conflict("parent", `{"session_id":"s"}`, `null`), false, "in conflict"},
		"settled":              {clinic(t), conflict("kind", `"SESSION_KIND_TOUCH_UP"`), true, ""},
		"its day in conflict":  {clinic(t), conflict("on", `{"year":2026,"month":1,"day":15}`, `{"year":2026,"month":1,"day":14}`), false, "outside the window"},
	} {
		h := history(t, c.e, c.r)
		last, full := h.GetProducts()[0].GetLastOn(), h.GetProducts()[0].GetLastFullOn()
		if u := h.GetTreatments()[0]; u.GetTouchUp() != c.want || !strings.Contains(u.GetNotTouchUpText(), c.text) || proto.Equal(last, full) == c.want {
			t.Errorf("%s: %v; last %v, full %v", name, u, last, full)
		}
	}
}
