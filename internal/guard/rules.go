package guard

// The codes. They are stable.
const (
	CodeSessionVoid      = "SESSION_VOID"
	CodePracticeMixed    = "PRACTICE_MIXED"
	CodeKindTreatsNot    = "KIND_TREATS_NOT"
	CodeNothingPlanned   = "NOTHING_PLANNED"
	CodeEditionOther     = "EDITION_OTHER"
	CodeEditionUnchosen  = "EDITION_NOT_CHOSEN"
	CodeReadinessFailed  = "READINESS_FAILED"
	CodeConflict         = "VALUES_IN_CONFLICT"
	CodeConflictUnread   = "CONFLICTS_UNREAD"
	CodeHeld             = "EDIT_HELD"
	CodeAnswerNot        = "ANSWER_DOES_NOT_STAND"
	CodeClockBackwards   = "CLOCK_RAN_BACKWARDS"
	CodeClockUnchecked   = "CLOCK_UNCHECKED"
	CodeDateDiffers      = "DATE_DIFFERS"
	CodeClinicUnknown    = "CLINIC_UNKNOWN"
	CodePatientUnknown   = "PATIENT_UNKNOWN"
	CodeUnidentified     = "PATIENT_UNIDENTIFIED"
	CodePatientDead      = "PATIENT_DEATH_RECORDED"
	CodeAgeUnknown       = "AGE_UNKNOWN"
	CodeAgeUnder         = "AGE_UNDER"
	CodeAgeUnverified    = "AGE_UNVERIFIED"
	CodeAgeLabel         = "AGE_OUTSIDE_LABEL"
	CodeOrderMissing     = "ORDER_MISSING"
	CodeOrderDraft       = "ORDER_NOT_ISSUED"
	CodeOrderWithdrawn   = "ORDER_WITHDRAWN"
	CodeOrderOther       = "ORDER_OTHER_PATIENT"
	CodeOrderClinic      = "ORDER_OTHER_CLINIC"
	CodeOrderExpired     = "ORDER_EXPIRED"
	CodeOrderExceeded    = "ORDER_EXCEEDED"
	CodeOrderUsedUp      = "ORDER_USED_UP"
	CodeOrderNotCovering = "ORDER_NOT_COVERING"
	CodeOrderExamination = "ORDER_EXAMINATION"
	CodeOrderVoice       = "ORDER_NOT_READ_BACK"
	CodeOrderOwed        = "ORDER_COUNTERSIGN_OWED"
	CodeOrderStaff       = "STANDING_ORDER_STAFF"
	CodeOrderAge         = "STANDING_ORDER_AGE"
	CodePrescriber       = "PRESCRIBER_MAY_NOT"
	CodePrescriberUnseen = "PRESCRIBER_UNCHECKED"
	CodeScreeningNone    = "SCREENING_MISSING"
	CodeUnanswered       = "SCREENING_UNANSWERED"
	CodeUnreadable       = "SCREENING_UNREADABLE"
	CodeNotAsked         = "SCREENING_NOT_ASKED"
	CodeAllergy          = "ALLERGY_KNOWN"
	CodeContraindication = "CONTRAINDICATION"
	CodeInfection        = "INFECTION_AT_SITE"
	CodeInteraction      = "INTERACTION"
	CodePregnancy        = "PREGNANCY"
	CodeBreastFeeding    = "BREAST_FEEDING"
	CodeUnlisted         = "CONDITION_UNLISTED"
	CodeAlert            = "PATIENT_ALERT"
	CodeExcipients       = "EXCIPIENTS_UNKNOWN"
	CodeConsentMissing   = "CONSENT_MISSING"
	CodeConsentOpen      = "CONSENT_UNDECIDED"
	CodeConsentRefused   = "CONSENT_REFUSED"
	CodeConsentUnsigned  = "CONSENT_UNSIGNED"
	CodeConsentWithdrawn = "CONSENT_WITHDRAWN"
	CodeCoolingOff       = "CONSENT_COOLING_OFF"
	CodeCoolingUnset     = "COOLING_OFF_UNSET"
	CodeConsentText      = "CONSENT_TEXT_UNKNOWN"
	CodeProductUnknown   = "PRODUCT_UNKNOWN"
	CodeProductWrong     = "PRODUCT_WRONG"
	CodeProductMixed     = "PRODUCT_MIXED"
	CodeVialMissing      = "VIAL_MISSING"
	CodeVialUnknown      = "VIAL_UNKNOWN"
	CodeVialNotRecorded  = "VIAL_NOT_RECORDED"
	CodeVialVoid         = "VIAL_VOID"
	CodeVialDiscarded    = "VIAL_DISCARDED"
	CodeVialBlocked      = "VIAL_BLOCKED"
	CodeVialElsewhere    = "VIAL_ELSEWHERE"
	CodeVialExpired      = "VIAL_EXPIRED"
	CodeExpiryUnknown    = "EXPIRY_UNKNOWN"
	CodeRecalled         = "LOT_RECALLED"
	CodeRecalledAlike    = "LOT_LOOKS_RECALLED"
	CodeLotUnknown       = "LOT_UNKNOWN"
	CodeVialShared       = "VIAL_SHARED"
	CodeVialSharedByRule = "VIAL_SHARED_BY_POLICY"
	CodeContentUnknown   = "CONTENT_UNKNOWN"
	CodeNotMixed         = "NOT_MIXED"
	CodeMixedTwice       = "MIXED_TWICE"
	CodePastUseBy        = "PAST_USE_BY"
	CodeUseByUnknown     = "USE_BY_UNKNOWN"
	CodeUseByReused      = "USE_BY_UNKNOWN_REUSED"
	CodeUseByLonger      = "USE_BY_LONGER_THAN_RULE"
	CodeDiluentKind      = "DILUENT_DIFFERS"
	CodeDiluentExpired   = "DILUENT_EXPIRED"
	CodeDilution         = "DILUTION_NOT_ALLOWED"
	CodeCloudy           = "SOLUTION_NOT_CLEAR"
	CodeMixUnchecked     = "PREPARATION_UNCHECKED"
	CodeConcentration    = "CONCENTRATION_DIFFERS"
	CodeOverdrawn        = "VIAL_TOO_LITTLE"
	CodeVolumeMost       = "INJECTION_VOLUME_ABOVE_MOST"
	CodeVolumeUnset      = "NO_GREATEST_VOLUME_SET"
	CodeTooSmall         = "DOSE_TOO_SMALL_TO_MEASURE"
	CodeSmall            = "DOSE_BELOW_GRADUATION"
	CodeDoseMissing      = "DOSE_MISSING"
	CodeAboveRange       = "DOSE_ABOVE_RANGE"
	CodeBelowRange       = "DOSE_BELOW_RANGE"
	CodeRangeUnknown     = "DOSE_RANGE_UNKNOWN"
	CodeSlip             = "DOSE_TENFOLD"
	CodeSessionLimit     = "SESSION_ABOVE_MOST"
	CodeWindowLimit      = "WINDOW_ABOVE_MOST"
	CodeInterval         = "INTERVAL_NOT_MET"
	CodeIntervalUnset    = "NO_INTERVAL_KNOWN"
	CodeTouchUp          = "TOUCH_UP_COUNTS_AS_TREATMENT"
	CodeHistoryUnknown   = "HISTORY_UNKNOWN"
	CodeClinicUnchecked  = "CLINIC_UNCHECKED"
	CodeElsewhere        = "ELSEWHERE_UNCHECKED"
	CodeMuscleUnknown    = "MUSCLE_UNKNOWN"
	CodeSideWrong        = "SIDE_WRONG"
	CodeSideCrossed      = "SIDE_CONTRADICTS_PLACE"
	CodeSidesUnequal     = "SIDES_UNEQUAL"
	CodePlaceUnreadable  = "PLACE_UNREADABLE"
	CodeNoPlace          = "PLACE_NOT_CHARTED"
	CodeOutsideZone      = "OUTSIDE_ZONE"
	CodeNearEdge         = "ZONE_EDGE_NEAR"
	CodeZoneUnmeasured   = "ZONE_NOT_MEASURED"
	CodeDepth            = "DEPTH_DIFFERS"
	CodeDepthUnknown     = "DEPTH_NOT_CHARTED"
	CodeInjectorUnknown  = "INJECTOR_UNKNOWN"
	CodeInjectorBarred   = "INJECTOR_SUSPENDED"
	CodeRoleMissing      = "ROLE_MISSING"
	CodeCredential       = "CREDENTIAL_MISSING"
	CodeLowerFace        = "CREDENTIAL_UPPER_FACE_ONLY"
	CodeSupervision      = "SUPERVISOR_MISSING"
)

// rules is data and never changed.
var rules = []Rule{
	{CodeSessionVoid, hold, never(), "the visit was voided or cancelled", byRecord},
	{CodePracticeMixed, hold, never(), "a practice record beside a real one", byRecord},
	{CodeKindTreatsNot, caution, nobody(), "an injection in a consultation, in a review, or in a visit whose kind nobody stated", byRecord},
	{CodeNothingPlanned, note, nobody(), "nothing is planned or given", byRecord},
	{CodeEditionOther, note, nobody(), "the visit began with another formulary than the one that judges it, or with none", byRecord},
	{CodeEditionUnchosen, caution, nobody(), "the formulary that judges is neither the one that the visit began with nor the one that the clinic chose, which is not here",
		byRecord},
	{CodeReadinessFailed, hold, injector(), "the last check before the needle says no", byRecord},
	{CodeConflict, caution, nobody(), "a register that guardrails read holds values in conflict; the worse end was taken", byRecord},
	{CodeConflictUnread, hold, nobody(), "more values in conflict than can be judged one by one", byRecord},
	{CodeHeld, caution, nobody(), "an edit of a record that is judged by is held and waits for a person, so that what it says was not looked at", byRecord},
	{CodeAnswerNot, caution, nobody(), "an answer to a finding that does not stand: not her role, no reason, or another sentence than now", byRecord},
	{CodeClockBackwards, caution, nobody(), "the device's clock ran backwards, wherever a date decides", byRecord},
	{CodeClockUnchecked, caution, nobody(), "the device's clock was never checked, wherever a date decides", byRecord},
	{CodeDateDiffers, caution, nobody(), "the visit's day is missing, or more than a day from the moment that is judged at", byRecord},
	{CodeClinicUnknown, hold, lead(), "no record of the clinic, so its policies are not known", byRecord},

	{CodePatientUnknown, hold, never(), "no record of the patient, a voided or erased one, or another person's", byRecord},
	{CodeUnidentified, hold, never(), "no check by two different identifiers", byPractice},
	{CodePatientDead, hold, lead(), "a date of death is recorded", byRecord},
	{CodeAgeUnknown, hold, lead(), "no date of birth", byPractice},
	{CodeAgeUnder, hold, lead(), "under 18, or under the youngest age that the clinic treats", "age_limits; " + byPolicy},
	{CodeAgeUnverified, hold, lead(), "a date of birth that was only stated, unless the clinic's policies do without proof", byPolicy},
	{CodeAgeLabel, hold, lead(), "an age outside what the product's label says", "age_limits"},

	{CodeOrderMissing, hold, never(), "no order", byRecord},
	{CodeOrderDraft, hold, never(), "the order was not issued", byRecord},
	{CodeOrderWithdrawn, hold, never(), "the order was withdrawn", byRecord},
	{CodeOrderOther, hold, never(), "the order is another patient's", byRecord},
	{CodeOrderClinic, hold, lead(), "the order is for another clinic", byRecord},
	{CodeOrderExpired, hold, never(), "the day is outside the order's dates, or it has none", byRecord},
	{CodeOrderExceeded, hold, nobody(), "more of a product than the order's most", byRecord},
	{CodeOrderUsedUp, hold, nobody(), "the order was used for as many visits as it covers", byRecord},
	{CodeOrderNotCovering, hold, nobody(), "a product or a muscle that the order does not name", byRecord},
	{CodeOrderExamination, hold, lead(), "the prescriber did not examine, or not face to face where the clinic's policies want it", byPolicy},
	{CodeOrderVoice, hold, nobody(), "a change by voice that was not read back", byRecord},
	{CodeOrderOwed, caution, nobody(), "a change by voice that the prescriber has not countersigned", byRecord},
	{CodeOrderStaff, hold, nobody(), "a standing order that does not name the injector", byRecord},
	{CodeOrderAge, hold, nobody(), "a patient younger than a standing order covers", byRecord},
	{CodePrescriber, hold, lead(), "the prescriber may not prescribe, or not any more", byRecord},
	{CodePrescriberUnseen, caution, nobody(), "no record of the prescriber", byRecord},

	{CodeScreeningNone, hold, lead(), "no question was answered", byRecord},
	{CodeUnanswered, hold, lead(), "a question that must be answered has no answer, or one that was carried over and not confirmed", byRecord},
	{CodeUnreadable, hold, lead(), "an answer whose question is not known here", byRecord},
	{CodeNotAsked, caution, nobody(), "a condition that would hold was not asked about", "contraindications"},
	{CodeAllergy, hold, never(), "an allergy to botulinum toxin or to what is in the product", "contraindications; products"},
	{CodeContraindication, hold, lead(), "a disease that speaks against the product", "contraindications"},
	{CodeInfection, hold, lead(), "an infection or inflammation at the place", "contraindications"},
	{CodeInteraction, hold, lead(), "a drug or another toxin that interacts", "contraindications"},
	{CodePregnancy, hold, lead(), "pregnant, or not sure, or not said", "contraindications"},
	{CodeBreastFeeding, hold, lead(), "breast-feeding, or not sure, or not said", "contraindications"},
	{CodeUnlisted, caution, nobody(), "a condition of which the formulary says nothing for this product and market", "contraindications"},
	{CodeAlert, caution, nobody(), "an alert of the patient", byRecord},
	{CodeExcipients, caution, nobody(), "an allergy, and a product whose excipients are not known", "products"},

	{CodeConsentMissing, hold, nobody(), "no consent that covers a region treated and the product", byRecord},
	{CodeConsentOpen, hold, nobody(), "the patient has not decided", byRecord},
	{CodeConsentRefused, hold, nobody(), "the patient refused", byRecord},
	{CodeConsentUnsigned, hold, nobody(), "the patient's signature is owed", byRecord},
	{CodeConsentWithdrawn, hold, nobody(), "the patient withdrew", byRecord},
	{CodeCoolingOff, hold, lead(), "the time to think is not over, or nobody knows when it began", byPolicy},
	{CodeCoolingUnset, caution, nobody(), "the clinic set no time to think", byPolicy},
	{CodeConsentText, hold, lead(), "the text explained is not known here, was not published, or is of another version; withdrawn since, it is a caution", byRecord},

	{CodeProductUnknown, hold, nobody(), "a product that the formulary does not hold", "products"},
	{CodeProductWrong, hold, never(), "a vial of another product than the dose, or a dose without a product", byRecord},
	{CodeProductMixed, hold, lead(), "two products in one visit", byPractice},
	{CodeVialMissing, hold, nobody(), "no vial", byRecord},
	{CodeVialUnknown, hold, nobody(), "a vial that is not known here", byRecord},
	{CodeVialNotRecorded, caution, nobody(), "a dose was given and no vial recorded", byRecord},
	{CodeVialVoid, hold, never(), "the vial's record does not count", byRecord},
	{CodeVialDiscarded, hold, nobody(), "the vial is used up or gone", byRecord},
	{CodeVialBlocked, hold, nobody(), "the vial must not be used", byRecord},
	{CodeVialElsewhere, caution, nobody(), "the vial belongs to another clinic", byRecord},
	{CodeVialExpired, hold, never(), "past the last day of use", byRecord},
	{CodeExpiryUnknown, hold, lead(), "no day of expiry", byRecord},
	{CodeRecalled, hold, never(), "the lot was recalled, or the lot of the diluent", byRecord},
	{CodeRecalledAlike, caution, nobody(), "a lot was recalled whose number looks like the vial's: letters for digits, other case, spaces or hyphens", byRecord},
	{CodeLotUnknown, caution, nobody(), "no record of the lot, so a recall was not looked for", byRecord},
	{CodeVialShared, hold, lead(), "a second patient from one vial, unless the clinic's policies allow it", byPolicy},
	{CodeVialSharedByRule, note, nobody(), "a second patient from one vial, as the clinic's policies allow", byPolicy},
	{CodeContentUnknown, caution, nobody(), "the formulary has no vial of this product and content", "presentations"},
	{CodeNotMixed, hold, nobody(), "a powder without a diluent, or a preparation that is not known", byRecord},
	{CodeMixedTwice, hold, lead(), "diluent was added twice, so the concentration is not what one of them says", byRecord},
	{CodePastUseBy, hold, lead(), "past the use-by of the preparation", byRecord},
	{CodeUseByUnknown, caution, nobody(), "no use-by that may be relied on: discard after this session", "use_by_rules"},
	{CodeUseByReused, hold, lead(), "no use-by that may be relied on, and the preparation was used in another visit", "use_by_rules"},
	{CodeUseByLonger, hold, lead(), "a use-by later than the rule that it names", "use_by_rules"},
	{CodeDiluentKind, hold, lead(), "another diluent than what is stated of this dilution, something added, or a diluent in a ready liquid",
		"dilutions; presentations"},
	{CodeDiluentExpired, hold, never(), "the diluent is past its last day of use", byRecord},
	{CodeDilution, caution, nobody(), "a dilution that no label states and the lead did not adopt", "dilutions"},
	{CodeCloudy, hold, never(), "the solution is cloudy or has particles", byRecord},
	{CodeMixUnchecked, hold, lead(), "nobody checked the preparation where the clinic's policies want it", byPolicy},
	{CodeConcentration, hold, lead(), "units and volume drawn or given do not agree with what is in the vial", byRecord},
	{CodeOverdrawn, caution, nobody(), "the vial holds less than what was drawn and is still to be given", byRecord},

	{CodeVolumeMost, hold, lead(), "more volume in one injection than the limit", "limits"},
	{CodeVolumeUnset, note, nobody(), "nobody set the greatest volume of an injection", "limits"},
	{CodeTooSmall, hold, injector(), "at most half of the syringe's smallest step, so the plunger may not move", byRecord},
	{CodeSmall, caution, nobody(), "less than the syringe's smallest step", byRecord},
	{CodeDoseMissing, hold, nobody(), "an injection without a dose or with none of it", byRecord},
	{CodeAboveRange, caution, nobody(), "more than the published range, by injection, side, muscle or region", "dose_ranges"},
	{CodeBelowRange, note, nobody(), "less than the published range", "dose_ranges"},
	{CodeRangeUnknown, note, nobody(), "no published dose of this product in this muscle", "dose_ranges"},
	{CodeSlip, hold, injector(), "5 times the usual dose or more, or a fifth or less; the lead may set another factor", "dose_ranges; tolerances"},
	{CodeSessionLimit, hold, lead(), "more than the limit of a visit", "limits"},
	{CodeWindowLimit, hold, lead(), "more than the limit of a window of time, all clinics and what was reported together", "limits"},
	{CodeInterval, hold, lead(), "sooner after the last treatment than a rule, at whatever clinic; of several rules the longer warns", "interval_rules"},
	{CodeIntervalUnset, note, nobody(), "no rule how long to wait after a product that the patient had", "interval_rules"},
	{CodeTouchUp, note, nobody(), "a touch-up that counts as a treatment of its own", "touch_up_rules"},
	{CodeHistoryUnknown, caution, nobody(), "no treatment history at hand, or one with an unknown day, product or dose", byRecord},
	{CodeClinicUnchecked, caution, nobody(), "a clinic of which it is not known whether its records are here", byRecord},
	{CodeElsewhere, note, nobody(), "always: other clinics are known only as reported", byRecord},

	{CodeMuscleUnknown, hold, lead(), "a muscle that the anatomy does not hold, or none, so that region, consent and credential cannot be checked", "docs/anatomy.md"},
	{CodeSideWrong, hold, injector(), "a side that the muscle does not have, or none in a paired one", "docs/anatomy.md"},
	{CodeSideCrossed, hold, injector(), "the place lies on another side than the one said", "docs/anatomy.md"},
	{CodeSidesUnequal, caution, nobody(), "right and left of one muscle differ and no reason is given", byPractice},
	{CodePlaceUnreadable, caution, nobody(), "a place that cannot be", "docs/anatomy.md"},
	{CodeNoPlace, note, nobody(), "no place, so the zones of the muscle were not looked at", "zones"},
	{CodeOutsideZone, hold, lead(), "outside a zone, so too near what it keeps off", "zones"},
	{CodeNearEdge, note, nobody(), "less than 1 mm inside a zone's edge", byPractice},
	{CodeZoneUnmeasured, note, nobody(), "a zone about which the place says nothing", "zones"},
	{CodeDepth, hold, lead(), "deeper or more superficial than the formulary says", "depth_rules"},
	{CodeDepthUnknown, note, nobody(), "no depth where the formulary has a rule", "depth_rules"},

	{CodeInjectorUnknown, hold, lead(), "no injector, or no record of her", byRecord},
	{CodeInjectorBarred, hold, nobody(), "the injector is suspended", byRecord},
	{CodeRoleMissing, hold, lead(), "no current position as injector or lead at this clinic", byRecord},
	{CodeCredential, hold, supervisor(), "a region outside the injector's credential", byRecord},
	{CodeLowerFace, hold, supervisor(), "the lower face or the neck, by someone signed off for the upper face only", byRecord},
	{CodeSupervision, hold, supervisor(), "a credential under supervision, and no supervisor credentialled for the region", byRecord},
}
