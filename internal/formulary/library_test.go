package formulary_test

import (
	"errors"
	"testing"

	"google.golang.org/protobuf/proto"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/formulary"
)

// An edition is found through the records that it derives from, and one that was changed since it was chosen is none.
func TestResolve(t *testing.T) {
	builtin, err := formulary.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	first := &formularyv1.FormularyEdition{Id: "1e4c7a52-0000-4000-8000-000000000001", Label: proto.String("Harbour"), Version: proto.String("harbour-1"),
		Base:     builtin.Reference(),
		Products: []*formularyv1.ProductEntry{{Value: &formularyv1.Product{Name: "exampletoxinA"}}}}
	one, err := formulary.Derive(builtin, first)
	if err != nil {
		t.Fatal(err)
	}
	second := &formularyv1.FormularyEdition{Id: "1e4c7a52-0000-4000-8000-000000000002", Label: proto.String("Harbour"), Version: proto.String("harbour-2"),
		Base: one.Reference()}
	two, err := formulary.Derive(one, second)
	if err != nil {
		t.Fatal(err)
	}
	shelf := map[string]*formularyv1.FormularyEdition{first.GetId(): first, second.GetId(): second}
	find := func(id string) *formularyv1.FormularyEdition { return shelf[id] }

	for _, ref := range []*formularyv1.EditionReference{nil, builtin.Reference(), two.Reference(), {EditionId: &second.Id, Version: "harbour-2"}} {
		got, err := builtin.Resolve(ref, find)
		if err != nil {
			t.Fatalf("%v: %v", ref, err)
		}
		if _, has := got.Product("exampletoxinA"); has != (ref.GetEditionId() != "") {
			t.Errorf("%v: holds the product of the first edition: %t", ref, has)
		}
	}
	var refused *formulary.EntryError
	shelf[first.GetId()] = proto.CloneOf(first)
	shelf[first.GetId()].Products[0].Value.Name = "othertoxinA"
	if _, err := builtin.Resolve(two.Reference(), find); !errors.As(err, &refused) {
		t.Errorf("a base that was changed since: %v", err)
	}
	shelf[first.GetId()] = proto.CloneOf(first)
	shelf[first.GetId()].Base = &formularyv1.EditionReference{EditionId: &second.Id, Version: "harbour-2"}
	shelf[second.GetId()] = proto.CloneOf(second)
	shelf[second.GetId()].Base = &formularyv1.EditionReference{EditionId: &first.Id, Version: "harbour-1"}
	if _, err := builtin.Resolve(&formularyv1.EditionReference{EditionId: &first.Id}, find); !errors.As(err, &refused) {
		t.Errorf("a ring of editions: %v", err)
	}
	delete(shelf, second.GetId())
	if _, err := builtin.Resolve(two.Reference(), find); !errors.As(err, &refused) {
		t.Errorf("an edition that is not at hand: %v", err)
	}
	if _, err := builtin.Resolve(&formularyv1.EditionReference{Version: "builtin-0", Hash: make([]byte, 32)}, find); !errors.As(err, &refused) {
		t.Errorf("another shipped edition: %v", err)
	}
}
