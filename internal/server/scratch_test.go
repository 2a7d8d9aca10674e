package server_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"needlebook/internal/server"
)

// leaveCopy leaves what a backup leaves in the data folder when it is killed.
func (w *world) leaveCopy() (path string) {
	w.Helper()
	path = filepath.Join(w.data, "scratch-backup-123", "needlebook.db")
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o700), os.WriteFile(path, []byte("all records"), 0o600)); err != nil {
		w.Fatal(err)
	}
	return path
}

// TestStart_RemovesCopiesOfTheStore that a killed process left behind in the clear, and nothing else; so does a backup without a server.
func TestStart_RemovesCopiesOfTheStore(t *testing.T) {
	t.Parallel() // runs while others wait
	w := newWorld(t)
	w.end()
	other := filepath.Join(w.data, "backup-2026", "needlebook.db")
	if err := errors.Join(os.MkdirAll(filepath.Dir(other), 0o700), os.WriteFile(other, []byte("somebody's own"), 0o600)); err != nil {
		t.Fatal(err)
	}
	left := w.leaveCopy()
	w.start()
	if _, err := os.Stat(filepath.Dir(left)); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the copy is still there: %v", err)
	}
	if !strings.Contains(w.logs.String(), "scratch-backup-123") {
		t.Error("the log does not say that a copy was removed")
	}
	w.end()

	w.leaveCopy()
	identity, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	c := server.BackupConfig{To: t.TempDir(), Recipients: []string{identity.Recipient().String()}}
	if _, err := server.BackUpFolder(t.Context(), w.data, c, time.Now, nil); err != nil {
		t.Fatal(err)
	}
	if got, err := filepath.Glob(filepath.Join(w.data, "scratch-*")); err != nil || len(got) > 0 {
		t.Errorf("a backup leaves %v, %v", got, err)
	}
	if _, err := os.Stat(other); err != nil {
		t.Errorf("a folder that is not the program's own: %v", err)
	}
}
