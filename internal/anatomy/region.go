package anatomy

import "slices"

// Region is a part of the face that people are credentialled for.
type Region string

// The regions.
const (
	UpperFace Region = "upper_face"
	MidFace   Region = "mid_face"
	LowerFace Region = "lower_face"
	Neck      Region = "neck"
)

// Regions lists them from above.
func Regions() []Region { return []Region{UpperFace, MidFace, LowerFace, Neck} }

// Name is what people call it.
func (r Region) Name() string {
	switch r {
	case UpperFace:
		return "upper face"
	case MidFace:
		return "mid face"
	case LowerFace:
		return "lower face"
	case Neck:
		return "neck"
	}
	return "unknown region"
}

// ParseRegion reads a region's code. The error is an [*Error] with [ErrUnknownCode].
func ParseRegion(text string) (Region, error) {
	if r := Region(text); slices.Contains(Regions(), r) {
		return r, nil
	}
	return "", refuse("region", ErrUnknownCode, text)
}

// Area is what labels and published doses speak of: one or several muscles, or a part of one.
type Area struct {
	// Code is its name in data, such as glabella; Name what people call it.
	Code, Name string
	// Region is where it lies.
	Region Region
	// Muscles are the codes of the muscles treated there.
	Muscles []string
	// Part says which part of the muscle is meant; empty when all of it.
	Part string
}

// Areas lists them from above.
func Areas() []Area {
	return []Area{
		{Code: "forehead", Name: "forehead", Region: UpperFace, Muscles: []string{"frontalis"}},
		{Code: "glabella", Name: "glabella", Region: UpperFace, Muscles: []string{"corrugator_supercilii", "procerus", "depressor_supercilii"}},
		{Code: "corrugator", Name: "corrugator", Region: UpperFace, Muscles: []string{"corrugator_supercilii"}},
		{Code: "lateral_canthus", Name: "lateral canthus", Region: UpperFace, Muscles: []string{"orbicularis_oculi"}, Part: "lateral"},
		{Code: "lateral_orbicularis_oculi", Name: "lateral orbicularis oculi", Region: UpperFace, Muscles: []string{"orbicularis_oculi"}, Part: "lateral"},
		{Code: "lower_eyelid", Name: "lower eyelid", Region: UpperFace, Muscles: []string{"orbicularis_oculi"}, Part: "lower lid"},
		{Code: "nose", Name: "nose", Region: MidFace, Muscles: []string{"nasalis", "levator_labii_superioris_alaeque_nasi", "depressor_septi_nasi"}},
		{Code: "jaw", Name: "jaw", Region: LowerFace, Muscles: []string{"masseter"}},
		{Code: "upper_lip", Name: "upper lip", Region: LowerFace, Muscles: []string{"orbicularis_oris"}, Part: "upper lip"},
		{Code: "lower_lip", Name: "lower lip", Region: LowerFace, Muscles: []string{"orbicularis_oris"}, Part: "lower lip"},
		{Code: "mouth_corner", Name: "mouth corner", Region: LowerFace, Muscles: []string{"depressor_anguli_oris"}},
		{Code: "chin", Name: "chin", Region: LowerFace, Muscles: []string{"mentalis"}},
	}
}

// AreaByCode finds an area.
func AreaByCode(code string) (Area, bool) {
	for _, a := range Areas() {
		if a.Code == code {
			return a, true
		}
	}
	return Area{}, false
}

// TargetsOf lists the targets that include a muscle: its own code, those of its areas, that of its region. A muscle that nobody knows has its own
// alone.
func TargetsOf(muscle string) []string {
	targets := []string{muscle}
	for _, a := range Areas() {
		if slices.Contains(a.Muscles, muscle) {
			targets = append(targets, a.Code)
		}
	}
	if m, ok := MuscleByCode(muscle); ok {
		targets = append(targets, string(m.Region))
	}
	return targets
}

// Covers reports whether a target, which is the code of a muscle, an area or a region, includes a muscle.
func Covers(target, muscle string) bool { return slices.Contains(TargetsOf(muscle), target) }

// KnownTarget reports whether a target is the code of a muscle, an area or a region.
func KnownTarget(target string) bool {
	_, muscle := MuscleByCode(target)
	_, area := AreaByCode(target)
	return muscle || area || slices.Contains(Regions(), Region(target))
}
