package formulary

import (
	"strconv"
	"testing"

	formularyv1 "needlebook/gen/needlebook/formulary/v1"
)

func TestTableRefusals(t *testing.T) {
	for name, text := range map[string]string{
		"no such column":     "code,colour\na,red\n",
		"not a number":       "code,capacity_ml\na,one\n",
		"too many decimals":  "code,capacity_ml\na,0.0000001\n",
		"trailing zero":      "code,capacity_ml\na,1.0\n",
		"no such value":      "code,provenance.obtained\na,GUESSED\n",
		"unspecified value":  "code,provenance.obtained\na,UNSPECIFIED\n",
		"false":              "code,insulin_scale\na,false\n",
		"ragged":             "code,label\na\n",
		"empty":              "",
		"does not fit":       "code,capacity_ml\na,99999999999999999\n",
		"message in a field": "code,provenance\na,b\n",
	} {
		if err := readTable((&formularyv1.FormularyEdition{}).ProtoReflect(), "syringes", []byte(text)); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	if err := readTable((&formularyv1.FormularyEdition{}).ProtoReflect(), "colours", nil); err == nil {
		t.Error("a table without a list was taken")
	}
}

func FuzzReadTable(f *testing.F) {
	for _, name := range []string{"syringes", "rating_scales", "dilutions"} {
		text, err := tables.ReadFile("edition/" + name + ".csv")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(name, text)
	}
	f.Fuzz(func(t *testing.T, table string, text []byte) {
		m := &formularyv1.FormularyEdition{}
		if err := readTable(m.ProtoReflect(), table, text); err != nil {
			return
		}
		if e, err := seal(m); err == nil && e.Hash() == "" {
			t.Error("no hash")
		}
	})
}

// What scaled reads, pointed writes back.
func FuzzScaled(f *testing.F) {
	f.Add("0.63", 6)
	f.Add("-20", 3)
	f.Fuzz(func(t *testing.T, text string, decimals int) {
		if decimals < 0 || decimals > 6 {
			return
		}
		n, err := scaled(text, decimals, 64)
		if err != nil {
			return
		}
		if back := pointed(strconv.FormatInt(n, 10), decimals); back != text {
			again, err := scaled(back, decimals, 64)
			if err != nil || again != n {
				t.Errorf("read %q as %d, wrote %q", text, n, back)
			}
		}
	})
}
