package reckon

import (
	"needlebook/internal/formulary"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// cite writes a figure's provenance out, with what its sources are.
func cite(e *formulary.Edition, p *formularyv1.Provenance) *dosev1.Citation {
	c := &dosev1.Citation{Obtained: p.GetObtained(), Section: p.GetSection(), Remark: p.GetRemark()}
	for _, code := range p.GetSources() {
		cited := &dosev1.CitedSource{Code: code}
		if s, ok := e.Source(code); ok {
			cited.Title, cited.Issuer, cited.Year, cited.Address = s.GetTitle(), s.GetIssuer(), s.GetYear(), s.GetAddress()
		}
		c.Sources = append(c.Sources, cited)
	}
	return c
}

// used names the edition that an answer rests on.
func used(e *formulary.Edition) *dosev1.EditionUsed {
	return &dosev1.EditionUsed{Version: e.Version(), Hash: e.Hash(), EditionId: e.ID(), CoreVersion: CoreVersion}
}
