package guard_test

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"needlebook/internal/formulary"
	"needlebook/internal/guard"
	"needlebook/internal/reckon"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
)

// byCode is how strongly and how often each code speaks, with its sentences.
func byCode(found []*dosev1.Finding) map[string]string {
	all := make(map[string]string)
	for _, f := range found {
		all[f.GetCode()] += f.GetLevel().String() + " " + strings.Join(f.GetAbout(), " ") + " " + f.GetText() + "\n"
	}
	return all
}

// changed lists the codes of which two answers say different things.
func changed(a, b []*dosev1.Finding) []string {
	x, y := byCode(a), byCode(b)
	var codes []string
	for code := range x {
		if x[code] != y[code] {
			codes = append(codes, code)
		}
	}
	for code := range y {
		if _, both := x[code]; !both {
			codes = append(codes, code)
		}
	}
	slices.Sort(codes)
	return codes
}

// fact is something that may be known, with the codes that it concerns. Learning it changes no other finding.
type fact struct {
	name     string
	concerns []string
	forget   func(*dosev1.SessionFacts)
}

func facts() []fact {
	return []fact{
		{"the order", []string{"ORDER_", "PRESCRIBER_", "STANDING_"}, func(f *dosev1.SessionFacts) { f.Order = nil }},
		{"the clinic", []string{"AGE_UNVERIFIED", "COOLING_", "CONSENT_COOLING", "CLINIC_UNKNOWN", "ORDER_EXAMINATION", "PREPARATION_UNCHECKED",
			"VIAL_SHARED", "AGE_UNDER",
			"DOSE_TOO_SMALL", "DOSE_BELOW_GRADUATION", "DILUTION_NOT", "DILUENT_DIFFERS"}, func(f *dosev1.SessionFacts) { f.Clinic = nil }},
		{"the consent texts", []string{"CONSENT_TEXT", "CONSENT_COOLING"}, func(f *dosev1.SessionFacts) { f.ConsentTexts = nil }},
		{"the lots", []string{"LOT_", "EXPIRY_", "VIAL_EXPIRED"}, func(f *dosev1.SessionFacts) { f.Lots = nil }},
		{"the questionnaire", []string{"SCREENING_", "CONTRAINDICATION", "ALLERGY", "INTERACTION", "PREGNANCY", "BREAST", "INFECTION", "CONDITION_"},
			func(f *dosev1.SessionFacts) { f.Questionnaires = nil }},
		{"the history", []string{"INTERVAL_", "NO_INTERVAL", "HISTORY_", "WINDOW_", "TOUCH_UP", "ORDER_USED", "DOSE_TENFOLD", "VIAL_SHARED",
			"USE_BY_UNKNOWN"},
			func(f *dosev1.SessionFacts) { f.History = nil }},
		{"knowledge", []string{"CLINIC_UNCHECKED"}, func(f *dosev1.SessionFacts) { f.Knowledge = nil }},
		{"the clock", []string{"CLOCK_"}, func(f *dosev1.SessionFacts) { f.Clock = 0 }},
		{"the vials", []string{"VIAL_", "LOT_", "EXPIRY_", "USE_BY_", "PAST_USE", "NOT_MIXED", "MIXED_", "DILU", "SOLUTION", "PREPARATION_",
			"CONCENTRATION",
			"CONTENT_", "PRODUCT_WRONG", "PRACTICE", "INJECTION_VOLUME", "NO_GREATEST", "DOSE_TOO_SMALL", "DOSE_BELOW_GRADUATION"}, func(f *dosev1.SessionFacts) { f.Vials = nil }},
		{"the patient", []string{"PATIENT_", "AGE_", "ALLERGY", "CONTRAINDICATION", "CONDITION_", "INTERACTION", "EXCIPIENTS", "PRACTICE", "HISTORY_",
			"INTERVAL_",
			"NO_INTERVAL", "WINDOW_", "STANDING_"}, func(f *dosev1.SessionFacts) { f.Patient = nil }},
		{"the staff", []string{"INJECTOR_", "ROLE_", "CREDENTIAL_", "SUPERVISOR_", "PRESCRIBER_", "ANSWER_"},
			func(f *dosev1.SessionFacts) { f.Staff = nil }},
	}
}

// Learning a fact changes only the findings that it concerns.
func TestFactsChangeOnlyWhatTheyConcern(t *testing.T) {
	e := builtin(t)
	rapid.Check(t, func(t *rapid.T) {
		r := plausible(e, rapid.Uint64().Draw(t, "seed"))
		fact := rapid.SampledFrom(facts()).Draw(t, "fact")
		with, err := reckon.CheckSession(e, r)
		if err != nil {
			t.Fatal(err)
		}
		fact.forget(r.GetFacts())
		without, err := reckon.CheckSession(e, r)
		if err != nil {
			t.Fatal(err)
		}
		for _, code := range changed(with.GetFindings(), without.GetFindings()) {
			if !slices.ContainsFunc(fact.concerns, func(prefix string) bool { return strings.HasPrefix(code, prefix) }) {
				t.Errorf("%s changes %s", fact.name, code)
			}
		}
	})
}

// A missing fact is never a clearance: what may not go on does not go on because less is known. Three are left out. An empty history is one in which nothing
// is known, which knowledge says; a vial's lot is unknown wherever it is new, which is a caution; a clock that is not stated counts as unchecked.
func TestBlankNeverPermits(t *testing.T) {
	e := builtin(t)
	tried, all := 0, rows()
	rapid.Check(t, func(t *rapid.T) {
		r := plausible(e, rapid.Uint64().Draw(t, "seed"))
		fact := rapid.SampledFrom(facts()).Draw(t, "fact")
		rapid.SampledFrom(all).Draw(t, "row").trips(visit{r.GetFacts(), r})
		r.GetFacts().Conflicts = nil // they may name what is forgotten, which is refused
		with, err := reckon.CheckSession(e, r)
		if err != nil {
			t.Fatal(err)
		}
		fact.forget(r.GetFacts())
		without, err := reckon.CheckSession(e, r)
		if err != nil {
			t.Fatal(err)
		}
		if fact.name != "the history" && fact.name != "the lots" && !with.GetMayInject() {
			tried++
			if without.GetMayInject() {
				t.Errorf("forgetting %s permits: %v", fact.name, codes(with.GetFindings(), hold))
			}
		}
		r.Subject = &dosev1.CheckSessionRequest_Facts{Facts: &dosev1.SessionFacts{Session: r.GetFacts().GetSession()}}
		alone, err := reckon.CheckSession(e, r)
		if err != nil {
			t.Fatal(err)
		}
		if alone.GetMayInject() {
			t.Error("a session alone may inject")
		}
	})
	if tried == 0 {
		t.Error("no case was held, so nothing was tested")
	}
}

// No hold rests on a figure from memory, a trade page or nowhere: not of the built-in edition, and not of one in which every entry asks for a hold.
func TestHoldsRestOnReadFigures(t *testing.T) {
	base := builtin(t)
	strict := derived(t, base, everythingHolds(base))
	weak := map[formularyv1.Obtained]bool{formularyv1.Obtained_OBTAINED_MEMORY: true, formularyv1.Obtained_OBTAINED_TRADE: true,
		formularyv1.Obtained_OBTAINED_UNSPECIFIED: true}
	seen := make(map[formularyv1.Obtained]int)
	for _, e := range []*formulary.Edition{base, strict} {
		for _, row := range rows() {
			r := clear(e)
			row.trips(visit{r.GetFacts(), r})
			for _, f := range check(t, e, r).GetFindings() {
				if f.GetSource() == nil {
					continue
				}
				seen[f.GetSource().GetObtained()]++
				if f.GetLevel() != note && weak[f.GetSource().GetObtained()] {
					t.Errorf("%s: a %s rests on a figure that is %s", f.GetCode(), f.GetLevel(), f.GetSource().GetObtained())
				}
			}
		}
		for seed := range uint64(200) {
			for _, f := range check(t, e, plausible(e, seed)).GetFindings() {
				if f.GetSource() == nil {
					continue
				}
				seen[f.GetSource().GetObtained()]++
				if f.GetLevel() != note && weak[f.GetSource().GetObtained()] {
					t.Errorf("%s: a %s rests on a figure that is %s", f.GetCode(), f.GetLevel(), f.GetSource().GetObtained())
				}
			}
		}
	}
	if seen[formularyv1.Obtained_OBTAINED_MEMORY] == 0 || seen[formularyv1.Obtained_OBTAINED_TRADE] == 0 {
		t.Errorf("no finding rests on memory or on a trade page, so nothing was tested: %v", seen)
	}
}

// everythingHolds is an edition whose every entry asks for a hold.
func everythingHolds(e *formulary.Edition) *formularyv1.FormularyEdition {
	whole := e.Message()
	m := &formularyv1.FormularyEdition{Zones: whole.GetZones(), DepthRules: whole.GetDepthRules(), IntervalRules: whole.GetIntervalRules(),
		Limits:    whole.GetLimits(),
		AgeLimits: whole.GetAgeLimits(), Contraindications: whole.GetContraindications()}
	for _, entry := range m.Zones {
		entry.Value.Level = hold
	}
	for _, entry := range m.DepthRules {
		entry.Value.Level = hold
	}
	for _, entry := range m.IntervalRules {
		entry.Value.Level = hold
	}
	for _, entry := range m.Limits {
		entry.Value.Level = hold
	}
	for _, entry := range m.AgeLimits {
		entry.Value.Level = hold
	}
	for _, entry := range m.Contraindications {
		entry.Value.Level = hold
	}
	return m
}

// Ids are those of code and subject, each once, and the same for the same facts in another order.
func TestFindingIDs(t *testing.T) {
	e, all := builtin(t), rows()
	rapid.Check(t, func(t *rapid.T) {
		r := plausible(e, rapid.Uint64().Draw(t, "seed"))
		rapid.SampledFrom(all).Draw(t, "row").trips(visit{r.GetFacts(), r})
		found := checked(e, visit{r.GetFacts(), r})
		ids := make(map[string]string)
		for _, f := range found {
			if other, twice := ids[f.GetFindingId()]; twice {
				t.Errorf("one id for %q and %q", other, f.GetText())
			}
			ids[f.GetFindingId()] = f.GetText()
		}
		slices.Reverse(r.GetFacts().GetSession().GetInjections())
		slices.Reverse(r.GetFacts().GetHistory())
		slices.Reverse(r.GetFacts().GetStaff())
		again := make(map[string]string)
		for _, f := range checked(e, visit{r.GetFacts(), r}) {
			again[f.GetFindingId()] = ""
		}
		if !slices.Equal(slices.Sorted(maps.Keys(ids)), slices.Sorted(maps.Keys(again))) {
			t.Error("the order of the facts changes ids")
		}
	})
}

// Nothing of a request is changed, and the same request gets the same answer.
func TestCheckReadsOnly(t *testing.T) {
	e := builtin(t)
	for seed := range uint64(50) {
		r := plausible(e, seed)
		before := proto.CloneOf(r)
		first, second := check(t, e, r), check(t, e, r)
		if !proto.Equal(before, r) || !proto.Equal(first, second) {
			t.Fatalf("seed %d: changed", seed)
		}
	}
}

// A recall of the diluent's lot holds, by its record and by its number, and one of a toxin with that number does not.
func TestRecalledDiluent(t *testing.T) {
	e := builtin(t)
	for name, row := range map[string]struct {
		change func(v visit, l *chartv1.Lot)
		held   bool
	}{
		"by number": {func(v visit, _ *chartv1.Lot) { v.Vials[0].Preparations[0].Diluent.LotNumber = "D5" }, true},
		"by record": {func(v visit, l *chartv1.Lot) { v.Vials[0].Preparations[0].Diluent.LotId = &l.Id }, true},
		"another":   {func(v visit, _ *chartv1.Lot) { v.Vials[0].Preparations[0].Diluent.LotNumber = "D6" }, false},
		"a toxin's": {func(v visit, l *chartv1.Lot) {
			v.Vials[0].Preparations[0].Diluent.LotNumber = "D5"
			l.Identity = &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_TOXIN, Product: proto.String(abo), Number: "D5"}
		}, false},
	} {
		r := clear(e)
		v := visit{r.GetFacts(), r}
		l := &chartv1.Lot{Id: "l9", Identity: &chartv1.LotIdentity{Kind: chartv1.LotKind_LOT_KIND_DILUENT, Number: "D5"},
			Recalls: []*chartv1.LotRecall{{Id: "r9", Notice: &chartv1.RecallNotice{Reason: "not sterile"}}}}
		v.Lots = append(v.Lots, l)
		row.change(v, l)
		if f := of(check(t, e, r).GetFindings(), guard.CodeRecalled); (f != nil) != row.held {
			t.Errorf("%s: %v", name, f)
		}
	}
}

// A clinic's level for a code: it raises at will, lowers only what the table lets it, never above what a figure's source allows, and only there. Who may lift
// what it raised is whom it names.
func TestClinicLevels(t *testing.T) {
	base := builtin(t)
	lead := []accessv1.Role{accessv1.Role_ROLE_MEDICAL_LEAD}
	tenfold := func(v visit) { v.first().Planned.DoseMilliunits = 20_000 }
	above := func(v visit) { v.first().Planned.DoseMilliunits = 4001 }
	for _, row := range []struct {
		name  string
		trips func(visit)
		rule  *formularyv1.LiftRule
		want  formularyv1.Level
		roles int
	}{
		{"the table's", tenfold, &formularyv1.LiftRule{Code: guard.CodeElsewhere, Level: caution.Enum()}, hold, 2},
		{"a hold lowered as far as the table lets", tenfold, &formularyv1.LiftRule{Code: guard.CodeSlip, Level: caution.Enum()}, caution, 0},
		{"a hold lowered further", tenfold, &formularyv1.LiftRule{Code: guard.CodeSlip, Level: note.Enum()}, hold, 2},
		{"a hold that may not be lowered", func(v visit) { v.Patient.Birth = nil }, &formularyv1.LiftRule{Code: guard.CodeAgeUnknown, Level: caution.Enum()}, hold, 1},
		{"a caution raised", above, &formularyv1.LiftRule{Code: guard.CodeAboveRange, Level: hold.Enum(), Roles: lead}, hold, 1},
		{"a caution raised for nobody to lift", above, &formularyv1.LiftRule{Code: guard.CodeAboveRange, Level: hold.Enum()}, hold, 0},
		{"a caution lowered", above, &formularyv1.LiftRule{Code: guard.CodeAboveRange, Level: note.Enum()}, note, 0},
		{"a note raised", func(visit) {}, &formularyv1.LiftRule{Code: guard.CodeElsewhere, Level: hold.Enum(), Roles: lead}, hold, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			e := derived(t, base, &formularyv1.FormularyEdition{LiftRules: []*formularyv1.LiftRuleEntry{{Value: row.rule}}})
			r := clear(e)
			row.trips(visit{r.GetFacts(), r})
			code := row.rule.GetCode()
			if row.name == "the table's" {
				code = guard.CodeSlip
			}
			f := of(check(t, e, r).GetFindings(), code)
			if f == nil || f.GetLevel() != row.want || len(f.GetLiftableBy()) != row.roles {
				t.Errorf("%s is %v, want %s lifted by %d roles", code, f, row.want, row.roles)
			}
		})
	}
	// A zone that rests on a trade page stays a note, however the code is raised.
	e := derived(t, base, &formularyv1.FormularyEdition{LiftRules: []*formularyv1.LiftRuleEntry{
		{Value: &formularyv1.LiftRule{Code: guard.CodeOutsideZone, Level: hold.Enum(), Roles: lead}}}})
	unproven := 0
	for seed := range uint64(400) {
		r := plausible(e, seed)
		for _, i := range r.GetFacts().GetSession().GetInjections() {
			i.Place = &chartv1.Place{Frame: "orbit", XMicrometers: 1000, YMicrometers: 0}
		}
		for _, f := range check(t, e, r).GetFindings() {
			if f.GetCode() != guard.CodeOutsideZone {
				continue
			}
			trade := f.GetSource().GetObtained() == formularyv1.Obtained_OBTAINED_TRADE || f.GetSource().GetObtained() == formularyv1.Obtained_OBTAINED_MEMORY
			if trade {
				unproven++
			}
			if trade != (f.GetLevel() == note) {
				t.Fatalf("%v", f)
			}
		}
	}
	if unproven == 0 {
		t.Error("no zone that rests on a trade page was looked at")
	}
}

// Every level of a lift: who may, who may not, and what no edition opens.
func TestLift(t *testing.T) {
	base := builtin(t)
	opened := derived(t, base, &formularyv1.FormularyEdition{LiftRules: []*formularyv1.LiftRuleEntry{
		{Value: &formularyv1.LiftRule{Code: guard.CodeUnidentified, Roles: []accessv1.Role{accessv1.Role_ROLE_MEDICAL_LEAD}}},
		{Value: &formularyv1.LiftRule{Code: guard.CodeConsentUnsigned, Roles: []accessv1.Role{accessv1.Role_ROLE_MEDICAL_LEAD}}}}})
	for _, row := range []struct {
		name   string
		e      *formulary.Edition
		trips  func(visit)
		code   string
		by     string
		role   accessv1.Role
		reason string
		lifted bool
	}{
		{"a lead lifts", base, func(v visit) { v.Patient.Birth = nil }, guard.CodeAgeUnknown, "d1", accessv1.Role_ROLE_MEDICAL_LEAD, "known for years",
			true},
		{"an injector does not", base, func(v visit) { v.Patient.Birth = nil }, guard.CodeAgeUnknown, "i1", accessv1.Role_ROLE_INJECTOR, "known for years",
			false},
		{"one who says she is lead", base, func(v visit) { v.Patient.Birth = nil }, guard.CodeAgeUnknown, "i1", accessv1.Role_ROLE_MEDICAL_LEAD, "known",
			false},
		{"without a reason", base, func(v visit) { v.Patient.Birth = nil }, guard.CodeAgeUnknown, "d1", accessv1.Role_ROLE_MEDICAL_LEAD, "", false},
		{"a soft stop", base, func(v visit) { v.first().Planned.DoseMilliunits = 20_000 }, guard.CodeSlip, "i1", accessv1.Role_ROLE_INJECTOR, "meant",
			true},
		{"nobody", base, func(v visit) { v.Order.Issued = nil }, guard.CodeOrderDraft, "d1", accessv1.Role_ROLE_MEDICAL_LEAD, "will come", false},
		{"no edition opens", opened, func(v visit) { v.Session.IdentityChecks = nil }, guard.CodeUnidentified, "d1", accessv1.Role_ROLE_MEDICAL_LEAD,
			"known", false},
		{"an edition opens", opened, func(v visit) { v.Session.Consents[0].Signature = nil }, guard.CodeConsentUnsigned, "d1",
			accessv1.Role_ROLE_MEDICAL_LEAD, "by word", true},
		{"a supervisor", base, func(v visit) { v.Staff[0].Credentials = nil }, guard.CodeCredential, "i2", accessv1.Role_ROLE_INJECTOR, "I stand by", true},
		{"the injector herself", base, func(v visit) { v.Staff[0].Credentials = nil }, guard.CodeCredential, "i1", accessv1.Role_ROLE_INJECTOR, "I can",
			false},
		{"a supervisor without", base, func(v visit) { v.Staff[0].Credentials, v.Staff[1].Credentials = nil, nil }, guard.CodeCredential, "i2",
			accessv1.Role_ROLE_INJECTOR, "I stand by", false},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := clear(row.e)
			v := visit{r.GetFacts(), r}
			row.trips(v)
			f := of(check(t, row.e, r).GetFindings(), row.code)
			if f == nil || f.GetLevel() != hold {
				t.Fatalf("%s does not hold", row.code)
			}
			lift(v, f, row.by, row.role, row.reason)
			after := check(t, row.e, r)
			again := of(after.GetFindings(), row.code)
			if again == nil || again.GetLevel() != hold {
				t.Fatal("the hold is gone from the list")
			}
			if (again.GetAnswer() != nil) != row.lifted || after.GetMayInject() != row.lifted {
				t.Errorf("answer %v, may inject %v; want lifted %v", again.GetAnswer(), after.GetMayInject(), row.lifted)
			}
			if (of(after.GetFindings(), guard.CodeAnswerNot) == nil) != row.lifted {
				t.Error("an answer that does not stand is not said")
			}
		})
	}
}

// What was lifted is what was read: a larger dose is another sentence.
func TestLiftOfOneDoseIsNotOfAnother(t *testing.T) {
	e := builtin(t)
	r := clear(e)
	v := visit{r.GetFacts(), r}
	v.first().Planned.DoseMilliunits = 20_000
	lift(v, of(check(t, e, r).GetFindings(), guard.CodeSlip), "i1", accessv1.Role_ROLE_INJECTOR, "meant")
	if !check(t, e, r).GetMayInject() {
		t.Fatal("the lift does not stand")
	}
	v.first().Planned.DoseMilliunits = 40_000
	if check(t, e, r).GetMayInject() {
		t.Error("a lift of 20 units lifts 40")
	}
}

// Values in conflict: whatever one of them raises is raised, whichever the record shows, and sums are from the least to the most.
func TestConflictsTakeTheWorseEnd(t *testing.T) {
	e := builtin(t)
	dose := func(milliunits string) string {
		return `{"product":"` + ona + `","dose_milliunits":` + milliunits + `}`
	}
	for _, row := range []struct {
		name, path string
		values     []string
		code       string
	}{
		{"a dose too high", "injections[j1].planned", []string{dose("4000"), dose("20000")}, guard.CodeSlip},
		{"no order", "order_id", []string{`"o1"`, "null"}, guard.CodeOrderMissing},
		{"a void visit", "void", []string{"null", `{"reason":"r","by":"i1"}`}, guard.CodeSessionVoid},
		{"an identity check", "identity_checks[k1].check", []string{`{"identifiers":["full_name","date_of_birth"]}`, `{"identifiers":["full_name"]}`},
			guard.CodeUnidentified},
		{"another product", "injections[j1].planned", []string{dose("4000"), `{"product":"` + abo + `","dose_milliunits":4000}`}, guard.CodeProductMixed},
	} {
		t.Run(row.name, func(t *testing.T) {
			for range 2 {
				slices.Reverse(row.values)
				r := clear(e)
				conflict(visit{r.GetFacts(), r}, row.path, row.values...)
				response := check(t, e, r)
				if of(response.GetFindings(), row.code) == nil || of(response.GetFindings(), guard.CodeConflict) == nil || response.GetMayInject() {
					t.Errorf("%s is not raised: %v", row.code, codes(response.GetFindings(), hold))
				}
			}
		})
	}
	r := clear(e)
	conflict(visit{r.GetFacts(), r}, "injections[j1].planned", dose("3000"), dose("6000"))
	conflict(visit{r.GetFacts(), r}, "injections[j2].planned", dose("1000"), dose("5000"))
	span := check(t, e, r).GetTotals()[0].GetPlanned()
	if span.GetLeastUnits() != "16" || span.GetMostUnits() != "23" || span.GetCertain() {
		t.Errorf("planned %v, want 16 to 23 units", span)
	}
}

// Doses in conflict on many injections: the sum's most is held against the order, though no single value passes it.
func TestConflictsSum(t *testing.T) {
	e := builtin(t)
	r := clear(e)
	r.GetFacts().Order.Lines[0].Leave.MostMilliunits = 24_999
	for _, id := range []string{"j1", "j2", "j3", "j4", "j5"} {
		conflict(visit{r.GetFacts(), r}, "injections["+id+"].planned", `{"product":"`+ona+`","dose_milliunits":4000}`,
			`{"product":"`+ona+`","dose_milliunits":5000}`)
	}
	if of(check(t, e, r).GetFindings(), guard.CodeOrderExceeded) == nil {
		t.Error("25 units of 24.999 are not held")
	}
	r.GetFacts().Order.Lines[0].Leave.MostMilliunits = 25_000
	if of(check(t, e, r).GetFindings(), guard.CodeOrderExceeded) != nil {
		t.Error("25 units of 25 are held")
	}
}

// A vial's and a lot's registers are judged in every reading too.
func TestConflictsOfOtherRecords(t *testing.T) {
	e := builtin(t)
	r := clear(e)
	r.GetFacts().Conflicts = []*dosev1.PathSiblings{{Key: &chartv1.RecordKey{Kind: optionsv1.RecordKind_RECORD_KIND_LOT, RecordId: "l1"},
		Path:       "expires_on",
		ValuesJson: []string{`{"year":2027,"month":1,"day":31}`, `{"year":2026,"month":1,"day":31}`}}}
	if of(check(t, e, r).GetFindings(), guard.CodeVialExpired) == nil {
		t.Error("an expiry that one value says passed is not held")
	}
}
