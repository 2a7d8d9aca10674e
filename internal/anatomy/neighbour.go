package anatomy

// Neighbour is a muscle that toxin meant for another weakens when it spreads or is placed a little off.
type Neighbour struct {
	// Muscle is the code of the muscle that is treated, Weakened that of its neighbour.
	Muscle, Weakened string
	// Effect is what is then seen.
	Effect string
	// Provenance is where that comes from.
	Provenance Provenance
}

// SpreadReach is how far from its injection a toxin is said to act at most: an upper bound from one trade page (S55). It decides nothing.
const SpreadReach = 30 * Millimetre

// Neighbours lists what is known of each treated muscle's neighbours.
func Neighbours() []Neighbour {
	meeting := Provenance{Obtained: Read, Sources: []string{"S109"}, Section: "first part of the report",
		Remark: "a meeting report; lip lines too near the mouth corner"}
	memory := Provenance{Obtained: Memory, Remark: "knowledge of the trade, not seen in a source"}
	trade := func(remark string, sources ...string) Provenance {
		return Provenance{Obtained: Trade, Sources: sources, Remark: remark}
	}
	return []Neighbour{
		{"corrugator_supercilii", "levator_palpebrae_superioris", "the upper lid droops", memory},
		{"corrugator_supercilii", "frontalis", "the medial brow drops", memory},
		{"procerus", "levator_palpebrae_superioris", "the upper lid droops", memory},
		{"orbicularis_oculi", "zygomaticus_major", "the smile is lower on that side", memory},
		{"orbicularis_oculi", "zygomaticus_minor", "the upper lip is lower on that side", memory},
		{"nasalis", "levator_labii_superioris_alaeque_nasi", "the upper lip is lower on that side", memory},
		{"levator_labii_superioris_alaeque_nasi", "levator_labii_superioris", "the upper lip is lower on that side", memory},
		{"levator_labii_superioris_alaeque_nasi", "zygomaticus_minor", "the smile is lower on that side", memory},
		{"masseter", "risorius", "the smile is narrower on that side", trade("superior or medial placement", "S57", "S71")},
		{"orbicularis_oris", "depressor_anguli_oris", "the mouth is crooked", meeting},
		{"orbicularis_oris", "zygomaticus_major", "the mouth is crooked", meeting},
		{"orbicularis_oris", "risorius", "the mouth is crooked", meeting},
		{"depressor_anguli_oris", "depressor_labii_inferioris", "the lower lip stays up on that side", trade("medial placement", "S52")},
		{"depressor_anguli_oris", "orbicularis_oris", "the lips close weakly", memory},
		{"depressor_anguli_oris", "zygomaticus_major", "the smile is lower on that side", memory},
		{"mentalis", "depressor_labii_inferioris", "the lower lip stays up on that side", memory},
		{"mentalis", "orbicularis_oris", "the lips close weakly", memory},
		{"depressor_labii_inferioris", "orbicularis_oris", "the lips close weakly", memory},
		{"depressor_labii_inferioris", "mentalis", "the chin is weak", memory},
		{"platysma", "depressor_labii_inferioris", "the lower lip stays up on that side", memory},
		{"platysma", "depressor_anguli_oris", "the mouth corner turns up on that side", memory},
	}
}

// NeighboursOf lists the neighbours of a treated muscle. A spread from one side can only be told from too little on the other by examining both.
func NeighboursOf(muscle string) []Neighbour {
	var found []Neighbour
	for _, n := range Neighbours() {
		if n.Muscle == muscle {
			found = append(found, n)
		}
	}
	return found
}
