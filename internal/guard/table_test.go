package guard_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"needlebook/internal/formulary"
	"needlebook/internal/guard"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
)

// visit is the facts of a request, for the rows of the table to change.
type visit struct {
	*dosev1.SessionFacts
	r *dosev1.CheckSessionRequest
}

func (v visit) first() *chartv1.Injection { return v.Session.Injections[0] }

func (v visit) answer(condition string, yesNo chartv1.YesNo) {
	for _, a := range v.Session.Screening {
		if a.GetAnswer().GetQuestion() == condition {
			a.Answer.YesNo = yesNo.Enum()
		}
	}
}

// row is a code with a case that trips it and one that just does not. Where the level is not the table's, it says which.
type row struct {
	code  string
	level formularyv1.Level
	// edition lays figures over the built-in ones.
	edition   *formularyv1.FormularyEdition
	trips     func(visit)
	justNot   func(visit)
	nothingIs bool // justNot needs no change: the clear visit itself
}

func daysBefore(n int) *recordv1.Date {
	d := noon().AddDate(0, 0, -n)
	return date(int32(d.Year()), int32(d.Month()), int32(d.Day()))
}

// place puts the first injection, in the lips, so far medial to a mouth corner of the generic face on the right.
func placed(v visit, x, y int32) {
	lips(v.r)
	v.first().Place = &chartv1.Place{Frame: "mouth", XMicrometers: x, YMicrometers: y, Scale: &chartv1.FrameScale{Measure: "mouth_width",
		MeasuredMicrometers: 60_000}}
}

func oneInjection(v visit, muscle string, side chartv1.Side, milliunits int32) {
	v.Session.Injections = []*chartv1.Injection{planned(1, ona, muscle, side, milliunits)}
}

func limit(l *formularyv1.Limit) *formularyv1.FormularyEdition {
	l.Code, l.Provenance = "ours", byLead()
	return &formularyv1.FormularyEdition{Limits: []*formularyv1.LimitEntry{{Value: l}}}
}

func untouched(visit) {}

// rows is one case that trips each code and one that just does not. Figures are of the built-in edition unless the row lays its own over it, which are then
// invented.
func rows() []row {
	return []row{
		{code: guard.CodeSessionVoid, trips: func(v visit) { v.Session.Void = void() }, justNot: untouched},
		{code: guard.CodePracticeMixed, trips: func(v visit) { v.Vials[0].Practice = &chartv1.PracticeMark{} },
			justNot: func(v visit) {
				v.Vials[0].Practice, v.Session.Practice, v.Patient.Practice = &chartv1.PracticeMark{}, &chartv1.PracticeMark{}, &chartv1.PracticeMark{}
			}},
		{code: guard.CodeKindTreatsNot, trips: func(v visit) { v.Session.Kind = chartv1.SessionKind_SESSION_KIND_REVIEW.Enum() }, justNot: untouched},
		{code: guard.CodeNothingPlanned, trips: func(v visit) { v.Session.Injections = nil },
			justNot: func(v visit) { v.Session.Injections = v.Session.Injections[:1] }},
		{code: guard.CodeEditionOther, trips: func(v visit) { v.Session.Basis.Edition.Hash[0] ^= 1 }, justNot: untouched},
		{code: guard.CodeEditionUnchosen, trips: func(v visit) {
			v.Session.Basis.Edition.Hash[0] ^= 1
			v.Clinic.Formulary = &chartv1.ClinicFormulary{Edition: &formularyv1.EditionReference{Version: "harbour-2", Hash: make([]byte, 32)}}
		}, justNot: func(v visit) {
			v.Clinic.Formulary = &chartv1.ClinicFormulary{Edition: &formularyv1.EditionReference{Version: "harbour-2", Hash: make([]byte, 32)}}
		}},
		{code: guard.CodeReadinessFailed, trips: func(v visit) { v.Session.ReadinessChecks[0].Check.Sides = proto.Bool(false) },
			justNot: func(v visit) {
				no := proto.CloneOf(v.Session.ReadinessChecks[0])
				no.Check.Sides, no.Check.Done = proto.Bool(false), act("i1", noon().Add(-time.Minute))
				v.Session.ReadinessChecks = append(v.Session.ReadinessChecks, no)
			}},
		{code: guard.CodeConflict, trips: func(v visit) { conflict(v, "order_id", `"o1"`, `"o1"`) },
			justNot: func(v visit) { conflict(v, "language", `"en"`, `"el"`) }},
		{code: guard.CodeConflictUnread, trips: func(v visit) { manyConflicts(v, 7) }, justNot: func(v visit) { manyConflicts(v, 6) }},
		{code: guard.CodeHeld, trips: func(v visit) {
			v.Held = []*chartv1.RecordKey{{Kind: optionsv1.RecordKind_RECORD_KIND_SESSION, RecordId: "s0"}}
		}, justNot: untouched},
		{code: guard.CodeAnswerNot, trips: func(v visit) { answered(v, "i1", accessv1.Role_ROLE_INJECTOR, "seen the passport") },
			justNot: func(v visit) { answered(v, "d1", accessv1.Role_ROLE_MEDICAL_LEAD, "seen the passport") }},
		{code: guard.CodeClockBackwards, trips: func(v visit) { v.Clock = dosev1.ClockState_CLOCK_STATE_RAN_BACKWARDS }, justNot: untouched},
		{code: guard.CodeClockUnchecked, trips: func(v visit) { v.Clock = dosev1.ClockState_CLOCK_STATE_UNSPECIFIED }, justNot: untouched},
		{code: guard.CodeDateDiffers, trips: func(v visit) { v.Session.On = daysBefore(2) }, justNot: func(v visit) { v.Session.On = daysBefore(1) }},
		{code: guard.CodeClinicUnknown, trips: func(v visit) { v.Clinic = nil }, justNot: untouched},

		{code: guard.CodePatientUnknown, trips: func(v visit) { v.Patient.Id = "p2" }, justNot: untouched},
		{code: guard.CodeUnidentified, trips: func(v visit) { v.Session.IdentityChecks[0].Check.Identifiers = []string{"full_name", "full_name"} },
			justNot: untouched},
		{code: guard.CodePatientDead, trips: func(v visit) { v.Patient.Death = date(2026, 1, 1) }, justNot: untouched},
		{code: guard.CodeAgeUnknown, trips: func(v visit) { v.Patient.Birth = nil }, justNot: untouched},
		{code: guard.CodeAgeUnder, trips: func(v visit) { v.Patient.Birth.Date = date(2008, 3, 3) },
			justNot: func(v visit) { v.Patient.Birth.Date = date(2008, 3, 2) }},
		{code: guard.CodeAgeUnverified, trips: func(v visit) { v.Patient.Birth.Proof = chartv1.BirthProof_BIRTH_PROOF_STATED },
			justNot: func(v visit) {
				v.Patient.Birth.Proof, v.Clinic.Policies.BirthProof = chartv1.BirthProof_BIRTH_PROOF_STATED, false
			}},
		{code: guard.CodeAgeLabel, trips: func(v visit) { inMarket(v, inco, "UK"); v.Patient.Birth.Date = date(1961, 3, 2) }, level: caution,
			justNot: func(v visit) { inMarket(v, inco, "UK"); v.Patient.Birth.Date = date(1961, 3, 3) }},

		{code: guard.CodeOrderMissing, trips: func(v visit) { v.Session.OrderId = nil }, justNot: untouched},
		{code: guard.CodeOrderDraft, trips: func(v visit) { v.Order.Issued = nil }, justNot: untouched},
		{code: guard.CodeOrderWithdrawn, trips: func(v visit) { v.Order.Withdrawn = void() }, justNot: untouched},
		{code: guard.CodeOrderOther, trips: func(v visit) { v.Order.PatientId = proto.String("p2") }, justNot: untouched},
		{code: guard.CodeOrderClinic, trips: func(v visit) { v.Order.ClinicId = proto.String("c2") },
			justNot: func(v visit) { v.Order.ClinicId = proto.String("c1") }},
		{code: guard.CodeOrderExpired, trips: func(v visit) { v.Order.Validity.Until = date(2026, 3, 1) },
			justNot: func(v visit) { v.Order.Validity.Until = date(2026, 3, 2) }},
		{code: guard.CodeOrderExceeded, trips: func(v visit) { v.Order.Lines[0].Leave.MostMilliunits = 19_999 },
			justNot: func(v visit) { v.Order.Lines[0].Leave.MostMilliunits = 20_000 }},
		{code: guard.CodeOrderUsedUp, trips: func(v visit) { usedOrder(v, 4) }, justNot: func(v visit) { usedOrder(v, 3) }},
		{code: guard.CodeOrderNotCovering, trips: func(v visit) { v.Order.Lines[0].Leave.Muscles = []string{"procerus"} },
			justNot: func(v visit) { v.Order.Lines[0].Leave.Muscles = []string{"procerus", "corrugator_supercilii"} }},
		{code: guard.CodeOrderExamination, trips: func(v visit) { v.Order.Examination.Way = chartv1.ExaminationWay_EXAMINATION_WAY_VIDEO },
			justNot: func(v visit) {
				v.Order.Examination.Way, v.Clinic.Policies.ExaminationInPerson = chartv1.ExaminationWay_EXAMINATION_WAY_VIDEO, false
			}},
		{code: guard.CodeOrderVoice, trips: func(v visit) { voice(v, false, true) }, justNot: func(v visit) { voice(v, true, true) }},
		{code: guard.CodeOrderOwed, trips: func(v visit) { voice(v, true, false) }, justNot: func(v visit) { voice(v, true, true) }},
		{code: guard.CodeOrderStaff, trips: func(v visit) { standing(v, 18, "i2") }, justNot: func(v visit) { standing(v, 18, "i2", "i1") }},
		{code: guard.CodeOrderAge, trips: func(v visit) { standing(v, 46, "i1") }, justNot: func(v visit) { standing(v, 45, "i1") }},
		{code: guard.CodePrescriber, trips: func(v visit) { v.Staff[2].Prescribes.ExpiresOn = date(2026, 3, 1) },
			justNot: func(v visit) { v.Staff[2].Prescribes.ExpiresOn = date(2026, 3, 2) }},
		{code: guard.CodePrescriberUnseen, trips: func(v visit) { v.Staff = v.Staff[:2] }, justNot: untouched},

		{code: guard.CodeScreeningNone, trips: func(v visit) { v.Session.Screening = nil }, justNot: untouched},
		{code: guard.CodeUnanswered, trips: func(v visit) { v.Session.Screening[0].Carried = &chartv1.CarriedAnswer{SessionId: "s0"} },
			justNot: func(v visit) {
				v.Session.Screening[0].Carried = &chartv1.CarriedAnswer{SessionId: "s0", Confirmed: act("i1", noon())}
			}},
		{code: guard.CodeUnreadable, trips: func(v visit) { v.Session.Screening[0].Answer.Version = "2" }, justNot: untouched},
		{code: guard.CodeNotAsked, trips: func(v visit) { notAsked(v, "pregnancy", nil) },
			justNot: func(v visit) {
				notAsked(v, "pregnancy", &chartv1.QuestionCondition{Question: "breast_feeding", YesNo: chartv1.YesNo_YES_NO_YES.Enum()})
			}},
		{code: guard.CodeAllergy, trips: func(v visit) { v.answer("hypersensitivity", chartv1.YesNo_YES_NO_UNSURE) }, justNot: untouched},
		{code: guard.CodeContraindication, trips: func(v visit) { inMarket(v, ona, "UK"); v.answer("myasthenia_gravis", chartv1.YesNo_YES_NO_DECLINED) },
			justNot: func(v visit) { inMarket(v, ona, "UK") }},
		{code: guard.CodeInfection, trips: func(v visit) { v.Session.ReadinessChecks[0].Check.Skin = proto.Bool(false) }, justNot: untouched},
		{code: guard.CodeInteraction, trips: func(v visit) { v.answer("aminoglycosides", chartv1.YesNo_YES_NO_YES) }, level: caution, justNot: untouched},
		{code: guard.CodePregnancy, trips: func(v visit) { v.answer("pregnancy", chartv1.YesNo_YES_NO_UNSURE) }, justNot: untouched},
		{code: guard.CodeBreastFeeding, trips: func(v visit) { v.answer("breast_feeding", chartv1.YesNo_YES_NO_YES) }, justNot: untouched},
		{code: guard.CodeUnlisted, trips: func(v visit) { alert(v, chartv1.AlertKind_ALERT_KIND_DISEASE, "an_unheard_of_disease") },
			justNot: func(v visit) { alert(v, chartv1.AlertKind_ALERT_KIND_DISEASE, "cardiovascular_disease") }},
		{code: guard.CodeAlert, trips: func(v visit) { alert(v, chartv1.AlertKind_ALERT_KIND_OTHER, "") },
			justNot: func(v visit) { alert(v, chartv1.AlertKind_ALERT_KIND_OTHER, ""); v.Patient.Alerts[0].Ended = void() }},
		{code: guard.CodeExcipients, trips: func(v visit) { inMarket(v, inco, "US"); alert(v, chartv1.AlertKind_ALERT_KIND_ALLERGY, "") },
			justNot: func(v visit) { alert(v, chartv1.AlertKind_ALERT_KIND_ALLERGY, "") }},

		{code: guard.CodeConsentMissing, trips: func(v visit) { v.Session.Consents[0].Explained.Regions = []string{"lower_face"} },
			justNot: func(v visit) { v.Session.Consents[0].Explained.Regions = []string{"glabella"} }},
		{code: guard.CodeConsentOpen, trips: func(v visit) { v.Session.Consents[0].Decision = nil }, justNot: untouched},
		{code: guard.CodeConsentRefused, trips: func(v visit) {
			v.Session.Consents[0].Decision.Answer = chartv1.ConsentAnswer_CONSENT_ANSWER_REFUSED
		}, justNot: untouched},
		{code: guard.CodeConsentUnsigned, trips: func(v visit) { v.Session.Consents[0].Signature = nil }, justNot: untouched},
		{code: guard.CodeConsentWithdrawn, trips: func(v visit) { v.Session.Consents[0].Withdrawn = &chartv1.Withdrawal{} },
			justNot: func(v visit) {
				v.Session.Consents[0].Withdrawn = &chartv1.Withdrawal{}
				v.Session.Consents = append(v.Session.Consents, consentFor("e2", "upper_face"))
			}},
		{code: guard.CodeCoolingOff, trips: func(v visit) { cooling(v, 48, noon().Add(-48*time.Hour+time.Second)) },
			justNot: func(v visit) { cooling(v, 48, noon().Add(-48*time.Hour)) }},
		{code: guard.CodeCoolingUnset, trips: func(v visit) { v.Clinic.Policies = nil }, justNot: untouched},
		{code: guard.CodeConsentText, trips: func(v visit) { v.Session.Consents[0].Explained.Version = "2" }, justNot: untouched},

		{code: guard.CodeProductUnknown, trips: func(v visit) { v.first().Planned.Product = "zetabotulinumtoxinA" }, justNot: untouched},
		{code: guard.CodeProductWrong, trips: func(v visit) { v.Vials[0].Presentation.Product = abo }, justNot: untouched},
		{code: guard.CodeProductMixed, trips: func(v visit) { v.first().Planned.Product = abo }, justNot: untouched},
		{code: guard.CodeVialMissing, trips: func(v visit) { v.Vials = nil }, justNot: untouched},
		{code: guard.CodeVialUnknown, trips: func(v visit) { given(v.first(), 100_000).Givings[0].Given.VialId = proto.String("v9") },
			justNot: func(v visit) { given(v.first(), 100_000) }},
		{code: guard.CodeVialNotRecorded, trips: func(v visit) { given(v.first(), 100_000).Givings[0].Given.VialId = nil },
			justNot: func(v visit) { given(v.first(), 100_000) }},
		{code: guard.CodeVialVoid, trips: func(v visit) { v.Vials[0].Void = void() }, justNot: untouched},
		{code: guard.CodeVialDiscarded, trips: func(v visit) { v.Vials[0].Discarded = &chartv1.Discard{} },
			justNot: func(v visit) {
				v.Vials[0].Discarded = &chartv1.Discard{}
				for _, in := range v.Session.Injections {
					given(in, 100_000)
				}
			}},
		{code: guard.CodeVialBlocked, trips: func(v visit) { v.Vials[0].Blocked = &chartv1.Block{Reason: "kept too warm"} }, justNot: untouched},
		{code: guard.CodeVialElsewhere, trips: func(v visit) { v.Vials[0].ClinicId = proto.String("c2") }, justNot: untouched},
		{code: guard.CodeVialExpired, trips: func(v visit) { v.Vials[0].Labelling.ExpiresOn = date(2026, 3, 1) },
			justNot: func(v visit) { v.Vials[0].Labelling.ExpiresOn = date(2026, 3, 2) }},
		{code: guard.CodeExpiryUnknown, trips: func(v visit) { v.Vials[0].Labelling.ExpiresOn, v.Lots[0].ExpiresOn = nil, nil },
			justNot: func(v visit) { v.Vials[0].Labelling.ExpiresOn = nil }},
		{code: guard.CodeRecalled, trips: func(v visit) { recalled(v, nil) }, justNot: func(v visit) { recalled(v, void()) }},
		{code: guard.CodeRecalledAlike, trips: func(v visit) { v.Lots = append(v.Lots, recalledLot(v, "a-l")) },
			justNot: func(v visit) { v.Lots = append(v.Lots, recalledLot(v, "A2")) }},
		{code: guard.CodeLotUnknown, trips: func(v visit) { v.Vials[0].Labelling.LotId = nil; v.Vials[0].Labelling.LotNumber = "A2" },
			justNot: func(v visit) { v.Vials[0].Labelling.LotId = nil }},
		{code: guard.CodeVialShared, trips: func(v visit) { drawnFor(v, "s9") },
			justNot: func(v visit) {
				v.History = append(v.History, earlier("s9", daysBefore(200), "c1", ona, 4000))
				drawnFor(v, "s9")
			}},
		{code: guard.CodeVialSharedByRule, trips: func(v visit) { drawnFor(v, "s9"); v.Clinic.Policies.SharedVials = true },
			justNot: func(v visit) { drawnFor(v, "s1"); v.Clinic.Policies.SharedVials = true }},
		{code: guard.CodeContentUnknown, trips: func(v visit) { v.Vials[0].Presentation.ContentMilliunits = 99_000 }, justNot: untouched},
		{code: guard.CodeNotMixed, trips: func(v visit) { v.Vials[0].Preparations = nil }, justNot: untouched},
		{code: guard.CodeMixedTwice, trips: func(v visit) { mixedAgain(v, nil) }, justNot: func(v visit) { mixedAgain(v, void()) }},
		{code: guard.CodePastUseBy, trips: func(v visit) { v.Vials[0].Preparations[0].UseBy.Until = timestamppb.New(noon().Add(-time.Second)) },
			justNot: func(v visit) { v.Vials[0].Preparations[0].UseBy.Until = timestamppb.New(noon()) }},
		{code: guard.CodeUseByUnknown, trips: func(v visit) { v.Vials[0].Preparations[0].UseBy = nil },
			justNot: func(v visit) { v.Vials[0].Preparations[0].UseBy.RuleCode = nil }},
		{code: guard.CodeUseByReused, trips: func(v visit) { v.Vials[0].Preparations[0].UseBy = nil; drawnFor(v, "s9") },
			justNot: func(v visit) { v.Vials[0].Preparations[0].UseBy = nil; drawnFor(v, "s1") }},
		{code: guard.CodeUseByLonger, trips: func(v visit) {
			v.Vials[0].Preparations[0].UseBy.Until = timestamppb.New(noon().Add(21*time.Hour + time.Second))
		}, justNot: func(v visit) { v.Vials[0].Preparations[0].UseBy.Until = timestamppb.New(noon().Add(21 * time.Hour)) }},
		{code: guard.CodeDiluentKind, trips: func(v visit) { adopted(v, "lidocaine") },
			justNot: func(v visit) { adopted(v, "sodium_chloride_0_9_preservative_free") }},
		{code: guard.CodeDiluentExpired, trips: func(v visit) { v.Vials[0].Preparations[0].Diluent.ExpiresOn = date(2026, 3, 1) },
			justNot: func(v visit) { v.Vials[0].Preparations[0].Diluent.ExpiresOn = date(2026, 3, 2) }},
		{code: guard.CodeDilution, trips: func(v visit) { v.Vials[0].Preparations[0].Diluent.VolumeNanoliters = 2_500_001 }, justNot: untouched},
		{code: guard.CodeCloudy, trips: func(v visit) {
			v.Vials[0].Preparations[0].Clarity.Finding = chartv1.ClarityFinding_CLARITY_FINDING_PARTICLES
		}, justNot: untouched},
		{code: guard.CodeMixUnchecked, trips: func(v visit) { v.Vials[0].Preparations[0].Checked = nil },
			justNot: func(v visit) { v.Vials[0].Preparations[0].Checked, v.Clinic.Policies.PreparationCheck = nil, false }},
		{code: guard.CodeConcentration, trips: func(v visit) { given(v.first(), 110_001) }, justNot: func(v visit) { given(v.first(), 110_000) }},
		{code: guard.CodeOverdrawn, trips: func(v visit) { v.Vials[0].Draws = []*chartv1.Draw{drawOf("s0", 80_001)} },
			justNot: func(v visit) { v.Vials[0].Draws = []*chartv1.Draw{drawOf("s0", 80_000)} }},

		{code: guard.CodeVolumeMost, edition: limit(&formularyv1.Limit{Basis: formularyv1.DoseBasis_DOSE_BASIS_INJECTION,
			VolumeNanoliters: proto.Int64(100_000), Level: hold}),
			trips: func(v visit) { v.first().Planned.DoseMilliunits = 4001 }, justNot: untouched},
		{code: guard.CodeVolumeUnset, trips: untouched, nothingIs: true},
		{code: guard.CodeTooSmall, trips: func(v visit) { v.first().Planned.DoseMilliunits = 200 },
			justNot: func(v visit) { v.first().Planned.DoseMilliunits = 201 }},
		{code: guard.CodeSmall, trips: func(v visit) { v.first().Planned.DoseMilliunits = 399 },
			justNot: func(v visit) { v.first().Planned.DoseMilliunits = 400 }},
		{code: guard.CodeDoseMissing, trips: func(v visit) { v.first().Planned = nil }, justNot: untouched},
		{code: guard.CodeAboveRange, trips: func(v visit) { v.first().Planned.DoseMilliunits = 4001 }, justNot: untouched},
		{code: guard.CodeBelowRange, trips: func(v visit) { v.first().Planned.DoseMilliunits = 3999 }, justNot: untouched},
		{code: guard.CodeRangeUnknown, trips: func(v visit) { oneInjection(v, "depressor_labii_inferioris", right, 1000) }, justNot: untouched},
		{code: guard.CodeSlip, trips: func(v visit) { v.first().Planned.DoseMilliunits = 20_000 },
			justNot: func(v visit) { v.first().Planned.DoseMilliunits = 19_999 }},
		{code: guard.CodeSessionLimit, edition: limit(&formularyv1.Limit{Basis: formularyv1.DoseBasis_DOSE_BASIS_SESSION,
			DoseMilliunits: proto.Int32(20_000), Level: hold}),
			trips: func(v visit) { v.first().Planned.DoseMilliunits = 4001 }, justNot: untouched},
		{code: guard.CodeWindowLimit, trips: func(v visit) { v.History = []*chartv1.Session{earlier("s0", date(2025, 12, 3), "c2", ona, 76_001)} },
			justNot: func(v visit) { v.History = []*chartv1.Session{earlier("s0", date(2025, 12, 3), "c2", ona, 76_000)} }},
		{code: guard.CodeInterval, level: caution, trips: func(v visit) {
			v.History = []*chartv1.Session{earlier("s0", date(2025, 12, 3), "c2", ona,
				4000)}
		},
			justNot: func(v visit) { v.History = []*chartv1.Session{earlier("s0", date(2025, 12, 2), "c2", ona, 4000)} }},
		{code: guard.CodeIntervalUnset, edition: noIntervals(), trips: func(v visit) {
			v.History = []*chartv1.Session{earlier("s0", daysBefore(50), "c2",
				ona, 4000)}
		},
			justNot: untouched},
		{code: guard.CodeTouchUp, edition: touchUps(), trips: func(v visit) { touchUp(v, 29) }, justNot: func(v visit) { touchUp(v, 28) }},
		{code: guard.CodeHistoryUnknown, trips: func(v visit) { elsewhere(v, nil) }, justNot: func(v visit) { elsewhere(v, proto.Int32(20_000)) }},
		{code: guard.CodeClinicUnchecked, trips: func(v visit) { v.Knowledge[0].CompleteUntil = nil }, justNot: untouched},
		{code: guard.CodeElsewhere, trips: untouched, nothingIs: true},

		{code: guard.CodeMuscleUnknown, trips: func(v visit) { v.first().Muscle = proto.String("an_unheard_of_muscle") }, justNot: untouched},
		{code: guard.CodeSideWrong, trips: func(v visit) { v.first().Side = right.Enum() }, justNot: untouched},
		{code: guard.CodeSideCrossed, trips: func(v visit) { placed(v, 12_000, 16_000) }, justNot: func(v visit) { placed(v, -12_000, 16_000) }},
		{code: guard.CodeSidesUnequal, trips: func(v visit) { v.Session.Injections[1].Planned.DoseMilliunits = 3999 },
			justNot: func(v visit) {
				v.Session.Injections[1].Planned.DoseMilliunits = 3999
				v.Session.Injections[2].UnevenReason = proto.String("the left is weaker")
			}},
		{code: guard.CodePlaceUnreadable, trips: func(v visit) { v.first().Place = &chartv1.Place{Frame: "toe"} },
			justNot: func(v visit) { placed(v, -12_000, 16_000) }},
		{code: guard.CodeNoPlace, trips: untouched, justNot: func(v visit) { placed(v, -12_000, 16_000); v.Session.Injections = v.Session.Injections[:1] }},
		// Half the measured mouth width is 30 mm: 15 mm medial to the corner is 15 mm from the midline.
		{code: guard.CodeOutsideZone, level: caution, trips: func(v visit) { placed(v, -15_001, 16_000) },
			justNot: func(v visit) { placed(v, -15_000, 16_000) }},
		{code: guard.CodeNearEdge, trips: func(v visit) { placed(v, -14_001, 16_000) }, justNot: func(v visit) { placed(v, -14_000, 16_000) }},
		{code: guard.CodeZoneUnmeasured, trips: func(v visit) { placed(v, 0, 0); v.first().Place = &chartv1.Place{Frame: "brow", XMicrometers: -8000} },
			justNot: func(v visit) { placed(v, -12_000, 16_000) }},
		{code: guard.CodeDepth, level: caution, trips: func(v visit) { lips(v.r); v.first().Depth.Layer = chartv1.DepthLayer_DEPTH_LAYER_INTRAMUSCULAR },
			justNot: func(v visit) { lips(v.r) }},
		{code: guard.CodeDepthUnknown, trips: func(v visit) { lips(v.r); v.first().Depth = nil }, justNot: func(v visit) { lips(v.r) }},

		{code: guard.CodeInjectorUnknown, trips: func(v visit) { v.Session.ResponsibleId = nil }, justNot: untouched},
		{code: guard.CodeInjectorBarred, trips: func(v visit) { v.Staff[0].Suspended = &accessv1.Suspension{} }, justNot: untouched},
		{code: guard.CodeRoleMissing, trips: func(v visit) { v.Staff[0].Positions[0].Assignment.Until = date(2026, 3, 1) },
			justNot: func(v visit) { v.Staff[0].Positions[0].Assignment.Until = date(2026, 3, 2) }},
		{code: guard.CodeCredential, trips: func(v visit) { v.Staff[0].Credentials = nil },
			justNot: func(v visit) { v.Staff[0].Credentials = v.Staff[0].Credentials[:1] }},
		{code: guard.CodeLowerFace, trips: func(v visit) { lips(v.r); v.Staff[0].Credentials = v.Staff[0].Credentials[:1] },
			justNot: func(v visit) { lips(v.r) }},
		{code: guard.CodeSupervision, trips: func(v visit) { v.Staff[0].Credentials = []*accessv1.Credential{credential("upper_face", supervised)} },
			justNot: func(v visit) {
				v.Staff[0].Credentials = []*accessv1.Credential{credential("upper_face", supervised)}
				v.Session.SupervisorId = proto.String("i2")
			}},
	}
}

func conflict(v visit, path string, values ...string) {
	kind, id := optionsv1.RecordKind_RECORD_KIND_SESSION, "s1"
	if path == "language" {
		kind, id = optionsv1.RecordKind_RECORD_KIND_PATIENT, "p1"
	}
	v.Conflicts = append(v.Conflicts, &dosev1.PathSiblings{Key: &chartv1.RecordKey{Kind: kind, RecordId: id}, Path: path, ValuesJson: values})
}

// manyConflicts puts so many registers of two values each in conflict: 2 to the power of n readings.
func manyConflicts(v visit, n int) {
	for _, path := range []string{"injections[j1].muscle", "injections[j2].muscle", "injections[j3].muscle", "injections[j4].muscle",
		"injections[j5].muscle"}[:min(n, 5)] {
		conflict(v, path, `"corrugator_supercilii"`, `"procerus"`)
	}
	for _, path := range []string{"injections[j1].side", "injections[j2].side", "injections[j3].side", "injections[j4].side"}[:n-5] {
		conflict(v, path, `"SIDE_RIGHT"`, `"SIDE_LEFT"`)
	}
}

// answered lifts the hold of a date of birth that was only stated.
func answered(v visit, by string, role accessv1.Role, reason string) {
	v.Patient.Birth.Proof = chartv1.BirthProof_BIRTH_PROOF_STATED
	f := of(found(v), guard.CodeAgeUnverified)
	lift(v, f, by, role, reason)
}

func lift(v visit, f *dosev1.Finding, by string, role accessv1.Role, reason string) {
	v.Session.FindingAnswers = append(v.Session.FindingAnswers, &chartv1.FindingAnswer{Id: "f-" + f.GetCode(), Answer: &chartv1.FindingDecision{
		FindingId: f.GetFindingId(), Code: f.GetCode(), Level: f.GetLevel(), Text: f.GetText(), Reason: reason, Role: role, Decided: act(by, noon()),
		Decision: chartv1.FindingDecisionKind_FINDING_DECISION_KIND_LIFTED}})
}

func inMarket(v visit, product, market string) {
	v.r.Formulary.Market = market
	for _, in := range v.Session.Injections {
		in.Planned.Product = product
	}
	v.Vials[0].Presentation.Product, v.Lots[0].Identity.Product, v.Order.Lines[0].Leave.Product = product, proto.String(product), product
}

func usedOrder(v visit, times int) {
	for i := range times {
		s := earlier("old"+string(rune('a'+i)), daysBefore(100+100*i), "c1", ona, 4000)
		s.OrderId = proto.String("o1")
		v.History = append(v.History, s)
	}
}

func voice(v visit, readBack, countersigned bool) {
	change := &chartv1.VoiceChange{Id: "w1", Change: &chartv1.VoiceOrder{Text: "four units more", PrescriberId: "d1", ReadBack: readBack}}
	if countersigned {
		change.Countersigned = act("d1", noon())
	}
	v.Order.Changes = []*chartv1.VoiceChange{change}
}

func standing(v visit, years int32, staff ...string) {
	v.Order.Kind, v.Order.PatientId = chartv1.OrderKind_ORDER_KIND_STANDING_ORDER.Enum(), nil
	v.Order.Standing = &chartv1.StandingScope{StaffIds: staff, YoungestYears: years}
}

// notAsked takes the answer about a condition away, and the question with it unless it depends on another one.
func notAsked(v visit, condition string, shownIf *chartv1.QuestionCondition) {
	v.Session.Screening = slices.DeleteFunc(v.Session.Screening,
		func(a *chartv1.ScreeningAnswer) bool { return a.GetAnswer().GetQuestion() == condition })
	v.Questionnaires[0].Questions = slices.DeleteFunc(v.Questionnaires[0].Questions, func(q *chartv1.Question) bool {
		q.Body.ShownIf = nil
		if q.GetBody().GetCode() == condition {
			q.Body.ShownIf = shownIf
			return shownIf == nil
		}
		return false
	})
}

func alert(v visit, kind chartv1.AlertKind, condition string) {
	content := &chartv1.AlertContent{Kind: kind, Text: "see this first"}
	if condition != "" {
		content.Condition = &condition
	}
	v.Patient.Alerts = []*chartv1.Alert{{Id: "w1", Content: content}}
}

func cooling(v visit, hours int32, explained time.Time) {
	v.Clinic.Policies.CoolingOffHours = hours
	v.Session.Consents[0].Explained.Explained = act("i1", explained)
}

func recalled(v visit, lifted *recordv1.Void) {
	v.Lots[0].Recalls = []*chartv1.LotRecall{{Id: "x1", Notice: &chartv1.RecallNotice{Reason: "a counterfeit label"}, Lifted: lifted}}
}

func drawOf(session string, milliunits int32) *chartv1.Draw {
	return &chartv1.Draw{Id: "d-" + session, Amount: &chartv1.DrawAmount{SessionId: session, PreparationId: proto.String("m1"),
		DoseMilliunits:   milliunits,
		VolumeNanoliters: int64(milliunits) * 25}}
}

func drawnFor(v visit, session string) {
	v.Vials[0].Draws = append(v.Vials[0].Draws, drawOf(session, 4000))
}

func mixedAgain(v visit, voided *recordv1.Void) {
	again := proto.CloneOf(v.Vials[0].Preparations[0])
	again.Id, again.Void = "m2", voided
	v.Vials[0].Preparations = append(v.Vials[0].Preparations, again)
}

// adopted mixes 100 units in 2 mL of preservative-free saline, which the lead adopted with a diluent.
func adopted(v visit, diluent string) {
	v.Vials[0].Preparations[0].Diluent.VolumeNanoliters = 2_000_001
	v.Clinic.AdoptedDilutions = []*chartv1.AdoptedDilution{{Id: "ad", Dilution: &chartv1.AdoptedStrength{Product: ona, ContentMilliunits: 100_000,
		DiluentNanoliters: 2_000_001, Diluent: diluent}}}
}

func touchUps() *formularyv1.FormularyEdition {
	return &formularyv1.FormularyEdition{TouchUpRules: []*formularyv1.TouchUpRuleEntry{{Value: &formularyv1.TouchUpRule{Code: "ours",
		Earliest: &formularyv1.Period{Days: 14}, Latest: &formularyv1.Period{Days: 28}, Level: caution, Provenance: byLead()}}}}
}

// recalledLot is another record of a lot of the vial's product, with a recall.
func recalledLot(v visit, number string) *chartv1.Lot {
	l := proto.CloneOf(v.Lots[0])
	l.Id, l.Identity.Number, l.Aliases = "l9", number, nil
	l.Recalls = []*chartv1.LotRecall{{Id: "r9", Notice: &chartv1.RecallNotice{Reason: "weak"}}}
	return l
}

// noIntervals takes every interval rule of the product away.
func noIntervals() *formularyv1.FormularyEdition {
	m := &formularyv1.FormularyEdition{}
	e, err := formulary.Builtin()
	if err != nil {
		return m
	}
	for _, entry := range e.Message().GetIntervalRules() {
		m.IntervalRules = append(m.IntervalRules, &formularyv1.IntervalRuleEntry{Id: entry.GetId(), Removed: void()})
	}
	return m
}

func touchUp(v visit, days int) {
	v.History = []*chartv1.Session{earlier("s0", daysBefore(days), "c1", ona, 4000)}
	v.Session.Kind, v.Session.Parent = chartv1.SessionKind_SESSION_KIND_TOUCH_UP.Enum(), &chartv1.SessionParent{SessionId: "s0", Reason: "too little"}
}

func elsewhere(v visit, milliunits *int32) {
	v.Patient.PriorTreatments = []*chartv1.PriorTreatment{{Id: "t1", Report: &chartv1.PriorTreatmentReport{Product: proto.String(ona),
		DoseMilliunits: milliunits,
		On:             &recordv1.ApproximateDate{Year: 2026, Month: proto.Int32(1), Day: proto.Int32(5)}}}}
}

func found(v visit) []*dosev1.Finding {
	e, err := formulary.Builtin()
	if err != nil {
		return nil
	}
	return checked(e, v)
}

// Every code has a case that trips it and one that just does not.
func TestEveryCode(t *testing.T) {
	base := builtin(t)
	tested := make(map[string]bool)
	for _, row := range rows() {
		if tested[row.code] {
			t.Errorf("%s is in two rows", row.code)
		}
		tested[row.code] = true
		t.Run(row.code, func(t *testing.T) { row.run(t, base) })
	}
	for _, rule := range guard.Rules() {
		if !tested[rule.Code] {
			t.Errorf("%s has no row", rule.Code)
		}
	}
	if len(tested) != len(guard.Rules()) {
		t.Errorf("%d codes and %d rows", len(guard.Rules()), len(tested))
	}
}

// A clinic that was not checked is named, and by its id only where its name is not known.
func TestUncheckedClinicIsNamed(t *testing.T) {
	for name, want := range map[string]string{"Vellmouth": "Vellmouth was not checked", "": "Clinic 0-1 was not checked"} {
		if got := guard.UncheckedText("0-1", name); !strings.HasPrefix(got, want) {
			t.Errorf("%q, want %q first", got, want)
		}
	}
}

func (row row) run(t *testing.T, base *formulary.Edition) {
	e := base
	if row.edition != nil {
		e = derived(t, base, row.edition)
	}
	at := func(change func(visit)) *dosev1.Finding {
		r := clear(e)
		change(visit{r.GetFacts(), r})
		return of(check(t, e, r).GetFindings(), row.code)
	}
	rule, _ := guard.RuleOf(row.code)
	want := rule.Level
	if row.level != 0 {
		want = row.level
	}
	f := at(row.trips)
	if f == nil {
		t.Fatal("does not trip")
	}
	if f.GetLevel() != want {
		t.Errorf("is a %s, want %s: %s", f.GetLevel(), want, f.GetText())
	}
	if f.GetText() == "" || f.GetFindingId() == "" || len(f.GetAbout()) == 0 {
		t.Errorf("lacks its sentence, its id or what it is about: %v", f)
	}
	if row.nothingIs {
		return
	}
	if f := at(row.justNot); f != nil {
		t.Errorf("trips in the case that just should not: %s", f.GetText())
	}
}
