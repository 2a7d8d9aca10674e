package chart_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"needlebook/internal/chart"
)

// distance is the optimal string alignment distance by its textbook recurrence (Damerau 1964, Levenshtein 1966; written from memory), the slow twin of LikeLot.
func distance(a, b []rune) int {
	d := make([][]int, len(a)+1)
	for i := range d {
		d[i] = make([]int, len(b)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			other := 1
			if a[i-1] == b[j-1] {
				other = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+other)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(a)][len(b)]
}

func TestLikeLot_IsAtMostOneEdit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.StringOfN(rapid.RuneFrom([]rune("AB1é")), 0, 8, -1)
		a, b := text.Draw(rt, "a"), text.Draw(rt, "b")
		if want := distance([]rune(a), []rune(b)) <= 1; chart.LikeLot(a, b) != want || chart.LikeLot(b, a) != want {
			rt.Fatalf("%q and %q: want %v", a, b, want)
		}
	})
}

func TestLotKey(t *testing.T) {
	for number, want := range map[string]string{
		"c 4521-o1": "C452101", "C4521O1": "C452101", "C4521OI": "C452101", "c4521ol": "C452101", "Ｃ４５２１": "C4521", "": "", "A/1": "A/1",
		"A–1": "A1", "Ⅷ": "V111",
	} {
		if got := chart.LotKey(number); got != want {
			t.Errorf("%q: %q, want %q", number, got, want)
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		number := rapid.StringOfN(rapid.RuneFrom([]rune("aB0oIl1-_ |/é–Ｃ")), 0, 20, -1).Draw(rt, "number")
		key := chart.LotKey(number)
		if chart.LotKey(key) != key || chart.LotKey(strings.ToLower(key)) != key {
			rt.Fatalf("%q: %q is not the key of itself, %q", number, key, chart.LotKey(key))
		}
	})
}
