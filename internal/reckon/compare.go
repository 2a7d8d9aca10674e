package reckon

import (
	"needlebook/internal/dose"
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// NotInterchangeable stands in every comparison of products.
const NotInterchangeable = "Units of one product are not units of another: they are not interchangeable, and no fixed ratio between them exists. " +
	"A published ratio is a remark about the study that it comes from. It is shown and never reckoned with."

// CompareProducts shows what was published of the units of two products, each ratio with its setting and source, side by side and in the order in which it
// was published. It turns no dose into another product's: nothing here takes a dose. The request is only read. For errors see the package comment.
func CompareProducts(e *formulary.Edition, r *dosev1.CompareProductsRequest) (*dosev1.CompareProductsResponse, error) {
	in := reader{edition: e}
	product := in.product(r.GetProduct())
	other := in.namedProduct("other_product", r.GetOtherProduct())
	in.choice(r.GetFormulary())
	if product != "" && product == other {
		in.refuse(badField, "other_product", r.GetOtherProduct(), "another product than the first")
	}
	if err := in.refused.Err(); err != nil {
		return nil, err
	}
	response := &dosev1.CompareProductsResponse{Statement: NotInterchangeable, Labels: labels(e), Edition: used(e), Caution: Caution}
	for _, b := range e.RatioBands(string(product), string(other)) {
		response.Bands = append(response.Bands, &dosev1.PublishedBand{Product: b.GetProduct(), OtherProduct: b.GetOtherProduct(),
			LowestRatio: thousandths(b.GetLowestThousandths()), HighestRatio: thousandths(b.GetHighestThousandths()), Meaning: b.GetMeaning(),
			Setting: b.GetSetting(), Source: cite(e, b.GetProvenance())})
	}
	response.Findings = bandFindings(response.Bands, product, other)
	return response, nil
}

// labels cites the texts that say that units are not interchangeable: those labels and pages in which that statement was read.
func labels(e *formulary.Edition) []*dosev1.Citation {
	var all []*dosev1.Citation
	for _, code := range []string{"S01", "S07", "S10", "S16", "S18"} {
		if s, ok := e.Source(code); ok {
			all = append(all, cite(e, &formularyv1.Provenance{Obtained: s.GetObtained(), Sources: []string{code}}))
		}
	}
	return all
}

func thousandths(n int32) string {
	f, err := dose.NewFraction(int64(n), 1000)
	if err != nil {
		return ""
	}
	return plain(f).Decimal
}

func bandFindings(bands []*dosev1.PublishedBand, product, other dose.Product) []*dosev1.Finding {
	about := []string{string(product), string(other)}
	if len(bands) == 0 {
		return []*dosev1.Finding{{Code: CodeNoRatio, Level: formularyv1.Level_LEVEL_NOTE, About: about,
			Text: "Of " + string(product) + " and " + string(other) + ": no published figure in the formulary."}}
	}
	for _, b := range bands {
		if b.GetLowestRatio() != bands[0].GetLowestRatio() || b.GetHighestRatio() != bands[0].GetHighestRatio() || b.GetLowestRatio() != b.GetHighestRatio() {
			return []*dosev1.Finding{{Code: CodeRatiosDiffer, Level: formularyv1.Level_LEVEL_NOTE, About: about,
				Text: "What was published of " + string(product) + " and " + string(other) + " differs between publications and settings."}}
		}
	}
	return nil
}
