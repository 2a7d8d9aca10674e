package visit_test

import (
	"os"
	"slices"
	"strings"
	"testing"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/fault"
	"needlebook/internal/visit"
)

// TestTable walks every deed, every step and every role, and compares with the sheet that was written by hand.
func TestTable(t *testing.T) {
	want := readDeeds(t)
	if len(want) != len(visit.Table()) {
		t.Errorf("%d deeds, the sheet has %d", len(visit.Table()), len(want))
	}
	letters := map[accessv1.Role]string{visit.Injector: "i", visit.Lead: "l", visit.Assistant: "a"}
	walked := 0
	for _, row := range visit.Table() {
		cells := want[strings.ReplaceAll(string(row.Deed), " ", "_")]
		for i, step := range visit.Steps() {
			for role := range accessv1.Role_name {
				walked++
				r := accessv1.Role(role)
				may := cells != nil && letters[r] != "" && strings.Contains(cells[i], letters[r])
				err := visit.MayAt(row.Deed, visit.Standing{Step: step}, r)
				if may != (err == nil) {
					t.Errorf("%s at %s as %s: %v, the sheet says %v", row.Deed, step, r, err, may)
				}
				if f := fault.Of(err); err != nil && (f == nil || f.Reason != faultv1.Reason_REASON_NOT_ALLOWED && f.Field != "states") {
					t.Errorf("%s at %s as %s: %v", row.Deed, step, r, err)
				}
			}
		}
	}
	if walked != len(want)*8*7 {
		t.Errorf("walked %d cells", walked)
	}
}

func readDeeds(t *testing.T) map[string][]string {
	b, err := os.ReadFile("testdata/deeds.txt")
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for line := range strings.Lines(string(b)) {
		f := strings.Fields(line)
		if len(f) != 9 || f[0] == "#" || f[0] == "deed" {
			continue
		}
		out[f[0]] = f[1:]
	}
	return out
}

// TestTable_NothingInWhatDoesNotCount: a voided visit takes a remark and nothing else, and no role at all may do nothing.
func TestTable_NothingInWhatDoesNotCount(t *testing.T) {
	for _, row := range visit.Table() {
		for _, step := range row.From {
			if err := visit.MayAt(row.Deed, visit.Standing{Step: step, Void: true}, row.Roles...); (err == nil) != (row.Deed == visit.Note) {
				t.Errorf("%s in a voided visit: %v", row.Deed, err)
			}
			if err := visit.MayAt(row.Deed, visit.Standing{Step: step}); fault.Of(err).Reason != faultv1.Reason_REASON_NOT_ALLOWED {
				t.Errorf("%s without a role: %v", row.Deed, err)
			}
		}
	}
	if err := visit.MayAt("dance", visit.Standing{Step: visit.Open}, visit.Lead); fault.Of(err).Field != "deed" {
		t.Errorf("no such deed: %v", err)
	}
}

func TestSteps_AreThoseOfTheSchema(t *testing.T) {
	for n := range chartv1.SessionStep_name {
		if !slices.Contains(visit.Steps(), chartv1.SessionStep(n)) {
			t.Errorf("step %d is missing", n)
		}
	}
}
