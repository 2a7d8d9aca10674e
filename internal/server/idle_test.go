package server_test

import (
	"io"
	"net/http"
	"strings"
	"testing"

	accessv1 "needlebook/gen/needlebook/access/v1"
	"needlebook/internal/server"
)

// TestIdleExchange_LeavesNoTrace: tablets wait in it all day, so it costs no write, no audit entry and no line in the log.
func TestIdleExchange_LeavesNoTrace(t *testing.T) {
	t.Parallel() // runs while others wait
	at := freeAddress(t)
	w := newWorld(t, func(c *server.Config) { c.MetricsListen = at })
	lea := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD)
	tab := w.tablet(lea)
	tab.edit(newRecord(kindVial), vial("11"))
	tab.sync()
	entries := func() uint64 {
		list, err := lea.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageSize: 1})
		if err != nil {
			t.Fatal(err)
		}
		return list.GetEntries()[0].GetSequence()
	}
	sequence, commits, lines := entries(), commitsOf(t, at), strings.Count(w.logs.String(), "SyncService/Exchange")
	if lines == 0 {
		t.Fatal("an exchange that carries something has no line in the log")
	}
	for range 20 {
		tab.sync()
	}
	if again := commitsOf(t, at); again != commits {
		t.Errorf("commits %s before, %s after", commits, again)
	}
	if again := strings.Count(w.logs.String(), "SyncService/Exchange"); again != lines {
		t.Errorf("%d lines in the log before, %d after", lines, again)
	}
	if again := entries(); again != sequence+1 { // reading the log is an entry itself
		t.Errorf("%d audit entries", again-sequence-1)
	}
	tab.edit(newRecord(kindVial), vial("12"))
	tab.sync()
	if again := entries(); again != sequence+3 {
		t.Errorf("a push has %d audit entries, want 1", again-sequence-2)
	}
}

// commitsOf is how many commits the store has made.
func commitsOf(t *testing.T, address string) string {
	t.Helper()
	resp, err := http.Get("http://" + address + "/metrics")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(body), "\nneedlebook_store_commits_total ")
	n, _, found := strings.Cut(rest, "\n")
	if !found {
		t.Fatalf("no count of commits in %s", body)
	}
	return n
}
