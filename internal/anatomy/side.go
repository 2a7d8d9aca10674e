package anatomy

// Side is the patient's own side.
type Side uint8

// The sides. SideNone is a place or an injection whose side was not said.
const (
	SideNone Side = iota
	SideRight
	SideLeft
	SideMidline
)

// Sides lists the sides that have a name.
func Sides() []Side { return []Side{SideRight, SideLeft, SideMidline} }

// String is "right", "left" or "midline", and "none" for a side that was not said.
func (s Side) String() string {
	switch s {
	case SideRight:
		return "right"
	case SideLeft:
		return "left"
	case SideMidline:
		return "midline"
	}
	return "none"
}

// ParseSide reads what String writes for a side that has a name. The error is an [*Error] with [ErrUnknownCode].
func ParseSide(text string) (Side, error) {
	for _, s := range Sides() {
		if s.String() == text {
			return s, nil
		}
	}
	return SideNone, refuse("side", ErrUnknownCode, text)
}

// Opposite is the other of right and left; the midline and none are their own.
func (s Side) Opposite() Side {
	switch s {
	case SideRight:
		return SideLeft
	case SideLeft:
		return SideRight
	}
	return s
}

// lateral is the direction of x that leads away from the midline on this side: -1 on the right, 1 on the left, 0 otherwise.
func (s Side) lateral() int64 {
	switch s {
	case SideRight:
		return -1
	case SideLeft:
		return 1
	}
	return 0
}
