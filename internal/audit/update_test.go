package audit

import (
	"context"
	"testing"

	"needlebook/internal/store"
)

// mustUpdate runs fn in an Update that must succeed.
func mustUpdate(t testing.TB, st store.Store, fn func(store.Writer) error) {
	t.Helper()
	if err := st.Update(context.Background(), fn); err != nil {
		t.Fatal(err)
	}
}
