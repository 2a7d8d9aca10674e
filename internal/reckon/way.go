package reckon

import (
	"strconv"

	"needlebook/internal/dose"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// ways is every giving of a session in every way in which it may have been. A planned injection that was voided keeps what was given of it.
func (v *visitReader) ways(field string, s *chartv1.Session, of siblings, maybeVoid bool) []dose.Way {
	injections := of.allInjections(s)
	n := 0
	for _, injection := range injections {
		n += len(injection.GetGivings())
	}
	ways := make([]dose.Way, 0, n)
	giving := 0
	for i, injection := range injections {
		for j, g := range of.allGivings(injection) {
			if of == nil && g.GetVoid() != nil {
				continue
			}
			if before := len(ways); of == nil {
				ways = append(ways, v.way(fieldOf(field, i, j), giving, injection.GetMuscle(), sideIn(injection, g), g.GetGiven(), g.GetSpill()))
			} else if ways = v.doubted(ways, fieldOf(field, i, j), giving, injection, g, of, maybeVoid); len(ways) == before {
				continue
			}
			giving++
		}
	}
	return ways
}

// givingField names a giving in the request; it is only written out for a refusal.
type givingField struct {
	session           string
	injection, giving int
}

func fieldOf(session string, injection, giving int) givingField {
	return givingField{session, injection, giving}
}

func (f givingField) String() string {
	return f.session + ".injections[" + strconv.Itoa(f.injection) + "].givings[" + strconv.Itoa(f.giving) + "]"
}

// sideIn is the side of a giving: its own, else the injection's.
func sideIn(injection *chartv1.Injection, g *chartv1.Giving) chartv1.Side {
	if side := g.GetSide(); side != chartv1.Side_SIDE_UNSPECIFIED {
		return side
	}
	return injection.GetSide()
}

// way is one way of one giving. A giving of which no dose was recorded is an unknown dose of a product that nobody knows.
func (v *visitReader) way(field givingField, n int, muscle string, side chartv1.Side, given *chartv1.GivenDose, spill *chartv1.Spill) dose.Way {
	way := dose.Way{Giving: n, Muscle: muscle}
	way.Side, _ = sideOf(side)
	if given == nil {
		way.Unknown = true
		return way
	}
	if d := given.GetDose(); d.GetDoseMilliunits() < 0 || int64(d.GetDoseMilliunits()) > dose.MaxMilliunits {
		v.milliunits(field.String()+".given.dose.dose_milliunits", d.GetDoseMilliunits())
		return way
	}
	product, err := dose.ParseProduct(given.GetDose().GetProduct())
	if err != nil {
		v.productName(field.String()+".given.dose.product", given.GetDose().GetProduct())
		return way
	}
	way.Product, way.Most = product, int64(given.GetDose().GetDoseMilliunits())
	way.Least = way.Most
	if spill != nil {
		lost := dose.Volume(-1)
		if spill.LostNanoliters != nil {
			lost = dose.Volume(spill.GetLostNanoliters())
		}
		way.Least -= dose.Spilled(way.Most, dose.Volume(given.GetVolumeNanoliters()), lost)
	}
	return way
}

// doubted is a giving of a session with conflicts: one way for each choice of its fields.
func (v *visitReader) doubted(ways []dose.Way, field givingField, n int, injection *chartv1.Injection, g *chartv1.Giving, of siblings, maybeVoid bool) []dose.Way {
	at := "injections[" + injection.GetId() + "]"
	in := at + ".givings[" + g.GetId() + "]"
	maybe, never := v.voided(of, in+".void", g.GetVoid())
	if never {
		return ways
	}
	muscles := optionsOf(v.reader, of, at+".muscle", injection.GetMuscle(), parseTextValue)
	givens := optionsOf(v.reader, of, in+".given", g.GetGiven(), parseMessage[*chartv1.GivenDose])
	spills := optionsOf(v.reader, of, in+".spill", g.GetSpill(), parseMessage[*chartv1.Spill])
	sides := v.sides(of, at, in, injection, g)
	v.doubtedWays += len(muscles) * len(givens) * len(spills) * len(sides)
	if v.doubtedWays > mostDoubted {
		v.refuse(noReckoning, field.String(), "", "fewer values in conflict: settle some first")
		return ways
	}
	if maybe || maybeVoid {
		ways = append(ways, dose.Way{Giving: n, NotGiven: true})
	}
	for _, muscle := range muscles {
		for _, side := range sides {
			for _, given := range givens {
				for _, spill := range spills {
					ways = append(ways, v.way(field, n, muscle, side, given, spill))
				}
			}
		}
	}
	return ways
}

// sides are the sides that a giving may have been on: its own, else the injection's.
func (v *visitReader) sides(of siblings, injectionPath, givingPath string, injection *chartv1.Injection, g *chartv1.Giving) []chartv1.Side {
	parse := parseEnum(chartv1.Side_value)
	var sides []chartv1.Side
	for _, own := range optionsOf(v.reader, of, givingPath+".side", int32(g.GetSide()), parse) {
		if own != 0 {
			sides = append(sides, chartv1.Side(own))
			continue
		}
		for _, planned := range optionsOf(v.reader, of, injectionPath+".side", int32(injection.GetSide()), parse) {
			sides = append(sides, chartv1.Side(planned))
		}
	}
	return sides
}
