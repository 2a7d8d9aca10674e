package service

import (
	"os"
	"strings"
	"testing"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/internal/store"

	"github.com/google/uuid"
)

// TestFormat_EveryTableIsInTheManual: whatever keys the service, access and the audit log have written stand in docs/format.md.
func TestFormat_EveryTableIsInTheManual(t *testing.T) {
	manual, err := os.ReadFile("../../docs/format.md")
	if err != nil {
		t.Fatal(err)
	}
	w := newClinicServer(t)
	w.mergedDay(w.hire(w.org.ID, uuid.Nil, accessv1.Role_ROLE_INJECTOR))
	if _, _, err := w.Recover(t.Context(), w.org, uuid.Nil); err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	err = w.Store.View(t.Context(), func(r store.Reader) error {
		for _, table := range []string{"a", "o", "u"} {
			err := r.Scan([]byte(table), []byte{table[0] + 1}, func(k, _ []byte) error { seen[string(k[:2])]++; return nil })
			if err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil || len(seen) < 8 {
		t.Fatalf("%d kinds of keys, %v", len(seen), err)
	}
	for kind := range seen {
		if row := "\n| `" + kind[:1] + "` `" + kind[1:] + "`"; !strings.Contains(string(manual), row) {
			t.Errorf("docs/format.md has no row%s", row)
		}
	}
}
