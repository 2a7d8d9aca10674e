package reckon

import (
	"needlebook/internal/formulary"
	"needlebook/internal/guard"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

// cite writes a figure's provenance out, with what its sources are.
func cite(e *formulary.Edition, p *formularyv1.Provenance) *dosev1.Citation { return guard.Cite(e, p) }

// used names the edition that an answer rests on.
func used(e *formulary.Edition) *dosev1.EditionUsed {
	return &dosev1.EditionUsed{Version: e.Version(), Hash: e.Hash(), EditionId: e.ID(), CoreVersion: CoreVersion}
}
