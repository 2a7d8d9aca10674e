package house

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// words are patterns for what does not belong in the tree: marks of unfinished work, which belong in a decision or are done now, and words about how
// the code came to be written rather than about the product.
func words() []*regexp.Regexp {
	patterns := []string{
		`\b(TODO|FIXME|XXX|HACK)\b`,
		`(?i)\bsub-?agents?\b`,
		`(?i)\b(helper|coding|AI) (agents?|assistants?|sessions?)\b`,
		`(?i)\b(claude|anthropic|chatgpt|openai|copilot)\b`,
		`(?i)\bas an AI\b`,
		`(?i)\b(language model|prompted by|the (owner's|given) brief|work session)\b`,
		`(?i)\b(issue|task|ticket) #?[0-9]+\b`,
		`/work/(main|shared)\b`,
		`(?i)\blorem ipsum\b`,
		`^(<{7} |={7}$|>{7} )`,
	}
	compiled := make([]*regexp.Regexp, len(patterns))
	for i, pattern := range patterns {
		compiled[i] = regexp.MustCompile(`(?m)` + pattern)
	}
	return compiled
}

// wordless are files that the words are not looked for in: the list itself, texts by others, and inputs that a fuzzer made.
func wordless(path string) bool {
	return slices.Contains([]string{"LICENSE", "go.sum", "internal/house/words.go"}, path) || strings.Contains("/"+path, "/testdata/fuzz/")
}

// CheckWords returns each line under root that holds a word which does not belong in the tree. Files with a zero byte are taken as binary.
func CheckWords(root string) ([]Fault, error) {
	files, err := Files(root)
	if err != nil {
		return nil, err
	}
	var faults []Fault
	patterns := words()
	for _, file := range slices.DeleteFunc(files, wordless) {
		text, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(file)))
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", file, err)
		}
		if bytes.IndexByte(text, 0) < 0 {
			faults = append(faults, wordFaults(file, text, patterns)...)
		}
	}
	return faults, nil
}

func wordFaults(file string, text []byte, patterns []*regexp.Regexp) []Fault {
	var faults []Fault
	for _, pattern := range patterns {
		for _, at := range pattern.FindAllIndex(text, -1) {
			line := 1 + bytes.Count(text[:at[0]], []byte("\n"))
			faults = append(faults, Fault{file, line, fmt.Sprintf("%q does not belong in the tree", text[at[0]:at[1]])})
		}
	}
	return faults
}
