package server

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"needlebook/internal/durable"
	"needlebook/internal/store/boltstore"
)

// founded is a data folder after its first start.
func founded(t *testing.T) Config {
	t.Helper()
	c := Default()
	c.Data, c.Listen, c.Organisation, c.Clinic, c.MinFreeBytes = filepath.Join(t.TempDir(), "data"), "127.0.0.1:0", "Island Clinics", "Harbour", -1
	c.HashCost.MemoryKiB, c.HashCost.Passes, c.HashCost.Lanes = 64, 1, 1
	s, err := Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	if s.Notice() != "" {
		t.Errorf("the first start says %q", s.Notice())
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return c
}

// TestBackup_RemovesWhatAKilledOneLeft in the folder of the backups, and leaves what is another server's or a person's.
func TestBackup_RemovesWhatAKilledOneLeft(t *testing.T) {
	c := founded(t)
	identity, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	b := BackupConfig{To: t.TempDir(), Recipients: []string{identity.Recipient().String()}}
	left := filepath.Join(b.To, source{data: c.Data}.unfinishedIntro()+"123")
	others := []string{
		filepath.Join(b.To, source{data: c.Data + "-other"}.unfinishedIntro()+"123"), filepath.Join(b.To, durable.TempPrefix+"123"), filepath.Join(b.To, "notes.txt"),
	}
	for _, path := range append(others, left) {
		if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	made, err := BackUpFolder(t.Context(), c.Data, b, time.Now, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(left); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("it is still there: %v", err)
	}
	for _, path := range append(others, made.Path) {
		if _, err := os.Stat(path); err != nil {
			t.Errorf("gone: %v", err)
		}
	}
}

// TestNotice_NamesThatChangeNothing: a start with the names that the folder has says nothing, one with others says so and starts.
func TestNotice_NamesThatChangeNothing(t *testing.T) {
	c := founded(t)
	for _, names := range []struct {
		organisation, clinic string
		says                 bool
	}{
		{"", "", false}, {"Island Clinics", "", false}, {"Island Clinics", "Harbour", false}, {"", "Harbour", false},
		{"Mainland Clinics", "", true}, {"Island Clinics", "Hill", true}, {"", "Hill", true},
	} {
		c.Organisation, c.Clinic = names.organisation, names.clinic
		s, err := Open(t.Context(), c)
		if err != nil {
			t.Fatal(err)
		}
		notice := s.Notice()
		if (notice != "") != names.says || names.says && (!strings.Contains(notice, `"Island Clinics"`) || !strings.Contains(notice, c.Data)) {
			t.Errorf("%q, %q: %q", names.organisation, names.clinic, notice)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// TestDamagedError names the file and the next step, for a file that is cut, overwritten, or of another program.
func TestDamagedError(t *testing.T) {
	c := founded(t)
	path := filepath.Join(c.Data, storeFile)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{
		"cut": whole[:5000], "overwritten": append(make([]byte, 16384), whole[16384:]...), "another program's": []byte(strings.Repeat("not this ", 5000)), "empty": {},
	} {
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := Open(t.Context(), c)
		var damaged *DamagedError
		if !errors.As(err, &damaged) || damaged.Path != path || !strings.Contains(err.Error(), "needlebook restore") {
			t.Errorf("%s: %v", name, err)
		}
		if now, err := os.ReadFile(path); err != nil || len(now) != len(content) {
			t.Errorf("%s: the file was touched: %d bytes, %v", name, len(now), err)
		}
	}
	if err := os.WriteFile(path, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	var locked *boltstore.LockedError
	if _, err := Open(t.Context(), c); !errors.As(err, &locked) {
		t.Errorf("a folder in use is told as %v", err)
	}
}
