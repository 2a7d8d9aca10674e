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
	// CodeMuscleSplit is a note: the injections of one muscle come from several syringes.
	CodeMuscleSplit = "MUSCLE_IN_SEVERAL_SYRINGES"
	// CodeVolumeAboveMost is a caution or what the limit says: an injection's volume is more than allowed.
	CodeVolumeAboveMost = "INJECTION_VOLUME_ABOVE_MOST"
)

// Caution is shown with every answer that shows a dose.
const Caution = "The licensed prescriber decides, and local rules come first. Units of one product are not units of another."

// CoreVersion is the version of the arithmetic and of the findings, named in every answer. It changes when the same request may get another answer.
const CoreVersion = "0.1.0"
