package anatomy

// Nature says on which sides a muscle is.
type Nature uint8

// The natures.
const (
	// Paired muscles have a right and a left one and are never on the midline.
	Paired Nature = iota + 1
	// Midline muscles have no side.
	Midline
	// Across muscles reach over the midline: an injection may be on the right, on the left or on the midline.
	Across
)

// String is "paired", "midline" or "across the midline".
func (n Nature) String() string {
	switch n {
	case Paired:
		return "paired"
	case Midline:
		return "midline"
	case Across:
		return "across the midline"
	}
	return "unknown"
}

// Muscle is a muscle of the face. What it does is general anatomy, from memory.
type Muscle struct {
	// Code is its name in data; Name its name in anatomy, in English use.
	Code, Name string
	// Nature says on which sides it is.
	Nature Nature
	// Region is where it is treated.
	Region Region
	// Frame is the frame in which its injections are usually placed.
	Frame FrameCode
	// Action is what it does when it contracts.
	Action string
	// Target is true for a muscle that is treated; the others are here because a spread weakens them.
	Target bool
	// Parts are its parts that are treated apart; empty when there are none.
	Parts []string
}

// Muscles lists all muscles, from above.
func Muscles() []Muscle {
	return []Muscle{
		{Code: "frontalis", Name: "frontalis", Nature: Across, Region: UpperFace, Frame: FrameForehead, Action: "raises the brow", Target: true},
		{Code: "procerus", Name: "procerus", Nature: Midline, Region: UpperFace, Frame: FrameBrow, Action: "draws the medial brow down", Target: true},
		{Code: "corrugator_supercilii", Name: "corrugator supercilii", Nature: Paired, Region: UpperFace, Frame: FrameBrow,
			Action: "draws the brow medially and down", Target: true},
		{Code: "depressor_supercilii", Name: "depressor supercilii", Nature: Paired, Region: UpperFace, Frame: FrameBrow,
			Action: "draws the medial brow down", Target: true},
		{Code: "orbicularis_oculi", Name: "orbicularis oculi", Nature: Paired, Region: UpperFace, Frame: FrameOrbit, Action: "closes the eye", Target: true,
			Parts: []string{"lateral", "lower lid"}},
		{Code: "levator_palpebrae_superioris", Name: "levator palpebrae superioris", Nature: Paired, Region: UpperFace, Frame: FrameOrbit,
			Action: "raises the upper lid"},
		{Code: "nasalis", Name: "nasalis", Nature: Paired, Region: MidFace, Frame: FrameNose, Action: "wrinkles the side of the nose", Target: true},
		{Code: "depressor_septi_nasi", Name: "depressor septi nasi", Nature: Across, Region: MidFace, Frame: FrameNose,
			Action: "draws the tip of the nose down", Target: true},
		{Code: "levator_labii_superioris_alaeque_nasi", Name: "levator labii superioris alaeque nasi", Nature: Paired, Region: MidFace,
			Frame: FrameNose, Action: "raises the upper lip and the wing of the nose", Target: true},
		{Code: "levator_labii_superioris", Name: "levator labii superioris", Nature: Paired, Region: MidFace, Frame: FrameNose,
			Action: "raises the upper lip"},
		{Code: "zygomaticus_minor", Name: "zygomaticus minor", Nature: Paired, Region: MidFace, Frame: FrameCheek, Action: "raises the upper lip"},
		{Code: "zygomaticus_major", Name: "zygomaticus major", Nature: Paired, Region: MidFace, Frame: FrameCheek,
			Action: "draws the mouth corner up and back"},
		{Code: "risorius", Name: "risorius", Nature: Paired, Region: LowerFace, Frame: FrameCheek, Action: "draws the mouth corner back"},
		{Code: "masseter", Name: "masseter", Nature: Paired, Region: LowerFace, Frame: FrameCheek, Action: "closes the jaw", Target: true},
		{Code: "orbicularis_oris", Name: "orbicularis oris", Nature: Across, Region: LowerFace, Frame: FrameMouth, Action: "closes and purses the lips",
			Target: true, Parts: []string{"upper lip", "lower lip"}},
		{Code: "depressor_anguli_oris", Name: "depressor anguli oris", Nature: Paired, Region: LowerFace, Frame: FrameMouth,
			Action: "draws the mouth corner down", Target: true},
		{Code: "depressor_labii_inferioris", Name: "depressor labii inferioris", Nature: Paired, Region: LowerFace, Frame: FrameChin,
			Action: "draws the lower lip down", Target: true},
		{Code: "mentalis", Name: "mentalis", Nature: Paired, Region: LowerFace, Frame: FrameChin,
			Action: "raises and dimples the chin, pushes the lower lip up",
			Target: true},
		{Code: "platysma", Name: "platysma", Nature: Paired, Region: Neck, Frame: FrameNeck, Action: "tenses the neck, draws the jaw line down",
			Target: true},
	}
}

// MuscleByCode finds a muscle.
func MuscleByCode(code string) (Muscle, bool) {
	for _, m := range Muscles() {
		if m.Code == code {
			return m, true
		}
	}
	return Muscle{}, false
}

// ParseMuscle is MuscleByCode for outside text. The error is an [*Error] with [ErrUnknownCode].
func ParseMuscle(text string) (Muscle, error) {
	if m, ok := MuscleByCode(text); ok {
		return m, nil
	}
	return Muscle{}, refuse("muscle", ErrUnknownCode, text)
}

// Allows reports whether an injection into this muscle can be on that side. SideNone is never a side of a muscle.
func (m Muscle) Allows(s Side) bool {
	switch s {
	case SideRight, SideLeft:
		return m.Nature != Midline
	case SideMidline:
		return m.Nature != Paired
	}
	return false
}

// CheckSide is Allows as an [*Error] with [ErrSide] that names the muscle.
func (m Muscle) CheckSide(s Side) error {
	if m.Allows(s) {
		return nil
	}
	return refuse("side of "+m.Code, ErrSide, s.String())
}

// CheckPlace refuses a place of a paired muscle that lies on the midline exactly, whatever side was said, with [ErrSide]. How near to the midline is
// too near is a matter of zones.
func (m Muscle) CheckPlace(p Place) error {
	if err := p.Check(); err != nil {
		return err
	}
	if f, _ := FrameByCode(p.Frame); m.Nature == Paired && !f.Sided && p.X == 0 {
		return refuse("x of "+m.Code, ErrSide, "0")
	}
	return nil
}
