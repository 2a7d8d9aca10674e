package reckon

import (
	"cmp"
	"slices"
	"strconv"

	"needlebook/internal/dose"
	"needlebook/internal/fault"
	"needlebook/internal/formulary"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// The bounds of a page of treatments.
const (
	mostPage    = 1000
	defaultPage = 100
)

// GetToxinHistory sums what a patient had of each product from the facts that the request holds, and says from which day each interval is met. Products are
// never summed; what it did not check it names. A request that names a patient in place of facts is for the server, which fills them in: here it is
// INVALID_FIELD. The request is only read. For errors see the package comment.
func GetToxinHistory(e *formulary.Edition, r *dosev1.GetToxinHistoryRequest) (*dosev1.GetToxinHistoryResponse, error) {
	in, err := readHistory(e, r)
	if err != nil {
		return nil, err
	}
	response := &dosev1.GetToxinHistoryResponse{Edition: used(e), Caution: Caution}
	in.answerTreatments(response)
	in.answerProducts(response)
	if last, ok := in.history.Last(dose.Which{AnyProduct: true}); ok {
		_, on := in.history.Days(last)
		response.LastOfAny, response.DaysSinceAny = dateOf(on), in.daysSince(on)
	}
	in.answerKnowledge(response)
	response.Findings = append(append(response.Findings, in.ofHeld()...), in.ofTreatments()...)
	return response, nil
}

// historyReader is what a request for a history says, read and summed.
type historyReader struct {
	visitReader
	history     *dose.History
	market      string
	from, until dose.Day
	page        int
	skip        int
	knowledge   []*dosev1.ClinicKnowledgeFact
	held        []string
}

func readHistory(e *formulary.Edition, r *dosev1.GetToxinHistoryRequest) (*historyReader, error) {
	in := &historyReader{visitReader: visitReader{reader: &reader{edition: e}}, page: defaultPage}
	in.market = in.choice(r.GetFormulary())
	in.readDays(r.GetFrom(), r.GetUntil())
	if r.GetOn() == nil {
		in.refuse(badField, "on", "", "the day that intervals are counted to")
	} else {
		in.on = in.day("on", r.GetOn())
	}
	in.readPage(r.GetPageSize(), r.GetPageToken())
	if r.GetFacts() == nil {
		in.refuse(badField, "facts", "", "the facts to reckon from; patient_id is for the server")
	}
	if err := in.refused.Err(); err != nil {
		return nil, err // without a day there is nothing to read dates against
	}
	in.read(r.GetFacts())
	in.readKnowledge(r.GetFacts().GetKnowledge())
	in.held = in.readHeld(r.GetFacts().GetHeld())
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	var err error
	if in.history, err = dose.NewHistory(in.treatments, in.touchUpRules()); err != nil {
		return nil, tooDoubtful()
	}
	return in, nil
}

func tooDoubtful() error {
	return fault.New(noReckoning, "facts", "", "fewer values in conflict: settle some first")
}

// readDays reads the days of a window; absent ends are open.
func (in *historyReader) readDays(from, until *recordv1.Date) {
	in.from, in.until = dose.FirstDay, dose.LastDay
	if from != nil {
		in.from = in.day("from", from)
	}
	if until != nil {
		in.until = in.day("until", until)
	}
	if in.from > in.until {
		in.refuse(badField, "until", in.until.String(), "a day that is not before from")
	}
}

func (in *historyReader) readPage(size uint32, token string) {
	if size > mostPage {
		in.refuse(badField, "page_size", strconv.FormatUint(uint64(size), 10), "0 to 1000")
	} else if size > 0 {
		in.page = int(size)
	}
	if token == "" {
		return
	}
	skip, err := strconv.Atoi(token)
	if err != nil || skip < 1 || skip > dose.MaxTreatments || strconv.Itoa(skip) != token {
		in.refuse(badField, "page_token", token, "the next_page_token of the answer before, or nothing")
		return
	}
	in.skip = skip
}

func (in *historyReader) readKnowledge(knowledge []*dosev1.ClinicKnowledgeFact) {
	if len(knowledge) > mostClinics {
		in.refuse(badField, "facts.knowledge", strconv.Itoa(len(knowledge)), "at most 200 clinics")
		return
	}
	seen := make(map[string]bool, len(knowledge))
	for i, k := range knowledge {
		field := "facts.knowledge[" + strconv.Itoa(i) + "]"
		if k.GetClinicId() == "" || seen[k.GetClinicId()] {
			in.refuse(badField, field+".clinic_id", k.GetClinicId(), "a clinic, each only once")
		}
		seen[k.GetClinicId()] = true
		if k.GetCompleteUntil() != nil && k.GetCompleteUntil().CheckValid() != nil {
			in.refuse(badField, field+".complete_until", "", "a time of the years 1 to 9999")
		}
	}
	in.knowledge = knowledge
}

// touchUpRules are the lead's windows for touch-ups. A window that is only remembered permits nothing.
func (in *historyReader) touchUpRules() []dose.TouchUpRule {
	var rules []dose.TouchUpRule
	for _, r := range in.edition.TouchUpRules() {
		if formulary.Clears(r.GetProvenance()) {
			rules = append(rules, dose.TouchUpRule{Product: dose.Product(r.GetProduct()),
				Earliest: dose.Period{Days: int(r.GetEarliest().GetDays()), Months: int(r.GetEarliest().GetMonths())},
				Latest:   dose.Period{Days: int(r.GetLatest().GetDays()), Months: int(r.GetLatest().GetMonths())}})
		}
	}
	return rules
}

// answerTreatments writes a page of the treatments that were, or may have been, in the window, newest first.
func (in *historyReader) answerTreatments(response *dosev1.GetToxinHistoryResponse) {
	all := in.inWindow()
	first := min(in.skip, len(all))
	end := min(first+in.page, len(all))
	response.Treatments = make([]*dosev1.TreatmentEntry, 0, end-first)
	for _, i := range all[first:end] {
		response.Treatments = append(response.Treatments, in.entry(i))
	}
	if end < len(all) {
		response.NextPageToken = strconv.Itoa(end)
	}
}

// inWindow lists the treatments of the window by the latest day on which each can have been, newest first; of one day by session.
func (in *historyReader) inWindow() []int {
	var all []int
	for i := range in.visits {
		if from, until := in.history.Days(i); in.history.Possible(i) && until >= in.from && from <= in.until {
			all = append(all, i)
		}
	}
	slices.SortStableFunc(all, func(a, b int) int {
		aFrom, aUntil := in.history.Days(a)
		bFrom, bUntil := in.history.Days(b)
		return cmp.Or(cmp.Compare(bUntil, aUntil), cmp.Compare(bFrom, aFrom), cmp.Compare(in.visits[a].session.GetId(), in.visits[b].session.GetId()))
	})
	return all
}

func (in *historyReader) entry(i int) *dosev1.TreatmentEntry {
	v := &in.visits[i]
	entry := &dosev1.TreatmentEntry{InConflict: v.inConflict, Totals: totalsOf(in.history.Sums(i))}
	if v.session == nil {
		entry.Elsewhere, entry.On = true, v.report.GetOn()
		entry.Therapeutic, entry.Origin, entry.ReportedAt = v.report.GetTherapeutic(), v.report.GetOrigin(), v.report.GetTaken().GetAt()
		return entry
	}
	entry.SessionId, entry.ClinicId, entry.ParentSessionId = v.session.GetId(), v.session.GetClinicId(), v.parent
	entry.Signed = len(v.session.GetSignatures()) > 0
	if on := v.session.GetOn(); on != nil {
		month, day := on.GetMonth(), on.GetDay()
		entry.On = &recordv1.ApproximateDate{Year: on.GetYear(), Month: &month, Day: &day}
	}
	parent, not := in.history.Parent(i)
	entry.TouchUp, entry.NotTouchUpText = parent >= 0, notTouchUpText(not)
	return entry
}

// notTouchUpText says why what was declared a touch-up is none.
func notTouchUpText(not dose.NotTouchUp) string {
	switch not {
	case dose.TouchUpInDoubt:
		return "Whether it was a touch-up, or of which treatment, is in conflict."
	case dose.TouchUpParentUnknown:
		return "The treatment that it was declared a touch-up of is not among those known here."
	case dose.TouchUpParentIsNone:
		return "What it was declared a touch-up of was no treatment of its own."
	case dose.TouchUpOtherProduct:
		return "It gave a product that the treatment before it did not surely give."
	case dose.TouchUpOtherArea:
		return "It went into a muscle that the treatment before it did not surely treat."
	case dose.TouchUpNoWindow:
		return "The window for a touch-up: no published figure; set by the medical lead."
	case dose.TouchUpOutsideWindow:
		return "It was outside the window for a touch-up."
	default:
		return ""
	}
}

// totalsOf writes sums by product.
func totalsOf(sums []dose.ProductSum) []*dosev1.ProductTotal {
	totals := make([]*dosev1.ProductTotal, len(sums))
	for i := range sums {
		totals[i] = totalOf(sums[i])
	}
	return totals
}

// totalOf writes one product's sum. The messages of its targets are made in one piece: a long history has thousands.
func totalOf(sum dose.ProductSum) *dosev1.ProductTotal {
	spans := make([]dosev1.DoseSpan, 1+len(sum.Targets))
	targets := make([]dosev1.TargetTotal, len(sum.Targets))
	total := &dosev1.ProductTotal{Product: string(sum.Given.Product()), Given: &spans[0], Targets: make([]*dosev1.TargetTotal, len(sum.Targets))}
	writeSpan(&spans[0], sum.Given)
	for i, t := range sum.Targets {
		writeSpan(&spans[1+i], t.Given)
		targets[i].Muscle, targets[i].Given = t.Muscle, &spans[1+i]
		targets[i].Side = optionalSide(t.Side)
		total.Targets[i] = &targets[i]
	}
	return total
}

func writeSpan(to *dosev1.DoseSpan, s dose.Span) {
	least := s.Least()
	to.LeastUnits, to.Certain = least, s.Certain()
	if to.Certain {
		to.MostUnits = &least
	} else if most, known := s.Most(); known {
		to.MostUnits = &most
	}
}

// optionalSide is a side as messages have it; nil for none.
func optionalSide(s dose.Side) *chartv1.Side {
	if s == dose.SideNone {
		return nil
	}
	return sideMessage(s).Enum()
}

func dateOf(d dose.Day) *recordv1.Date {
	year, month, day := d.Date()
	return &recordv1.Date{Year: int32(year), Month: int32(month), Day: int32(day)}
}

func (in *historyReader) daysSince(d dose.Day) *int32 {
	days := int32(in.on - d)
	return &days
}
