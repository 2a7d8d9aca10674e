package guard

import (
	"slices"
	"testing"

	"needlebook/internal/anatomy"
)

// What the atlas lists for every muscle, and for one that nobody knows, is what the anatomy lists.
func TestAtlasIsTheAnatomy(t *testing.T) {
	a := newAtlas()
	names := []string{"an_unheard_of_muscle"}
	for _, m := range anatomy.Muscles() {
		names = append(names, m.Code)
	}
	for _, muscle := range names {
		got, want := slices.Sorted(slices.Values(a.targetsOf(muscle))), slices.Sorted(slices.Values(anatomy.TargetsOf(muscle)))
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", muscle, got, want)
		}
	}
}
