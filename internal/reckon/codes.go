package reckon

// The codes of findings. They are stable.
const (
	// CodeDilutionNotLabelled is a note: no label states this dilution for this use.
	CodeDilutionNotLabelled = "DILUTION_NOT_LABELLED"
	// CodeDilutionUnconfirmed is a note: that a label states this dilution is known only from memory or from a trade page.
	CodeDilutionUnconfirmed = "DILUTION_UNCONFIRMED"
	// CodeLabelRounds is a note: the printed strength is a rounding of the exact one.
	CodeLabelRounds = "LABEL_ROUNDS"
	// CodeDiluentDiffers is a caution: what is known of this dilution is known for another kind of diluent.
	CodeDiluentDiffers = "DILUENT_DIFFERS"
	// CodeContentUnknown is a caution: the formulary has no vial of this content.
	CodeContentUnknown = "CONTENT_UNKNOWN"
	// CodeLiquidDiffers is a caution: a ready liquid was given a diluent, or a powder none.
	CodeLiquidDiffers = "LIQUID_DIFFERS"
	// CodeUseByUnknown is a caution: no figure for use after mixing may be relied on, so discard after this session.
	CodeUseByUnknown = "USE_BY_UNKNOWN"
	// CodeDeliversNothing is a hold: the plunger would not move for this injection.
	CodeDeliversNothing = "INJECTION_DELIVERS_NOTHING"
	// CodeInjectionError has the level that the clinic's tolerance has: an injection is further from its dose than that.
	CodeInjectionError = "INJECTION_ERROR_OVER_TOLERANCE"
	// CodeSidesDiffer has the level that the clinic's tolerance has: right and left are planned equal and get unequal doses.
	CodeSidesDiffer = "SIDES_DIFFER_OVER_TOLERANCE"
	// CodeNoTolerance is a note: rounding changes doses and the edition holds no tolerance to judge it by.
	CodeNoTolerance = "NO_TOLERANCE_SET"
	// CodeLossUnknown is a note: something leaked or was spilled and nobody knows how much; it is not counted as zero.
	CodeLossUnknown = "LOSS_UNKNOWN"
	// CodeNotPrimed is a caution: less is pushed out than the injection needle holds, so that a syringe's first injection would fill the needle.
	CodeNotPrimed = "NEEDLE_NOT_PRIMED"
	// CodeMuscleSplit is a note: the injections of one muscle come from several syringes.
	CodeMuscleSplit = "MUSCLE_IN_SEVERAL_SYRINGES"
	// CodeNoMostVolume is a note: nobody set the greatest volume of an injection, so none was left out for its volume.
	CodeNoMostVolume = "NO_GREATEST_VOLUME_SET"
	// CodeNoOption is a caution: no dilution of the vials named, labelled for this use or adopted, can draw the plan.
	CodeNoOption = "NO_DILUTION_TO_ADVISE"
	// CodeElsewhereUnchecked is a note that stands in every history: what was done at clinics outside the records is known only where it was reported.
	CodeElsewhereUnchecked = "ELSEWHERE_UNCHECKED"
	// CodeHeld is a caution: an edit of a record that is summed is held and waits for a person, so that what it says is in no sum.
	CodeHeld = "EDIT_HELD"
	// CodeClinicUnchecked is a caution: of a clinic of the organisation nothing is known here.
	CodeClinicUnchecked = "CLINIC_UNCHECKED"
	// CodeIntervalNotMet has the level of its rule: on the day asked about, the last treatment is too recent.
	CodeIntervalNotMet = "INTERVAL_NOT_MET"
	// CodeNoInterval is a note: no rule says how long to wait after a product.
	CodeNoInterval = "NO_INTERVAL_KNOWN"
	// CodeWindowAboveMost has the level of its limit: more was given in a window than the limit allows. Where only something unknown may be above, it is a
	// caution at most.
	CodeWindowAboveMost = "WINDOW_ABOVE_MOST"
	// CodeTouchUpCounts is a note, or outside a window has the level of its rule: what was declared a touch-up counts as a treatment of its own.
	CodeTouchUpCounts = "TOUCH_UP_COUNTS_AS_TREATMENT"
	// CodeDoseUnknown is a caution: a treatment's dose is not known; it is never counted as zero.
	CodeDoseUnknown = "DOSE_UNKNOWN"
	// CodeProductUnknown is a caution: a treatment's product is not known; it counts against every product's interval and limit.
	CodeProductUnknown = "PRODUCT_UNKNOWN"
	// CodeUndated is a caution: no day is known of a treatment; it counts as if it may have been on any.
	CodeUndated = "TREATMENT_UNDATED"
	// CodeAfterDay is a caution: a treatment is dated after the day that is reckoned from.
	CodeAfterDay = "TREATMENT_AFTER_DAY"
	// CodeInConflict is a caution: values of a treatment are in conflict, so its sums are ranges.
	CodeInConflict = "TREATMENT_IN_CONFLICT"
	// CodeNoRatio is a note: the formulary holds no published ratio of two products.
	CodeNoRatio = "NO_RATIO_PUBLISHED"
	// CodeRatiosDiffer is a note: published ratios of two products differ.
	CodeRatiosDiffer = "RATIOS_DIFFER"
	// CodeVolumeAboveMost is a caution or what the limit says: an injection's volume is more than allowed.
	CodeVolumeAboveMost = "INJECTION_VOLUME_ABOVE_MOST"
)

// Caution is shown with every answer that shows a dose.
const Caution = "The licensed prescriber decides, and local rules come first. Units of one product are not units of another."

// CoreVersion is the version of the arithmetic and of the findings, named in every answer. It changes when the same request may get another answer.
const CoreVersion = "0.1.0"
