package ledger_test

import (
	"maps"
	"slices"
)

func sortedKeys(m map[string][]byte) []string { return slices.Sorted(maps.Keys(m)) }
