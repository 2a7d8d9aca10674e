package guard

import (
	"slices"
	"strings"

	"needlebook/internal/anatomy"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// atlas is the anatomy as one check reads it, so that its tables are made once and not for every injection.
type atlas struct {
	muscles map[string]anatomy.Muscle
	areas   map[string]anatomy.Area
	// targets are the muscle's own code, its areas and its region, as far as they were asked for.
	targets map[string][]string
	// frames are the face frames, as far as a place was in them.
	frames map[anatomy.FrameCode]anatomy.Frame
}

func newAtlas() atlas {
	muscles, areas := anatomy.Muscles(), anatomy.Areas()
	a := atlas{make(map[string]anatomy.Muscle, len(muscles)), make(map[string]anatomy.Area, len(areas)), make(map[string][]string, 8),
		make(map[anatomy.FrameCode]anatomy.Frame, 8)}
	for _, m := range muscles {
		a.muscles[m.Code] = m
	}
	for _, area := range areas {
		a.areas[area.Code] = area
	}
	return a
}

// targetsOf lists the targets that include a muscle, as anatomy.TargetsOf does.
func (a atlas) targetsOf(muscle string) []string {
	targets, asked := a.targets[muscle]
	if asked {
		return targets
	}
	targets = append(make([]string, 0, 4), muscle)
	for _, area := range a.areas {
		if slices.Contains(area.Muscles, muscle) {
			targets = append(targets, area.Code)
		}
	}
	if m, ok := a.muscles[muscle]; ok {
		targets = append(targets, string(m.Region))
	}
	a.targets[muscle] = targets
	return targets
}

// locate is anatomy.Locate with frames that are made once.
func (a atlas) locate(p anatomy.Place, zones []anatomy.Zone) (anatomy.Location, error) {
	f, made := a.frames[p.Frame]
	if !made {
		var err error
		if f, err = anatomy.ParseFrame(string(p.Frame)); err != nil {
			return anatomy.Location{}, err
		}
		a.frames[p.Frame] = f
	}
	return f.Locate(p, zones)
}

// covers reports whether a target includes a muscle.
func (a atlas) covers(target, muscle string) bool {
	return slices.Contains(a.targetsOf(muscle), target)
}

// groupOf is what a range is compared within: its target, or the muscle where the target is one whole muscle or a part of it, since an injection does not
// say which part.
func (a atlas) groupOf(target string) string {
	if area, ok := a.areas[target]; ok && len(area.Muscles) == 1 {
		return area.Muscles[0]
	}
	return target
}

// text is a muscle, an area or a region in words.
func (a atlas) text(target string) string {
	if m, ok := a.muscles[target]; ok {
		return m.Name
	}
	if area, ok := a.areas[target]; ok {
		return area.Name
	}
	if r, err := anatomy.ParseRegion(target); err == nil {
		return strings.ToLower(r.Name())
	}
	if target == "" {
		return "a muscle that was not recorded"
	}
	return wordText(target)
}

// sided is a muscle with its side: "right depressor anguli oris".
func (a atlas) sided(muscle string, side chartv1.Side) string {
	switch side {
	case chartv1.Side_SIDE_RIGHT:
		return "right " + a.text(muscle)
	case chartv1.Side_SIDE_LEFT:
		return "left " + a.text(muscle)
	default:
		return a.text(muscle)
	}
}

// doseRanges are the edition's ranges of a product in the market asked for, looked up once a check.
func (c *checker) doseRanges(product string) []*formularyv1.DoseRange {
	ranges, asked := c.published[product]
	if !asked {
		ranges = c.e.DoseRanges(product, c.f.Market)
		c.published[product] = ranges
	}
	return ranges
}
