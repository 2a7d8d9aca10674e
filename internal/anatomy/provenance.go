package anatomy

// Obtained says how a figure was come by, and so how far it may carry.
type Obtained string

// The ways.
const (
	// Read in the source itself, or in what is seen of it.
	Read Obtained = "read"
	// ReadCopy was read in a copy or a secondary account.
	ReadCopy Obtained = "read_copy"
	// Trade was read on a page of the trade or one of low trust.
	Trade Obtained = "trade"
	// Memory was not seen.
	Memory Obtained = "memory"
	// CommonPractice is a habit of the trade without a source.
	CommonPractice Obtained = "common_practice"
	// Computed was reckoned from figures that were read.
	Computed Obtained = "computed"
	// Lead was set by the clinic's medical lead.
	Lead Obtained = "lead"
)

// Text says it in words for people.
func (o Obtained) Text() string {
	switch o {
	case Read:
		return "read"
	case ReadCopy:
		return "read in a copy"
	case Trade:
		return "read on a trade page"
	case Memory:
		return "from memory"
	case CommonPractice:
		return "common practice, no source"
	case Computed:
		return "computed"
	case Lead:
		return "set by the medical lead"
	}
	return "not stated"
}

// Strongest is the strongest level that a figure come by in this way may have: from memory, from a trade page or from nowhere, a note and no more.
// A habit without a source may caution and never holds.
func (o Obtained) Strongest() Level {
	switch o {
	case Read, ReadCopy, Computed, Lead:
		return Hold
	case CommonPractice:
		return Caution
	}
	return Note
}

// Provenance is where a figure comes from.
type Provenance struct {
	// Obtained is how it was come by.
	Obtained Obtained
	// Sources are the codes of the publications, such as S69 (testdata/anatomy/sources.csv, docs/sources.md); empty for memory, common practice and the lead.
	Sources []string
	// Section is the place in the source; empty when it is not known.
	Section string
	// Remark is what a reader should know; empty when nothing.
	Remark string
}
