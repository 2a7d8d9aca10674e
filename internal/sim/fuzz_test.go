package sim

import "testing"

// FuzzParse: what parses prints to a script that parses to the same.
func FuzzParse(f *testing.F) {
	f.Add("seed 7\nedit plain tablet=1 which=2 serial=3\n")
	f.Add("# why\nseed 8 clinic\n\nphoto wrong tablet=0 which=0 serial=1 # a photo\n")
	f.Add("seed 8 records\n")
	f.Add("seed -1\nedit")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse(text)
		if err != nil {
			return
		}
		again, err := Parse(s.Script())
		if err != nil || again.Script() != s.Script() {
			t.Errorf("%q: prints to a script that reads otherwise (%v):\n%s", text, err, s.Script())
		}
	})
}
