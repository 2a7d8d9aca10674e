package server_test

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	accessv1 "needlebook/gen/needlebook/access/v1"
)

// TestStart_ADamagedRootBeginsANewEpoch: a commit that a tablet was told of goes with the newest root, and the server cannot see which of the two it
// was. It begins a new epoch, and the tablet offers its edit again.
func TestStart_ADamagedRootBeginsANewEpoch(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	tab := w.tablet(w.hire("eve", accessv1.Role_ROLE_INJECTOR))
	tab.edit(newRecord(kindVial), vial("11"))
	tab.sync()
	before := tab.epoch()
	tab.edit(newRecord(kindVial), vial("12"))
	tab.sync()
	path := filepath.Join(w.data, "needlebook.db")
	file, err := os.ReadFile(path) // as it is after the commit of the last edit
	if err != nil {
		t.Fatal(err)
	}
	w.end()
	damageNewestRoot(t, file)
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	w.start()
	if !strings.Contains(w.logs.String(), "a new epoch begins") {
		t.Error("the log does not say that a new epoch begins")
	}
	tab.signIn()
	if after := tab.epoch(); after == before {
		t.Error("the epoch of before")
	}
	tab.sync()
	other := w.tablet(tab.who)
	other.sync()
	if got := vials(other); !slices.Equal(got, []string{"11", "12"}) {
		t.Errorf("vials %q, want 11 and 12", got)
	}
	w.end()
	logged := len(w.logs.String())
	w.start()
	if strings.Contains(w.logs.String()[logged:], "a new epoch begins") {
		t.Error("the root is not mended")
	}
}

func (t *tablet) epoch() string {
	t.w.Helper()
	id := t.r.ID()
	m, err := t.client.Hello(t.w.Context(), helloOf(id[:]))
	if err != nil {
		t.w.Fatal(err)
	}
	return string(m.GetEpoch())
}

// damageNewestRoot turns a bit of the sum of the newer of bbolt's two meta pages. Each begins with a header of 16 bytes; in the page the size of pages
// is at 24, the transaction at 64 and the sum at 72.
func damageNewestRoot(t *testing.T, file []byte) {
	t.Helper()
	page := int(binary.LittleEndian.Uint32(file[24:]))
	newest := 0
	if binary.LittleEndian.Uint64(file[page+64:]) > binary.LittleEndian.Uint64(file[64:]) {
		newest = page
	}
	file[newest+72] ^= 1
}
