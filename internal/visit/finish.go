package visit

import (
	"cmp"
	"crypto/sha256"
	"slices"
	"strings"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/anatomy"
	"needlebook/internal/dose"
	"needlebook/internal/formulary"
)

// PracticeWord stands on everything that a visit for practice shows.
const PracticeWord = "PRACTICE"

// reviewDays is how long after its first day a review is overdue where no rule says it: nobody published a figure.
const reviewDays = 14

// Sheet is the after-care sheet of a visit.
type Sheet struct {
	// Emergency are the signs that mean help at once, Lines the rest, as the formulary has them.
	Emergency, Lines []string
	// Text is the whole sheet in plain text; its SHA-256 is what a record keeps of it.
	Text string
	// Lacks says what the sheet should hold and does not, such as the clinic's number.
	Lacks []string
}

// Digest is SHA-256 over the sheet's text.
func (s Sheet) Digest() []byte {
	sum := sha256.Sum256([]byte(s.Text))
	return sum[:]
}

// SheetOf writes the after-care sheet in a language: the signs that mean emergency help first, then the clinic's number, what was given with its lots, the
// lines for the regions treated, and when the result is looked at. Where the edition has no line in the language the English ones stand.
func SheetOf(e *formulary.Edition, s *chartv1.Session, clinic *chartv1.Clinic, vials []*chartv1.Vial, language string) Sheet {
	var sheet Sheet
	for _, line := range careLines(e, s, language) {
		if line.GetEmergency() {
			sheet.Emergency = append(sheet.Emergency, line.GetText())
		} else {
			sheet.Lines = append(sheet.Lines, line.GetText())
		}
	}
	if len(sheet.Emergency) == 0 {
		sheet.Lacks = append(sheet.Lacks, "the signs that mean emergency help")
	}
	var b strings.Builder
	if s.GetPractice() != nil {
		b.WriteString(PracticeWord + ": nobody was treated.\n\n")
	}
	b.WriteString("After your treatment\n\nGET EMERGENCY HELP AT ONCE\n")
	writeLines(&b, sheet.Emergency)
	sheet.clinic(&b, clinic)
	sheet.had(&b, s, vials)
	b.WriteString("\nWhat to expect\n")
	writeLines(&b, sheet.Lines)
	if r := s.GetReview(); r != nil {
		b.WriteString("\nCome back between " + DateText(r.GetFrom()) + " and " + DateText(r.GetUntil()) + ", so that the result can be looked at.\n")
	} else {
		sheet.Lacks = append(sheet.Lacks, "when the result is looked at")
	}
	sheet.Text = b.String()
	return sheet
}

func writeLines(b *strings.Builder, lines []string) {
	for _, l := range lines {
		b.WriteString("- " + l + "\n")
	}
}

// careLines are the edition's lines for what was treated, by their place on the sheet.
func careLines(e *formulary.Edition, s *chartv1.Session, language string) []*formularyv1.AfterCare {
	pick := func(language string) (out []*formularyv1.AfterCare) {
		for _, entry := range e.Message().GetAfterCares() {
			line := entry.GetValue()
			if line.GetLanguage() == language && (line.Region == nil || treatsTarget(s, line.GetRegion())) {
				out = append(out, line)
			}
		}
		return out
	}
	out := pick(language)
	if !slices.ContainsFunc(out, (*formularyv1.AfterCare).GetEmergency) {
		out = append(out, pick("en")...)
	}
	slices.SortStableFunc(out, func(a, b *formularyv1.AfterCare) int {
		return cmp.Or(cmp.Compare(a.GetPosition(), b.GetPosition()), strings.Compare(a.GetCode(), b.GetCode()))
	})
	return slices.CompactFunc(out, func(a, b *formularyv1.AfterCare) bool {
		return a.GetCode() == b.GetCode() && a.GetLanguage() == b.GetLanguage()
	})
}

// treatsTarget reports whether anything that is planned or was given lies in a muscle, an area or a region.
func treatsTarget(s *chartv1.Session, target string) bool {
	return slices.ContainsFunc(s.GetInjections(), func(in *chartv1.Injection) bool {
		return (in.GetVoid() == nil || slices.ContainsFunc(in.GetGivings(), counts)) && anatomy.Covers(target, in.GetMuscle())
	})
}

func (sheet *Sheet) clinic(b *strings.Builder, clinic *chartv1.Clinic) {
	phone := cmp.Or(clinic.GetContact().GetPhone(), clinic.GetEmergency().GetPhone())
	if phone == "" {
		sheet.Lacks = append(sheet.Lacks, "the clinic's telephone number")
		phone = "________________"
	}
	name := clinic.GetName()
	if name == "" {
		name = "The clinic"
	}
	b.WriteString("\nThen, and with any question: " + name + ", telephone " + phone + "\n")
}

// had is what was given, by product, with the lots that it came from.
func (sheet *Sheet) had(b *strings.Builder, s *chartv1.Session, vials []*chartv1.Vial) {
	b.WriteString("\nWhat you were given")
	if s.GetOn() != nil {
		b.WriteString(" on " + DateText(s.GetOn()))
	}
	b.WriteString("\n")
	for _, product := range productsGiven(s) {
		lots := lotsOf(s, product, vials)
		text := "lot " + strings.Join(lots, ", lot ")
		if len(lots) == 0 {
			text = "lot ________________"
			sheet.Lacks = append(sheet.Lacks, "the lot of "+product)
		}
		b.WriteString("- " + product + ", " + text + "\n")
	}
}

func productsGiven(s *chartv1.Session) (out []string) {
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if counts(g) {
				out = append(out, g.GetGiven().GetDose().GetProduct())
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func lotsOf(s *chartv1.Session, product string, vials []*chartv1.Vial) (lots []string) {
	for _, in := range s.GetInjections() {
		for _, g := range in.GetGivings() {
			if !counts(g) || g.GetGiven().GetDose().GetProduct() != product {
				continue
			}
			for _, v := range vials {
				if v.GetId() == g.GetGiven().GetVialId() && v.GetLabelling().GetLotNumber() != "" {
					lots = append(lots, v.GetLabelling().GetLotNumber())
				}
			}
		}
	}
	slices.Sort(lots)
	return slices.Compact(lots)
}

// GiveAfterCare records that the after-care was explained and the sheet given, in a way such as paper or mail. A sheet without the signs that mean
// emergency help is refused.
func GiveAfterCare(h Hand, s *chartv1.Session, sheet Sheet, language, way string, edition *formularyv1.EditionReference) (*chartv1.Session, error) {
	if err := May(AfterCare, s, h.Roles...); err != nil {
		return nil, err
	}
	switch {
	case len(sheet.Emergency) == 0:
		return nil, wrong("after_care", "", "a sheet with the signs that mean emergency help")
	case way == "":
		return nil, wrong("after_care.way", "", "how it was given, such as paper or mail")
	}
	out := part(s)
	out.AfterCare = &chartv1.AfterCareGiven{SheetDigest: sheet.Digest(), Language: language, Way: way, Edition: edition, Given: h.Act()}
	return out, nil
}

// ReviewSpan is from when until when a visit's result should be looked at, by the first review rule of the edition that fits what was treated; where the
// rule does not say until when, two weeks later.
func ReviewSpan(e *formulary.Edition, s *chartv1.Session) (from, until *recordv1.Date, err error) {
	day, err := dayOf("on", s.GetOn())
	if err != nil {
		return nil, nil, err
	}
	for _, entry := range e.Message().GetReviewRules() {
		r := entry.GetValue()
		if r.Region != nil && !treatsTarget(s, r.GetRegion()) || r.Product != nil && !slices.Contains(productsGiven(s), r.GetProduct()) {
			continue
		}
		first := after(day, r.GetEarliest())
		last := after(day, r.GetLatest())
		if last <= first {
			last = first + reviewDays
		}
		return dateOf(first), dateOf(last), nil
	}
	return nil, nil, wrong("review", "", "a review rule in the formulary, or the days by hand")
}

// SetReviewDate records when the result is to be looked at.
func SetReviewDate(h Hand, s *chartv1.Session, from, until *recordv1.Date) (*chartv1.Session, error) {
	if err := May(SetReview, s, h.Roles...); err != nil {
		return nil, err
	}
	first, err := dayOf("review.from", from)
	if err != nil {
		return nil, err
	}
	last, err := dayOf("review.until", until)
	if err != nil {
		return nil, err
	}
	if last < first {
		return nil, wrong("review.until", last.String(), "a day on or after "+first.String())
	}
	out := part(s)
	out.Review = &chartv1.ReviewDate{From: from, Until: until, Set: h.Act()}
	return out, nil
}

func after(d dose.Day, p *formularyv1.Period) dose.Day {
	return (d + dose.Day(p.GetDays())).AddMonths(int(p.GetMonths()))
}

// dayOf is a date as a day; the error names the field.
func dayOf(field string, d *recordv1.Date) (dose.Day, error) {
	day, err := dose.NewDay(int(d.GetYear()), int(d.GetMonth()), int(d.GetDay()))
	if d == nil || err != nil {
		return 0, wrong(field, DateText(d), "a day of the calendar, such as 2026-03-01")
	}
	return day, nil
}

func dateOf(d dose.Day) *recordv1.Date {
	y, m, day := d.Date()
	return &recordv1.Date{Year: int32(y), Month: int32(m), Day: int32(day)}
}

// DateText is a date as ISO 8601 writes it; empty for none.
func DateText(d *recordv1.Date) string {
	day, err := dose.NewDay(int(d.GetYear()), int(d.GetMonth()), int(d.GetDay()))
	if err != nil {
		return ""
	}
	return day.String()
}
