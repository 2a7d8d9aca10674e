package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"

	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/server"
)

// TestVerify_HeadsNeedAServerThatIsStopped: a server that runs proves a copy of itself, without heads; it says so rather than leave them out.
func TestVerify_HeadsNeedAServerThatIsStopped(t *testing.T) {
	c := server.Default()
	c.Data, c.Listen, c.Organisation, c.HashCost = filepath.Join(t.TempDir(), "d"), "127.0.0.1:0", "x", auth.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}
	s, err := server.Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	heads := filepath.Join(t.TempDir(), "heads.txt")
	if err := os.WriteFile(heads, []byte(audit.Head{Org: uuid.New(), Sequence: 5}.String()+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	args := []string{"verify", "--data", c.Data, "--heads", heads}
	if code := run(args, strings.NewReader(""), &out, &errs); code != exitFailed || out.Len() > 0 || !strings.Contains(errs.String(), "stop it first") {
		t.Errorf("beside a server: exit %d, %q, %q", code, out.String(), errs.String())
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	errs.Reset()
	if code := run(args, strings.NewReader(""), &out, &errs); code != exitFailed || !strings.Contains(out.String(), "NOT VERIFIED") {
		t.Errorf("a head of another organisation: exit %d, %q, %q", code, out.String(), errs.String())
	}
}
