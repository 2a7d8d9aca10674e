package figure

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	recordv1 "needlebook/gen/needlebook/record/v1"
	tracev1 "needlebook/gen/needlebook/trace/v1"
	"needlebook/internal/export"

	chartv1 "needlebook/gen/needlebook/chart/v1"
)

// FiguresCSV is the figures as one table: what a row is about is in its first column, and cells that do not concern it are empty.
func FiguresCSV(m *tracev1.GetFiguresResponse) ([]byte, error) {
	columns := strings.Fields("figure from until product muscle side region kind least_units most_units sessions treatments touched_up " +
		"touched_up_percent reviewed unlike unlike_percent intervals least_days median_days most_days")
	var rows [][]string
	add := func(cells map[string]string) {
		row := make([]string, len(columns))
		for i, c := range columns {
			row[i] = cells[c]
		}
		rows = append(rows, row)
	}
	until := DateText(m.GetUntil())
	for _, k := range m.GetKinds() {
		add(map[string]string{"figure": "sessions", "from": DateText(m.GetFrom()), "until": until, "kind": short(k.GetKind().String(), "SESSION_KIND_"),
			"sessions": number(k.GetSessions())})
	}
	for _, u := range m.GetUnits() {
		add(map[string]string{"figure": "units", "from": DateText(u.GetStepFrom()), "product": u.GetProduct(), "muscle": u.GetMuscle(), "side": SideText(u.Side),
			"least_units": u.GetDose().GetLeastUnits(), "most_units": u.GetDose().GetMostUnits(), "sessions": number(u.GetSessions())})
	}
	for _, r := range m.GetRates() {
		add(map[string]string{"figure": "rates", "from": DateText(m.GetFrom()), "until": until, "region": r.GetRegion(), "treatments": number(r.GetTreatments()),
			"touched_up": number(r.GetTouchedUp()), "touched_up_percent": r.GetTouchedUpPercent(), "reviewed": number(r.GetReviewed()),
			"unlike": number(r.GetUnlike()), "unlike_percent": r.GetUnlikePercent()})
	}
	for _, i := range m.GetIntervals() {
		add(map[string]string{"figure": "intervals", "from": DateText(m.GetFrom()), "until": until, "product": i.GetProduct(), "intervals": number(i.GetCount()),
			"least_days": number(i.GetLeastDays()), "median_days": number(i.GetMedianDays()), "most_days": number(i.GetMostDays())})
	}
	return written(columns, rows)
}

// LogbookCSV is cases as a table, one row a case and product.
func LogbookCSV(injector string, cases []*tracev1.LogbookCase, clinicName func(id string) string) ([]byte, error) {
	columns := strings.Fields("injector session_id on clinic_id clinic kind regions product least_units most_units injections supervisor signed in_conflict")
	var rows [][]string
	for _, c := range cases {
		products := c.GetProducts()
		if len(products) == 0 {
			products = []*tracev1.ProductUnits{{}}
		}
		for _, p := range products {
			rows = append(rows, []string{
				injector, c.GetSessionId(), DateText(c.GetOn()), c.GetClinicId(), clinicName(c.GetClinicId()), short(c.GetKind().String(), "SESSION_KIND_"),
				strings.Join(c.GetRegions(), " "), p.GetProduct(), p.GetDose().GetLeastUnits(), p.GetDose().GetMostUnits(), number(c.GetInjections()),
				c.GetSupervisorName(), yesNo(c.GetSigned()), yesNo(c.GetInConflict()),
			})
		}
	}
	return written(columns, rows)
}

// ReportCSV is the fields of a report as a table.
func ReportCSV(fields []*tracev1.ReportField) ([]byte, error) {
	var rows [][]string
	for _, f := range fields {
		product := ""
		if f.GetProductNumber() > 0 {
			product = number(f.GetProductNumber())
		}
		rows = append(rows, []string{f.GetSection(), product, f.GetLabel(), f.GetValue(), yesNo(f.GetBlank()), yesNo(f.GetInConflict()), strings.Join(f.GetFrom(), " ")})
	}
	return written([]string{"section", "product_number", "asks", "value", "blank", "in_conflict", "from"}, rows)
}

func written(columns []string, rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	err := export.WriteRows(&b, columns, rows)
	return b.Bytes(), err
}

// DateText is a day as year, month and day; empty for none.
func DateText(d *recordv1.Date) string {
	if d == nil {
		return ""
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.GetYear(), d.GetMonth(), d.GetDay())
}

// SideText is a side in lower case; empty when none was recorded.
func SideText(s *chartv1.Side) string {
	if s == nil {
		return ""
	}
	return short(s.String(), "SIDE_")
}

func short(name, prefix string) string { return strings.ToLower(strings.TrimPrefix(name, prefix)) }

func number(n uint32) string { return strconv.FormatUint(uint64(n), 10) }

func yesNo(is bool) string {
	if is {
		return "yes"
	}
	return "no"
}
