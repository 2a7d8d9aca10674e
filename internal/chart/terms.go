package chart

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/causal"
	"needlebook/internal/record"
)

// TermsVersion names what Terms gives. Whoever changes that adds one, and every ledger makes its index anew when it is opened.
const TermsVersion = 3

// The terms that records are found by in the ledger. What follows the letters is said beside each.
const (
	// TermVialLot leads from the batch number of a toxin to vials: LotKey and a zero byte.
	TermVialLot = "lv"
	// TermVialLotRecord leads from a lot's record to the vials whose packs name it, and to those that a diluent of it was added to: the id.
	TermVialLotRecord = "li"
	// TermDiluentLot leads from the batch number of a diluent to the vials that it was added to: LotKey and a zero byte.
	TermDiluentLot = "ld"
	// TermLot leads from a batch number or an alias to lot records: LotKey and a zero byte.
	TermLot = "lr"
	// TermVial leads from a vial to the sessions that gave from it or drew up from it: the id.
	TermVial = "v"
	// TermVialDay leads from a clinic and a day in UTC to the vials that something happened to: the id of the clinic, and year, month and day as digits.
	TermVialDay = "d"
	// TermBooked, TermSeen and TermReview lead from a clinic and a day to the patients with an appointment on that day in UTC, with a session, and with a
	// review whose first day was set to it: the id of the clinic, year, month and day as digits, and the id of the patient.
	TermBooked = "b"
	TermSeen   = "s"
	TermReview = "r"
)

// LotTerm is a term of a batch number.
func LotTerm(term, number string) string { return term + LotKey(number) + "\x00" }

// LotRecordTerm is the term of a lot's record.
func LotRecordTerm(lot record.ID) string { return TermVialLotRecord + string(lot[:]) }

// VialTerm is the term of a vial.
func VialTerm(vial record.ID) string { return TermVial + string(vial[:]) }

// VialDayTerm is the term of a clinic's day in UTC.
func VialDayTerm(clinic record.ID, day time.Time) string {
	return TermVialDay + string(clinic[:]) + day.UTC().Format("20060102")
}

// Terms is what a record is found by in the ledger: ascending, each once. Where fields are in conflict every value counts; what surely does not count is
// left out.
func Terms(st *record.State) []string {
	var out []string
	switch st.Key.Kind {
	case optionsv1.RecordKind_RECORD_KIND_SESSION:
		out = append(sessionTerms(st), seenTerms(st)...)
	case optionsv1.RecordKind_RECORD_KIND_APPOINTMENT:
		out = bookedTerms(elementsOf(st))
	case optionsv1.RecordKind_RECORD_KIND_VIAL:
		out = vialTerms(elementsOf(st))
	case optionsv1.RecordKind_RECORD_KIND_LOT:
		out = lotTerms(elementsOf(st))
	default:
		return nil
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// The numbers of the fields that sessionTerms reads. They are looked for in every session of every commit, so no message is made of what has none.
const (
	sessionInjections = 40
	sessionSyringes   = 41
	injectionGivings  = 20
	sessionVoid       = 71
	givingGiven       = 2
	givingVoid        = 9
	syringeFilling    = 2
	syringeVoid       = 7
)

func sessionTerms(st *record.State) []string {
	type use struct {
		path  record.Path
		vials []string
	}
	var uses []use
	never := map[record.Path]bool{} // what surely does not count
	for _, v := range st.Values() {
		r := v.Register
		giving, syringe := underGivings(r.Path), underSyringes(r.Path)
		switch {
		case giving && r.Field == givingGiven, syringe && r.Field == syringeFilling:
			uses = append(uses, use{r.Path, vialsIn(v.Siblings, giving)})
		case giving && r.Field == givingVoid, syringe && r.Field == syringeVoid, r.Path == "" && r.Field == sessionVoid:
			never[r.Path] = !slices.ContainsFunc(v.Siblings, func(x causal.Sibling) bool { return x.Cleared })
		}
	}
	if never[""] {
		return nil
	}
	var out []string
	for _, u := range uses {
		if !never[u.path] {
			out = append(out, u.vials...)
		}
	}
	return out
}

// vialsIn is the terms of the vials that a giving or a filling may name.
func vialsIn(siblings causal.Register, giving bool) (out []string) {
	for _, x := range siblings {
		var vial string
		if giving {
			var m chartv1.Giving
			_ = proto.Unmarshal(x.Value, &m)
			vial = m.GetGiven().GetVialId()
		} else {
			var m chartv1.SessionSyringe
			_ = proto.Unmarshal(x.Value, &m)
			vial = m.GetFilling().GetVialId()
		}
		if id, err := record.ParseID(vial); !x.Cleared && err == nil {
			out = append(out, VialTerm(id))
		}
	}
	return out
}

func underGivings(p record.Path) bool {
	if len(p) == 0 {
		return false
	}
	first, rest := p.Cut()
	if first.Field != sessionInjections || rest == "" {
		return false
	}
	second, rest := rest.Cut()
	return second.Field == injectionGivings && rest == ""
}

func underSyringes(p record.Path) bool {
	if len(p) == 0 {
		return false
	}
	first, rest := p.Cut()
	return first.Field == sessionSyringes && rest == ""
}

func vialTerms(e elements) []string {
	if _, never := e.voided(""); never {
		return nil
	}
	var out []string
	for _, l := range messages[*chartv1.VialLabelling](e, "", "labelling") {
		if l.GetLotNumber() != "" {
			out = append(out, LotTerm(TermVialLot, l.GetLotNumber()))
		}
		if id, err := record.ParseID(l.GetLotId()); err == nil {
			out = append(out, LotRecordTerm(id))
		}
	}
	days := eventDays(e)
	for _, p := range e.in("", "preparations") {
		if _, never := e.voided(p); never {
			continue
		}
		for _, d := range messages[*chartv1.Diluent](e, p, "diluent") {
			if d.GetLotNumber() != "" {
				out = append(out, LotTerm(TermDiluentLot, d.GetLotNumber()))
			}
			if id, err := record.ParseID(d.GetLotId()); err == nil {
				out = append(out, LotRecordTerm(id))
			}
		}
	}
	for _, clinic := range e.ids("clinic_id") {
		for _, day := range days {
			out = append(out, VialDayTerm(clinic, day))
		}
	}
	return out
}

// eventDays is the moments of what happened to a vial.
func eventDays(e elements) []time.Time {
	var out []time.Time
	act := func(at *timestamppb.Timestamp) {
		if at.CheckValid() == nil {
			out = append(out, at.AsTime())
		}
	}
	acts := func(collection, name string) {
		for _, p := range e.in("", collection) {
			for _, a := range messages[*recordv1.Act](e, p, name) {
				act(a.GetAt())
			}
		}
	}
	acts("preparations", "mixed")
	acts("draws", "drawn")
	for _, p := range e.in("", "entries") {
		for _, m := range messages[*chartv1.Piercing](e, p, "piercing") {
			act(m.GetDone().GetAt())
		}
	}
	for _, p := range e.in("", "wastes") {
		for _, m := range messages[*chartv1.WasteAmount](e, p, "amount") {
			act(m.GetDone().GetAt())
		}
	}
	for _, m := range messages[*chartv1.Discard](e, "", "discarded") {
		act(m.GetDone().GetAt())
	}
	return out
}

func lotTerms(e elements) []string {
	var out []string
	for _, m := range messages[*chartv1.LotIdentity](e, "", "identity") {
		if m.GetNumber() != "" {
			out = append(out, LotTerm(TermLot, m.GetNumber()))
		}
	}
	for _, p := range e.in("", "aliases") {
		if _, never := e.voided(p); never {
			continue
		}
		for _, m := range messages[*chartv1.LotAliasClaim](e, p, "alias") {
			if m.GetNumber() != "" {
				out = append(out, LotTerm(TermLot, m.GetNumber()))
			}
		}
	}
	return out
}
