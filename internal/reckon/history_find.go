package reckon

import (
	"strconv"
	"strings"
	"time"

	"needlebook/internal/dose"
	"needlebook/internal/formulary"
	"needlebook/internal/guard"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// answerKnowledge says of each clinic how old what is known of it is, and what was not checked. There is no history that needs no such sentence.
func (in *historyReader) answerKnowledge(response *dosev1.GetToxinHistoryResponse) {
	known := make(map[string]bool)
	var unchecked []*dosev1.ClinicKnowledge
	add := func(k *dosev1.ClinicKnowledge) {
		known[k.GetClinicId()] = true
		if k.GetCompleteUntil() == nil {
			unchecked = append(unchecked, k)
		}
		response.Knowledge = append(response.Knowledge, k)
	}
	for _, k := range in.knowledge {
		add(&dosev1.ClinicKnowledge{ClinicId: k.GetClinicId(), ClinicName: k.GetClinicName(), CompleteUntil: k.GetCompleteUntil()})
	}
	for i := range in.visits {
		if id := in.visits[i].session.GetClinicId(); id != "" && !known[id] {
			add(&dosev1.ClinicKnowledge{ClinicId: id})
		}
	}
	response.UncheckedText = in.uncheckedText(response, len(unchecked))
	response.Findings = append(response.Findings, &dosev1.Finding{Code: CodeElsewhereUnchecked, Level: formularyv1.Level_LEVEL_NOTE,
		About: []string{"facts.knowledge"}, Text: "Other clinics not checked: what was done outside these records is known only where it was reported."})
	for _, k := range unchecked {
		response.Findings = append(response.Findings, &dosev1.Finding{Code: CodeClinicUnchecked, Level: formularyv1.Level_LEVEL_CAUTION,
			About: []string{k.GetClinicId()}, Text: guard.UncheckedText(k.GetClinicId(), k.GetClinicName())})
	}
}

func (in *historyReader) uncheckedText(response *dosev1.GetToxinHistoryResponse, unchecked int) string {
	parts := []string{"Other clinics not checked: what was done outside these records is known only where it was reported."}
	switch {
	case len(response.Knowledge) == 0:
		parts = append(parts, "It is not known of any clinic of the organisation until when its records are here.")
	case unchecked > 0:
		parts = append(parts, "Of "+strconv.Itoa(unchecked)+" of "+strconv.Itoa(len(response.Knowledge))+" clinics it is not known until when their records are here.")
	}
	if oldest := oldestOf(response.Knowledge); oldest != "" {
		parts = append(parts, "The oldest knowledge of a clinic is of "+oldest+"; what was recorded there since may be missing.")
	}
	if len(in.visits) == 0 {
		parts = append(parts, "No treatment is known here, which does not say that there was none.")
	}
	return strings.Join(parts, " ")
}

func oldestOf(knowledge []*dosev1.ClinicKnowledge) string {
	var oldest time.Time
	for _, k := range knowledge {
		if until := k.GetCompleteUntil(); until != nil && (oldest.IsZero() || until.AsTime().Before(oldest)) {
			oldest = until.AsTime()
		}
	}
	if oldest.IsZero() {
		return ""
	}
	return oldest.UTC().Format("2006-01-02 15:04 UTC")
}

// ofHeld says of which records an edit is held.
func (in *historyReader) ofHeld() (found []*dosev1.Finding) {
	for _, record := range in.held {
		found = append(found, &dosev1.Finding{Code: CodeHeld, Level: formularyv1.Level_LEVEL_CAUTION, About: []string{record},
			Text: guard.HeldText(record) + " What it says is in no sum."})
	}
	return found
}

// ofTreatments says what is in doubt of each treatment, in the order of the request.
func (in *historyReader) ofTreatments() []*dosev1.Finding {
	var found []*dosev1.Finding
	for i := range in.visits {
		if !in.history.Possible(i) {
			continue
		}
		say := func(code string, level formularyv1.Level, text string) {
			found = append(found, &dosev1.Finding{Code: code, Level: level, About: []string{in.about(i)}, Text: in.naming(i) + text})
		}
		in.inDoubt(i, say)
		if _, not := in.history.Parent(i); not != 0 {
			say(CodeTouchUpCounts, in.touchUpLevel(not), " counts as a treatment of its own, not as a touch-up. "+notTouchUpText(not))
		}
	}
	return found
}

// touchUpLevel is how strongly it is said that a touch-up counts as a treatment: outside a window as its rule says, else as a note.
func (in *historyReader) touchUpLevel(not dose.NotTouchUp) formularyv1.Level {
	level := formularyv1.Level_LEVEL_NOTE
	for _, r := range in.edition.TouchUpRules() {
		if not == dose.TouchUpOutsideWindow && formulary.Clears(r.GetProvenance()) {
			level = min(level, r.GetLevel())
		}
	}
	return level
}

func (in *historyReader) inDoubt(i int, say func(code string, level formularyv1.Level, text string)) {
	v := &in.visits[i]
	caution := formularyv1.Level_LEVEL_CAUTION
	unknownDose, unknownProduct := false, false
	for _, w := range in.treatments[i].Ways {
		unknownDose = unknownDose || w.Unknown
		unknownProduct = unknownProduct || w.Product == "" && !w.NotGiven
	}
	if unknownDose {
		say(CodeDoseUnknown, caution, " has an unknown dose. It counts for the interval and is never counted as zero.")
	}
	if unknownProduct {
		say(CodeProductUnknown, caution, " has a product that is not known. It may have been any, and counts for each.")
	}
	if v.undated {
		say(CodeUndated, caution, " has no day. It may have been on any up to "+in.on.String()+".")
	}
	if from, until := in.history.Days(i); until > in.on {
		text := " is dated " + until.String() + ", after " + in.on.String() + "."
		if from != until {
			text = " may be dated as late as " + until.String() + ", after " + in.on.String() + "."
		}
		say(CodeAfterDay, caution, text+" Check the day.")
	}
	if v.inConflict {
		say(CodeInConflict, caution, " holds values in conflict. Sums are ranges until someone settles them.")
	}
}

// about names a treatment as findings do: its session, or the path of its report.
func (in *historyReader) about(i int) string {
	if s := in.visits[i].session; s != nil {
		return s.GetId()
	}
	return "prior_treatments[" + in.visits[i].reportID + "]"
}

// naming begins a sentence about a treatment.
func (in *historyReader) naming(i int) string {
	if in.visits[i].session == nil {
		return "A treatment reported from elsewhere"
	}
	if from, until := in.history.Days(i); from == until {
		return "The treatment of " + until.String()
	}
	return "A treatment"
}

func dayText(d *recordv1.Date) string {
	pad := func(n int32) string {
		if n < 10 {
			return "0" + strconv.Itoa(int(n))
		}
		return strconv.Itoa(int(n))
	}
	return strconv.Itoa(int(d.GetYear())) + "-" + pad(d.GetMonth()) + "-" + pad(d.GetDay())
}
