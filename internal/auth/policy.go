package auth

import (
	_ "embed"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"

	"needlebook/internal/fault"

	faultv1 "needlebook/gen/needlebook/fault/v1"
)

// Lengths of a password in characters after NFKC. NIST SP 800-63B-4 section 3.1.1.2 (from memory) wants 15 where it stands alone and 8
// beside a second factor, at least 64 allowed, no rules of composition, and a list of common ones refused.
const (
	MinPasswordAlone  = 15
	MinPasswordSecond = 8
	MaxPassword       = 256
)

//go:embed common_words.txt
var commonWords string

// CheckPassword returns nil when the password may be set, or a fault of the field "password" that says what is wanted. It never tells the
// password. The words are those close to the person, such as the name to sign in with; secondFactor is whether another factor is asked for
// at sign-in.
func CheckPassword(password string, secondFactor bool, words ...string) error {
	wanted := MinPasswordAlone
	if secondFactor {
		wanted = MinPasswordSecond
	}
	if len(password) > 4*MaxPassword {
		return passwordFault(password, fmt.Sprintf("%d to %d characters", wanted, MaxPassword))
	}
	p := norm.NFKC.String(password)
	switch n := utf8.RuneCountInString(p); {
	case !utf8.ValidString(password):
		return passwordFault(password, "text in UTF-8")
	case n < wanted || n > MaxPassword:
		return passwordFault(password, fmt.Sprintf("%d to %d characters", wanted, MaxPassword))
	case distinct(p) < 5:
		return passwordFault(password, "at least 5 different characters")
	case guessable(p, words):
		return passwordFault(password, "something other than common words, runs of keys, and the name to sign in with")
	}
	return nil
}

func passwordFault(password, want string) error {
	return fault.New(faultv1.Reason_REASON_INVALID_FIELD, "password", fault.Withheld(password), want)
}

func distinct(p string) int {
	seen := map[rune]bool{}
	for _, r := range p {
		seen[r] = true
	}
	return len(seen)
}

// guessable reports whether the password is nothing but common words, the person's own words, runs of keys and digits, strung together in
// any way.
func guessable(password string, words []string) bool {
	known := map[string]bool{}
	longest := 0
	add := func(w string) {
		if w = letters(w); len(w) >= 3 {
			known[w] = true
			longest = max(longest, len(w))
		}
	}
	for w := range strings.FieldsSeq(commonWords) {
		add(w)
	}
	for _, w := range words {
		add(w)
	}
	for _, row := range []string{"abcdefghijklmnopqrstuvwxyz", "qwertyuiop", "qwertzuiop", "azertyuiop", "asdfghjkl", "zxcvbnm", "yxcvbnm"} {
		for begin := range row {
			for end := begin + 3; end <= len(row); end++ {
				add(row[begin:end])
			}
		}
	}
	return segments(letters(password), known, longest)
}

// segments reports whether s is a chain of known words; the empty chain counts.
func segments(s string, known map[string]bool, longest int) bool {
	reach := make([]bool, len(s)+1)
	reach[0] = true
	for end := 1; end <= len(s); end++ {
		for begin := max(0, end-longest); begin < end && !reach[end]; begin++ {
			reach[end] = reach[begin] && known[s[begin:end]]
		}
	}
	return reach[len(s)]
}

// letters is the password as a guesser sees it: lower case, letters written as digits or signs undone, all else left out.
func letters(s string) string {
	undo := strings.NewReplacer("0", "o", "1", "i", "3", "e", "4", "a", "5", "s", "7", "t", "@", "a", "$", "s", "!", "i")
	s = strings.TrimFunc(strings.ToLower(norm.NFKC.String(s)), func(r rune) bool { return !unicode.IsLetter(r) })
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) {
			return r
		}
		return -1
	}, undo.Replace(s))
}
