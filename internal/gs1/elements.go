package gs1

import (
	"cmp"
	"slices"
	"strings"
)

// separator is how a scanner gives the FNC1 that ends an element: the ASCII group separator.
const separator = '\x1d'

// Element is one application identifier and its data.
type Element struct {
	// AI has two to four digits.
	AI string
	// Value is its data, without separator or escapes.
	Value string
}

// Elements is what one scan says. An element that is not there is empty or zero; only the fields that are filled were read.
type Elements struct {
	// Raw is a copy of what was parsed, byte for byte; nil when it was too long.
	Raw []byte
	// Symbology is the symbology identifier before the data, such as "]d2"; empty when the scanner sent none.
	Symbology string
	// GTIN is the trade item number (01), 14 digits.
	GTIN string
	// Lot is the batch or lot number (10), 1 to 20 characters.
	Lot string
	// Serial is the serial number (21), 1 to 20 characters.
	Serial string
	// Expiry is the last day of use (17), Produced the day of production (11).
	Expiry, Produced Date
	// Others are the elements of any other application identifier, each identifier once, in canonical order.
	Others []Element
}

// Value is the data of an application identifier as it stands in an element string; false when there is none.
func (e Elements) Value(ai string) (string, bool) {
	for _, element := range e.all() {
		if element.AI == ai {
			return element.Value, true
		}
	}
	return "", false
}

// SameContent says whether two scans say the same, whatever their order, form or symbology.
func (e Elements) SameContent(other Elements) bool { return slices.Equal(e.all(), other.all()) }

// ElementString is the canonical element string without a symbology identifier: the elements of predefined length by identifier, then the others by
// identifier, a group separator (1D in hexadecimal) between two where the first needs it. Elements that [Parse] gave without an error parse from
// it to the same content; fields set by hand are printed as they are.
func (e Elements) ElementString() string {
	var b strings.Builder
	all := e.all()
	for i, element := range all {
		b.WriteString(element.AI + element.Value)
		if i+1 < len(all) && !predefined(element.AI) {
			b.WriteByte(separator)
		}
	}
	return b.String()
}

// Bracketed is the form for people, identifiers in round brackets, in the order of [Elements.ElementString]. An opening bracket in the data is
// written \( so that it begins no element. It parses to the same content as ElementString does.
func (e Elements) Bracketed() string {
	var b strings.Builder
	for _, element := range e.all() {
		b.WriteString("(" + element.AI + ")" + strings.ReplaceAll(element.Value, "(", `\(`))
	}
	return b.String()
}

// all is every element in canonical order.
func (e Elements) all() []Element {
	all := slices.Clone(e.Others)
	for _, element := range []Element{
		{"01", e.GTIN}, {"10", e.Lot}, {"21", e.Serial}, {"17", e.Expiry.yymmdd()}, {"11", e.Produced.yymmdd()},
	} {
		if element.Value != "" {
			all = append(all, element)
		}
	}
	slices.SortStableFunc(all, canonical)
	return all
}

// canonical orders elements: those of predefined length first, so that few separators are needed, then by identifier.
func canonical(a, b Element) int {
	if p := predefined(a.AI); p != predefined(b.AI) {
		if p {
			return -1
		}
		return 1
	}
	return cmp.Compare(a.AI, b.AI)
}

// add puts in an element that was checked. It is false when the identifier is there with another value.
func (e *Elements) add(ai, value string, year int) bool {
	if before, ok := e.Value(ai); ok {
		return before == value
	}
	switch ai {
	case "01":
		e.GTIN = value
	case "10":
		e.Lot = value
	case "11":
		e.Produced = dateOf(value, year)
	case "17":
		e.Expiry = dateOf(value, year)
	case "21":
		e.Serial = value
	default:
		e.Others = append(e.Others, Element{ai, value})
		slices.SortFunc(e.Others, canonical)
	}
	return true
}
