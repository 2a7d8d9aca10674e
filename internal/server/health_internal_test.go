package server

import (
	"net/http/httptest"
	"strings"
	"testing"

	"needlebook/internal/auth"
)

// TestReady_OnlyWhenTheIndexesAreBuilt: until then the address says so, with a status that keeps tablets away.
func TestReady_OnlyWhenTheIndexesAreBuilt(t *testing.T) {
	c := Default()
	c.Data, c.Listen, c.Organisation, c.HashCost, c.MinFreeBytes = t.TempDir(), "127.0.0.1:0", "x", auth.Cost{MemoryKiB: 64, Passes: 1, Lanes: 1}, -1
	s, err := Open(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ask := func() (int, string) {
		w := httptest.NewRecorder()
		s.ready(w, httptest.NewRequest("GET", "/readyz", nil))
		return w.Code, w.Body.String()
	}
	if code, text := ask(); code != 503 || !strings.Contains(text, "indexes") {
		t.Errorf("before: %d %s", code, text)
	}
	s.warmUp(t.Context())
	if code, text := ask(); code != 200 || text != "ready\n" {
		t.Errorf("after: %d %s", code, text)
	}
}
