package chart

import (
	"slices"
	"strings"

	dosev1 "needlebook/gen/needlebook/dose/v1"
	formularyv1 "needlebook/gen/needlebook/formulary/v1"
	"needlebook/internal/record"
)

// LikeName reports whether two names, as Tokens has them, may be one written twice: every word of the shorter is a word of the longer, the beginning of one
// (at least a letter, as an initial is), or a word of four letters and more that is one edit off; and not by initials alone.
func LikeName(a, b []string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	if len(a) == 0 {
		return false
	}
	whole := false
	free := slices.Clone(b)
	for _, w := range a {
		i := slices.Index(free, w)
		if i < 0 {
			i = slices.IndexFunc(free, func(o string) bool { return likeWord(w, o) })
		}
		if i < 0 {
			return false
		}
		whole = whole || len([]rune(w)) > 1 && len([]rune(free[i])) > 1
		free = slices.Delete(free, i, i+1)
	}
	return whole
}

func likeWord(a, b string) bool {
	if strings.HasPrefix(a, b) || strings.HasPrefix(b, a) {
		return true
	}
	return len([]rune(a)) >= 4 && len([]rune(b)) >= 4 && atMostOneEdit(a, b)
}

// Why two records may be of one person, beyond the same name and date of birth.
const (
	LikeNameText       = "Two patient records have the same date of birth and names that are almost alike. If they are of one person, link them."
	SameIdentifierText = "Two patient records have the same number of the same kind. If they are of one person, link them."
)

// LikeFinding is the note that two records may be of one person, for a reason in words. Its id is that of the finding about the same name: it is the same
// question.
func LikeFinding(a, b record.Key, text string) *dosev1.Finding {
	f := newFinding(CodePatientTwice, []record.Key{a, b})
	f.Level, f.Text = formularyv1.Level_LEVEL_NOTE, text
	return f
}
