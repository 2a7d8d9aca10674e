package chart

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/record"
)

// IntervalRule is the least number of days between two treatments with a product, with where that figure comes from and how strongly a breach speaks.
// The caller takes it from the formulary; there is none built in.
type IntervalRule struct {
	Product string
	Days    int
	Level   formularyv1.Level
	Source  *dosev1.Citation
}

// Treatment is a session as an interval sees it. Where fields are in conflict every value stands.
type Treatment struct {
	Session record.Key
	Days    []time.Time // civil days at midnight UTC
	Clinics []string
	Kinds   []chartv1.SessionKind
	Given   Given
}

// FoldTreatment folds a session for its intervals.
func FoldTreatment(st *record.State) Treatment {
	e := elementsOf(st)
	t := Treatment{Session: st.Key, Clinics: e.texts("", "clinic_id"), Given: FoldSession(st, nil)}
	for _, on := range messages[*recordv1.Date](e, "", "on") {
		if on != nil {
			t.Days = append(t.Days, civil(on))
		}
	}
	for _, k := range e.options("", "kind") {
		if k.IsValid() {
			t.Kinds = append(t.Kinds, chartv1.SessionKind(k.Enum()))
		}
	}
	return t
}

func civil(d *recordv1.Date) time.Time {
	return time.Date(int(d.GetYear()), time.Month(d.GetMonth()), int(d.GetDay()), 0, 0, 0, 0, time.UTC)
}

// IntervalFindings says which treatments of one patient, at two clinics that could not know of each other, are closer than the rule wants. The
// treatments are those of the patient and of the records linked to hers. A touch-up belongs to its parent and is no treatment of its own; a session
// whose kind nobody stated counts as one if something was given.
func IntervalFindings(treatments []Treatment, rule IntervalRule) []*dosev1.Finding {
	var out []*dosev1.Finding
	for i := range treatments {
		for j := range i {
			if f := intervalBetween(&treatments[j], &treatments[i], rule); f != nil {
				out = append(out, f)
			}
		}
	}
	return out
}

func intervalBetween(a, b *Treatment, rule IntervalRule) *dosev1.Finding {
	if !a.treats(rule.Product) || !b.treats(rule.Product) || len(a.Clinics) == 1 && len(b.Clinics) == 1 && a.Clinics[0] == b.Clinics[0] {
		return nil
	}
	days, known := daysBetween(a.Days, b.Days)
	if !known || days >= rule.Days {
		return nil
	}
	keys := []record.Key{a.Session, b.Session}
	slices.SortFunc(keys, record.Key.Compare)
	f := newFinding(CodeIntervalShort, keys, rule.Product)
	f.Level, f.Source = rule.Level, rule.Source
	f.Figures = map[string]string{"between_days": strconv.Itoa(days), "least_days": strconv.Itoa(rule.Days)}
	f.Text = fmt.Sprintf("Two treatments with %s at different clinics are %d days apart; the rule wants at least %d.", rule.Product, days, rule.Days)
	return f
}

// treats reports whether the session may be a treatment with the product.
func (t *Treatment) treats(product string) bool {
	if len(t.Kinds) > 0 && !slices.Contains(t.Kinds, chartv1.SessionKind_SESSION_KIND_TREATMENT) {
		return false
	}
	return t.Given.Of(product).Most > 0
}

// daysBetween is the fewest days between any two of the days.
func daysBetween(a, b []time.Time) (days int, known bool) {
	for _, x := range a {
		for _, y := range b {
			n := int(y.Sub(x).Abs() / (24 * time.Hour))
			if !known || n < days {
				days, known = n, true
			}
		}
	}
	return days, known
}
