package dose

import (
	"errors"
	"strconv"
)

// ErrOverflow is returned when an exact result does not fit its type. Nothing was rounded or wrapped.
var ErrOverflow = errors.New("the exact result is too large to hold")

// Kind is what a text was read as.
type Kind string

// The kinds of text that this package reads.
const (
	KindProduct Kind = "product"
	KindUnits   Kind = "units"
	KindML      Kind = "mL"
	KindPercent Kind = "percent"
)

// Rule is a rule of a text's form, worded to follow the name of what broke it. It is stable; clients may branch on it.
type Rule string

// The rules. A decimal is written in exactly one way: what parses prints back to the same bytes.
const (
	RuleEmpty         Rule = "must not be empty"
	RuleTooLong       Rule = "is too long"
	RuleProductName   Rule = "must be a name of letters, digits and hyphens that begins with a letter"
	RuleNoSign        Rule = "must have no sign"
	RuleNoSpace       Rule = "must have no space"
	RuleNoComma       Rule = "must have no comma: write the decimal point as a full stop and no separators"
	RuleNoExponent    Rule = "must have no exponent"
	RuleNoUnitText    Rule = "must be a number alone, the unit is in the field's name"
	RuleCharacter     Rule = "must hold ASCII digits and at most one point"
	RuleDigitBefore   Rule = "must have a digit before the point"
	RuleDigitAfter    Rule = "must have a digit after the point"
	RuleLeadingZero   Rule = "must have no leading zero"
	RuleTrailingZero  Rule = "must have no trailing zero after the point"
	RuleDecimals      Rule = "has too many decimals"
	RuleTooLarge      Rule = "is larger than allowed"
	RulePositive      Rule = "must be more than zero"
	RuleRange         Rule = "is outside the range allowed"
	RuleGraduations   Rule = "must be a whole number of graduations"
	RuleUnique        Rule = "must occur only once"
	RuleOneOf         Rule = "must be one of the values listed"
	RuleOneVolume     Rule = "needs either the diluent added or the volume of a ready liquid, not both"
	RuleTotal         Rule = "makes the total larger than allowed"
	RuleMissing       Rule = "is missing"
	RuleTooMany       Rule = "has too many entries"
	RuleUnknownAmount Rule = "must be absent when it is unknown"
)

// maxReadBytes is how much of a refused text an error repeats.
const maxReadBytes = 40

// ParseError says which rule a text broke and what was read.
type ParseError struct {
	// Kind is what the text should have been.
	Kind Kind
	// Rule is the rule it broke.
	Rule Rule
	// Read is the text, cut after 40 bytes.
	Read string
}

func newParseError(kind Kind, read string, rule Rule) *ParseError {
	if len(read) > maxReadBytes {
		read = read[:maxReadBytes]
	}
	return &ParseError{Kind: kind, Rule: rule, Read: read}
}

// Error is one line: the kind, the rule, what was read.
func (e *ParseError) Error() string {
	return string(e.Kind) + " " + string(e.Rule) + ": read " + strconv.Quote(e.Read)
}

// InputError says which field of a request is outside what can be reckoned with, and what it held.
type InputError struct {
	// Field is the path in the request, as "syringe.graduation_ml" or "doses[3].ref".
	Field string
	// Rule is the rule it broke.
	Rule Rule
	// Read is the value, as text.
	Read string
}

// Error is one line: the field, the rule, what was read.
func (e *InputError) Error() string {
	return e.Field + " " + string(e.Rule) + ": read " + strconv.Quote(e.Read)
}

// DoesNotFitError says that one injection needs more than a whole syringe of the kind chosen; injections are never split.
type DoesNotFitError struct {
	// Ref names the injection.
	Ref string
	// Dose is its dose and Exact the volume that holds it.
	Dose  Amount
	Exact ExactVolume
	// Needs is the mark that would have to be drawn to, priming included; Capacity is the syringe's.
	Needs, Capacity Volume
}

// Error names the injection, what it needs and what the syringe holds.
func (e *DoesNotFitError) Error() string {
	return "injection " + strconv.Quote(e.Ref) + " of " + e.Dose.Decimal() + " units needs " + e.Needs.Decimal() +
		" mL with priming, the syringe holds " + e.Capacity.Decimal() + " mL"
}
