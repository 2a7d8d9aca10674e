package chart

import (
	"fmt"
	"slices"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/dose"
	"needlebook/internal/record"
)

// OverdrawnFindings says where more was drawn than there was, which two tablets that had not seen each other's draws can do. The ledgers are of the
// records of one physical vial: usually one, more where same-vial links hold. A preparation counts by its volume, exactly; several records of one
// vial count together by their units, less half a milliunit a draw, since each draw's units were rounded. Where values are in conflict the worse end
// counts. It is a caution: nothing can be undone, and the record is wrong somewhere.
func OverdrawnFindings(vial ...VialLedger) []*dosev1.Finding {
	var out []*dosev1.Finding
	for _, l := range vial {
		for _, p := range l.Preparations {
			if maybe, surely := p.Overdrawn(); maybe {
				out = append(out, overdrawnPreparation(l.Vial, p, surely))
			}
		}
	}
	if f := overdrawnTogether(vial); f != nil {
		out = append(out, f)
	}
	return out
}

func overdrawnPreparation(vial record.Key, p PreparationLedger, surely bool) *dosev1.Finding {
	var of []string
	if !p.ID.IsZero() {
		of = append(of, "preparations["+p.ID.String()+"]")
	}
	f := newFinding(CodeVialOverdrawn, []record.Key{vial}, of...)
	f.Level = formularyv1.Level_LEVEL_CAUTION
	content, most := dose.Volume(p.Content.Least), dose.Volume(p.Drawn.Most)
	f.Figures = map[string]string{
		"content_least_ml": content.Decimal(), "content_most_ml": dose.Volume(p.Content.Most).Decimal(),
		"drawn_least_ml": dose.Volume(p.Drawn.Least).Decimal(), "drawn_most_ml": most.Decimal(),
	}
	f.Text = fmt.Sprintf("%s was drawn from a vial that held %s.", most.Display(), content.Display())
	if !surely {
		f.Text = fmt.Sprintf("As much as %s may have been drawn from a vial that held %s; fields in conflict leave it open.",
			most.Display(), content.Display())
	}
	return f
}

// overdrawnTogether is the finding about several records of one vial; nil when they do not draw more than it held, or are of different products.
func overdrawnTogether(vial []VialLedger) *dosev1.Finding {
	if len(vial) < 2 {
		return nil
	}
	var keys []record.Key
	var drawn Range
	content, draws := vial[0].Content, 0
	for _, l := range vial {
		if len(l.Products) != 1 || l.Products[0] != vial[0].Products[0] || l.Content.Most == 0 {
			return nil
		}
		keys, drawn = append(keys, l.Vial), drawn.plus(l.Drawn)
		content = Range{min(content.Least, l.Content.Least), max(content.Most, l.Content.Most)}
		for _, p := range l.Preparations {
			draws += p.Draws
		}
	}
	if 2*(drawn.Most-content.Least) <= int64(draws) {
		return nil
	}
	slices.SortFunc(keys, record.Key.Compare)
	f := newFinding(CodeVialOverdrawn, keys)
	f.Level = formularyv1.Level_LEVEL_CAUTION
	f.Figures = map[string]string{
		"content_least_units": units(content.Least), "content_most_units": units(content.Most),
		"drawn_least_units": units(drawn.Least), "drawn_most_units": units(drawn.Most),
	}
	f.Text = fmt.Sprintf("%s units of %s were drawn, by %d records of one vial that held %s units.",
		units(drawn.Most), vial[0].Products[0], len(vial), units(content.Least))
	return f
}

// units is milliunits as a decimal of units.
func units(milliunits int64) string {
	whole, part := milliunits/1000, milliunits%1000
	text := fmt.Sprintf("%d.%03d", whole, part)
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	if text[len(text)-1] == '.' {
		text = text[:len(text)-1]
	}
	return text
}
