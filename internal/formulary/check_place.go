package formulary

import (
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"needlebook/internal/anatomy"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// wholeFace stands where an entry is for no region in particular.
const wholeFace = "whole_face"

// places checks that muscles, areas, regions, frames and landmarks are the anatomy's.
func (c *checker) places(list, key string, value protoreflect.Message) {
	for _, name := range []protoreflect.Name{"target", "region"} {
		field := value.Descriptor().Fields().ByName(name)
		if field == nil || !value.Has(field) {
			continue
		}
		if code := value.Get(field).String(); !anatomy.KnownTarget(code) && (name == "target" || code != wholeFace) {
			c.blocks(list, key, string(name), "read %q, want a muscle, an area or a region of docs/anatomy.md", code)
		}
	}
	if z, ok := value.Interface().(*formularyv1.Zone); ok {
		c.zone(key, z)
	}
}

func (c *checker) zone(key string, z *formularyv1.Zone) {
	frame, ok := anatomy.FrameByCode(anatomy.FrameCode(z.GetFrame()))
	if !ok {
		c.blocks("zones", key, "frame", "read %q, want a frame of docs/anatomy.md", z.GetFrame())
		return
	}
	landmark, ok := frame.Landmark(z.GetLandmark())
	if !ok {
		c.blocks("zones", key, "landmark", "read %q, want a landmark of the frame %s", z.GetLandmark(), frame.Code)
		return
	}
	zone := anatomy.Zone{Frame: frame.Code, Landmark: landmark.Code, Direction: anatomy.Direction(z.GetDirection()), Least: boundOf(z.LeastMicrometers),
		Most: boundOf(z.MostMicrometers)}
	// A landmark that needs a measure has a direction only where the patient was measured.
	place := anatomy.Place{Frame: frame.Code, Side: anatomy.SideLeft, Y: anatomy.MostOffset}
	if landmark.Needs != "" {
		place.Scale = anatomy.Scale{Measure: landmark.Needs, Measured: 50 * anatomy.Millimetre}
	}
	where, err := anatomy.Locate(place, []anatomy.Zone{zone})
	switch {
	case err != nil:
		c.blocks("zones", key, "", "%s", err)
	case len(where.Unmeasured) > 0 && where.Unmeasured[0].Reason == anatomy.NoDirection:
		c.blocks("zones", key, "direction", "read %q: %s", z.GetDirection(), where.Unmeasured[0].Reason)
	case len(where.Unmeasured) > 0:
		c.blocks("zones", key, "", "%s", where.Unmeasured[0].Reason)
	}
	if z.GetLevel() == formularyv1.Level_LEVEL_HOLD && z.GetProvenance().GetObtained() == formularyv1.Obtained_OBTAINED_COMMON_PRACTICE {
		c.remarks("zones", key, "level", "is a hold on a habit without a source, which a place shows as a caution")
	}
}

func boundOf(micrometers *int32) anatomy.Bound {
	if micrometers == nil {
		return anatomy.Bound{}
	}
	return anatomy.At(anatomy.Micrometre(*micrometers))
}

// zones checks the zones that stand together. Two that hold or caution contradict each other when no distance satisfies both; when they only differ, the
// laxer never decides. Notes may disagree: published figures do.
func (c *checker) zones() {
	var zones []*formularyv1.Zone
	for _, p := range c.merged {
		if z, ok := p.value.Interface().(*formularyv1.Zone); ok && z.GetLevel() < formularyv1.Level_LEVEL_NOTE {
			zones = append(zones, z)
		}
	}
	for i := range zones {
		for _, b := range zones[i+1:] {
			a := zones[i]
			if !c.fresh["zones/"+b.GetCode()] {
				a, b = b, a
			}
			if c.fresh["zones/"+b.GetCode()] && sameDistance(a, b) {
				c.pair(a, b)
			}
		}
	}
}

// pair names what is wrong between two zones of one distance, at the second, which the edition brings.
func (c *checker) pair(a, b *formularyv1.Zone) {
	least, most := a.LeastMicrometers, a.MostMicrometers
	if least == nil || b.LeastMicrometers != nil && *b.LeastMicrometers > *least {
		least = b.LeastMicrometers
	}
	if most == nil || b.MostMicrometers != nil && *b.MostMicrometers < *most {
		most = b.MostMicrometers
	}
	if least != nil && most != nil && *least > *most {
		c.blocks("zones", b.GetCode(), "", "contradicts %s: no place is in both; make one of them a note", a.GetCode())
		return
	}
	c.remarks("zones", b.GetCode(), "", "is of the same distance as %s; where both speak, the stricter decides", a.GetCode())
}

// sameDistance reports whether two zones measure one distance for one target somewhere.
func sameDistance(a, b *formularyv1.Zone) bool {
	return a.GetTarget() == b.GetTarget() && a.GetFrame() == b.GetFrame() && a.GetLandmark() == b.GetLandmark() && a.GetDirection() == b.GetDirection() &&
		marketsMeet(a.GetMarket(), b.GetMarket())
}

func marketsMeet(a, b string) bool {
	if a == "" || b == "" {
		return true
	}
	for market := range strings.SplitSeq(a, "/") {
		if Holds(b, market) {
			return true
		}
	}
	return false
}
