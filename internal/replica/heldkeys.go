package replica

import (
	"slices"

	"needlebook/internal/record"
)

// HeldKeys is the records of which Held has something, ascending. A record that only a refused edit would have made is among them, though Keys lacks it:
// nothing of it is shown, and it must not be forgotten.
func (r *Replica) HeldKeys() []record.Key {
	var out []record.Key
	for k, l := range r.locals {
		if len(l.held) > 0 {
			out = append(out, k)
		}
	}
	slices.SortFunc(out, record.Key.Compare)
	return out
}
