package reckon

import (
	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// limit is how far a dose may be off, with what passing it raises.
type limit struct {
	most  dose.Percent
	level formularyv1.Level
	// provenance is where it comes from.
	provenance *formularyv1.Provenance
}

// asked is a limit that the request carries: the lead's own.
func asked(most dose.Percent) limit {
	return limit{most, formularyv1.Level_LEVEL_CAUTION,
		&formularyv1.Provenance{Obtained: formularyv1.Obtained_OBTAINED_LEAD, Remark: "set by the medical lead, as the request says"}}
}

// injectionLimitOf is the limit for an injection into a muscle: the request's, else the formulary's.
func (in *drawReader) injectionLimitOf(muscle string) (limit, bool) {
	if in.injectionLimit != nil {
		return asked(*in.injectionLimit), true
	}
	t, ok := in.edition.Tolerance(muscle)
	if !ok || t.InjectionPermille == nil {
		return limit{}, false
	}
	return stated(t, t.GetInjectionPermille()), true
}

// sideLimitOf is the limit between sides planned equal: the request's, else the formulary's.
func (in *drawReader) sideLimitOf() (limit, bool) {
	if in.sideLimit != nil {
		return asked(*in.sideLimit), true
	}
	t, ok := in.edition.Tolerance("")
	if !ok || t.SideDifferencePermille == nil {
		return limit{}, false
	}
	return stated(t, t.GetSideDifferencePermille()), true
}

// stated is a limit of the formulary in thousandths, which its entry bounds to 0 to 1000.
func stated(t *formularyv1.Tolerance, permille int32) limit {
	most, err := dose.NewFraction(int64(permille), 10)
	if err != nil {
		return limit{}
	}
	return limit{dose.NewPercent(most), formulary.Weaker(t.GetLevel(), formulary.MostLevel(t.GetProvenance())), t.GetProvenance()}
}

// over reports whether so many per cent, of either sign, are more than the limit.
func (l limit) over(percent dose.Percent) bool { return percent.Value().Abs().Cmp(l.most.Value()) > 0 }
