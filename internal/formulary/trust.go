package formulary

import (
	"slices"
	"strings"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// MostLevel is the strongest finding that a figure of this provenance may raise: from memory or from a trade page never more than a note.
func MostLevel(p *formularyv1.Provenance) formularyv1.Level {
	switch p.GetObtained() {
	case formularyv1.Obtained_OBTAINED_READ, formularyv1.Obtained_OBTAINED_READ_COPY, formularyv1.Obtained_OBTAINED_COMPUTED,
		formularyv1.Obtained_OBTAINED_COMMON_PRACTICE, formularyv1.Obtained_OBTAINED_LEAD:
		return formularyv1.Level_LEVEL_HOLD
	default:
		return formularyv1.Level_LEVEL_NOTE
	}
}

// Clears reports whether a figure of this provenance may permit something, as a labelled dilution or a use-by does. What is from memory, from a trade
// page or a habit without a source permits nothing.
func Clears(p *formularyv1.Provenance) bool {
	switch p.GetObtained() {
	case formularyv1.Obtained_OBTAINED_READ, formularyv1.Obtained_OBTAINED_READ_COPY, formularyv1.Obtained_OBTAINED_COMPUTED,
		formularyv1.Obtained_OBTAINED_LEAD:
		return true
	default:
		return false
	}
}

// Weaker returns the weaker of two levels; levels count downwards, a hold being 1.
func Weaker(a, b formularyv1.Level) formularyv1.Level { return max(a, b) }

// Holds reports whether an entry for the markets named, such as EU/UK, counts where one market was asked for. An entry without a market counts
// everywhere, and a question without a market asks for all.
func Holds(markets, asked string) bool {
	return asked == "" || markets == "" || slices.Contains(strings.Split(markets, "/"), asked)
}

// ObtainedText says in words for people how a figure was come by.
func ObtainedText(o formularyv1.Obtained) string {
	switch o {
	case formularyv1.Obtained_OBTAINED_READ:
		return "read"
	case formularyv1.Obtained_OBTAINED_READ_COPY:
		return "read in a copy"
	case formularyv1.Obtained_OBTAINED_TRADE:
		return "read on a trade page"
	case formularyv1.Obtained_OBTAINED_MEMORY:
		return "from memory"
	case formularyv1.Obtained_OBTAINED_COMMON_PRACTICE:
		return "common practice, no source"
	case formularyv1.Obtained_OBTAINED_COMPUTED:
		return "computed"
	case formularyv1.Obtained_OBTAINED_LEAD:
		return "set by the medical lead"
	default:
		return "not stated"
	}
}
