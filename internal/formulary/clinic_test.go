package formulary_test

import (
	"testing"

	"google.golang.org/protobuf/proto"

	chartv1 "needlebook/gen/needlebook/chart/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	recordv1 "needlebook/gen/needlebook/record/v1"
	"needlebook/internal/formulary"
)

// At a clinic its adopted dilutions stand beside the edition's and its syringes are those in stock; the edition is the same, and stays as it was.
func TestAt(t *testing.T) {
	e, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	const product = "onabotulinumtoxinA"
	adopt := func(diluent int64, ended *recordv1.Void) *chartv1.AdoptedDilution {
		return &chartv1.AdoptedDilution{Ended: ended, Dilution: &chartv1.AdoptedStrength{Product: product, ContentMilliunits: 100_000, DiluentNanoliters: diluent,
			Diluent: "sodium_chloride_0_9_preservative_free", Reason: "for the lips"}}
	}
	at := e.At(&chartv1.Clinic{
		AdoptedDilutions: []*chartv1.AdoptedDilution{adopt(700_000, nil), adopt(800_000, &recordv1.Void{Reason: "no more"}), {}},
		Syringes: []*chartv1.StockedSyringe{{SyringeCode: proto.String("insulin_u100_0_3_by_0_005")},
			{SyringeCode: proto.String("general_1_by_0_01"), Ended: &recordv1.Void{Reason: "none left"}}, {}},
	})
	if at.Hash() != e.Hash() || at.Version() != e.Version() {
		t.Error("the edition at a clinic is another one")
	}
	mix := func(e *formulary.Edition, diluent int64) []*formularyv1.Dilution {
		return e.Dilutions(formulary.Mix{Product: product, ContentMilliunits: 100_000, DiluentNanoliters: diluent})
	}
	got := mix(at, 700_000)
	if len(got) != 1 || got[0].GetStanding() != formularyv1.DilutionStanding_DILUTION_STANDING_ADOPTED || !formulary.Clears(got[0].GetProvenance()) {
		t.Errorf("adopted: %v", got)
	}
	if len(mix(at, 800_000)) != 0 || len(mix(e, 700_000)) != 0 || len(at.DilutionsOf(product)) != len(e.DilutionsOf(product))+1 {
		t.Error("what was ended counts, or the edition itself has it")
	}
	if s := at.Stocked(); len(s) != 1 || s[0].GetCode() != "insulin_u100_0_3_by_0_005" {
		t.Errorf("stocked: %v", s)
	}
	if len(at.Syringes()) != len(e.Syringes()) || len(e.Stocked()) != len(e.Syringes()) || len(e.At(nil).Stocked()) != len(e.Syringes()) {
		t.Error("a clinic that names no stock has another stock than the edition's")
	}
}
