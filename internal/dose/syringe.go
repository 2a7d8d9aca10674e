package dose

// Syringe is a kind of syringe with the needle it injects through. Invariants, checked wherever one is taken:
//
//  1. 0 < Graduation <= Capacity <= MaxVolume, and Capacity is a whole number of graduations.
//  2. 0 <= DeadSpace <= Capacity, 0 <= Priming <= Capacity.
//  3. 0 <= MarkVolume <= MaxVolume.
type Syringe struct {
	// Capacity is the volume at the highest graduation.
	Capacity Volume
	// Graduation is the smallest step that the clinic reads on it.
	Graduation Volume
	// MarkVolume is the volume of one mark of an insulin scale (0.01 mL for U-100, 0.025 mL for U-40); zero for a scale in mL.
	MarkVolume Volume
	// DeadSpace is what stays in the hub and the needle that drew and never comes out.
	DeadSpace Volume
	// Priming is what is pushed out to fill the injection needle after the needle is changed.
	Priming Volume
}

// check returns the first invariant that is broken as an *InputError.
func (s Syringe) check() error {
	refuse := func(field string, rule Rule, v Volume) error {
		return &InputError{Field: "syringe." + field, Rule: rule, Read: v.Decimal()}
	}
	switch {
	case s.Capacity <= 0:
		return refuse("capacity_ml", RulePositive, s.Capacity)
	case s.Capacity > MaxVolume:
		return refuse("capacity_ml", RuleRange, s.Capacity)
	case s.Graduation <= 0:
		return refuse("graduation_ml", RulePositive, s.Graduation)
	case s.Graduation > s.Capacity:
		return refuse("graduation_ml", RuleRange, s.Graduation)
	case s.Capacity%s.Graduation != 0:
		return refuse("capacity_ml", RuleGraduations, s.Capacity)
	case s.DeadSpace < 0 || s.DeadSpace > s.Capacity:
		return refuse("dead_space_ml", RuleRange, s.DeadSpace)
	case s.Priming < 0 || s.Priming > s.Capacity:
		return refuse("priming_ml", RuleRange, s.Priming)
	case s.MarkVolume < 0 || s.MarkVolume > MaxVolume:
		return refuse("mark_volume_ml", RuleRange, s.MarkVolume)
	}
	return nil
}

// capacity and priming in whole graduations; priming is rounded up, since the plunger is set by a mark.
func (s Syringe) capacity() int64 { return int64(s.Capacity / s.Graduation) }

func (s Syringe) priming() int64 { return int64((s.Priming + s.Graduation - 1) / s.Graduation) }

// MarkText says where the plunger stands, for people: "0.13 mL", or on an insulin scale "mark 13 (0.13 mL)". An insulin scale's marks are
// volume and never toxin units, so the word "units" is never used for them.
func (s Syringe) MarkText(mark Volume) string {
	if s.MarkVolume <= 0 {
		return mark.Display()
	}
	number := mustFraction(int64(mark), int64(s.MarkVolume)).number(MLDecimals)
	return "mark " + group(number.Decimal) + " (" + mark.Display() + ")"
}
