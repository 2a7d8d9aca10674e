package main

import (
	"context"
	"flag"
	"io"

	"needlebook/internal/reckon"

	dosev1 "needlebook/gen/needlebook/dose/v1"
)

const compareHelp = `
Reads a CompareProductsRequest as JSON from standard input, or builds one from
flags. Shows what was published of the units of two products, each ratio with
its setting and source. It turns no dose into another product's.

  needlebook dose compare -product abobotulinumtoxinA -other onabotulinumtoxinA
  needlebook dose compare -json <request.json`

func runCompare(ctx context.Context, e env, args []string) error {
	flags := newFlags("dose compare")
	flags.String("product", "", "the first product's nonproprietary `name`")
	flags.String("other", "", "the second product's `name`")
	flags.Bool("json", false, "print the response as JSON")
	clinicFlags(flags)
	if err := parseFlags(flags, args); err != nil {
		return err
	}
	request, err := compareRequest(e, flags)
	if err != nil {
		return err
	}
	edition, err := clinicEditionOf(ctx, e, flags)
	if err != nil {
		return err
	}
	response, err := reckon.CompareProducts(edition, request)
	if err != nil {
		return err
	}
	if wantsJSON(flags) {
		return printJSON(e.stdout, response)
	}
	return printComparison(e.stdout, request, response)
}

func compareRequest(e env, flags *flag.FlagSet) (*dosev1.CompareProductsRequest, error) {
	request := &dosev1.CompareProductsRequest{}
	given, err := fromFlags(flags)
	if err != nil {
		return nil, err
	}
	if !given {
		return request, readRequest(e, request)
	}
	request.Product = *set(flags, "product")
	if other := set(flags, "other"); other != nil {
		request.OtherProduct = *other
	}
	return request, nil
}

// printComparison prints a comparison for people. The statement stands first.
func printComparison(w io.Writer, q *dosev1.CompareProductsRequest, r *dosev1.CompareProductsResponse) error {
	var p page
	p.wrapped("", q.GetProduct()+" and "+q.GetOtherProduct())
	p.wrapped("", r.GetStatement())
	for i, c := range r.GetLabels() {
		for _, s := range c.GetSources() {
			p.row(map[bool]string{true: "stated in"}[i == 0], s.GetCode()+", "+s.GetTitle())
		}
	}
	if len(r.GetBands()) > 0 {
		p.line("")
		p.line("Published, to be read and not to be reckoned with")
	}
	for _, b := range r.GetBands() {
		ratio := b.GetLowestRatio()
		if b.GetHighestRatio() != b.GetLowestRatio() {
			ratio += " to " + b.GetHighestRatio()
		}
		p.wrapped("  ", ratio+" units of "+b.GetProduct()+" beside 1 of "+b.GetOtherProduct()+": "+b.GetMeaning()+"; "+b.GetSetting()+sourceText("", b.GetSource()))
	}
	p.findings(r.GetFindings())
	p.foot(r.GetCaution(), r.GetEdition())
	return p.write(w)
}
