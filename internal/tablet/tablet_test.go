package tablet_test

import (
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/andybalholm/brotli"

	"needlebook/internal/tablet"
)

func handler(t *testing.T) http.Handler {
	t.Helper()
	h, err := tablet.Handler(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusTeapot) }))
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func get(t *testing.T, h http.Handler, address string, accepts string) *http.Response {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, address, nil)
	r.Header.Set("Accept-Encoding", accepts)
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Result()
}

// content is the body as a browser has it.
func content(t *testing.T, r *http.Response) []byte {
	t.Helper()
	var from io.Reader = r.Body
	switch r.Header.Get("Content-Encoding") {
	case "br":
		from = brotli.NewReader(r.Body)
	case "gzip":
		z, err := gzip.NewReader(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		from = z
	}
	b, err := io.ReadAll(from)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Every file that the manifest names is served, and is what the manifest says, whatever encodings the client takes.
func TestHandler_ServesTheManifestsFiles(t *testing.T) {
	h := handler(t)
	var m struct {
		Version, Page string
		Files         map[string]string
	}
	if err := json.Unmarshal(content(t, get(t, h, "/app.json", "")), &m); err != nil {
		t.Fatal(err)
	}
	if len(m.Files) < 5 || m.Files[m.Page] == "" || len(m.Version) != 16 {
		t.Fatalf("manifest %+v", m)
	}
	for address, want := range m.Files {
		for _, accepts := range []string{"", "gzip", "gzip, deflate, br", "br;q=0, gzip"} {
			r := get(t, h, address, accepts)
			sum := sha256.Sum256(content(t, r))
			if r.StatusCode != http.StatusOK || hex.EncodeToString(sum[:]) != want {
				t.Errorf("%s for %q: status %d, sha256 %x, want %s", address, accepts, r.StatusCode, sum, want)
			}
			if got := r.Header.Get("Cache-Control"); !strings.Contains(got, "immutable") {
				t.Errorf("%s: Cache-Control %q", address, got)
			}
		}
	}
}

func TestHandler_HeadersAndOtherAddresses(t *testing.T) {
	h := handler(t)
	for _, address := range []string{"/", "/sw.js", "/app.json", "/app.webmanifest"} {
		r := get(t, h, address, "gzip")
		csp := r.Header.Get("Content-Security-Policy")
		if r.StatusCode != http.StatusOK || r.Header.Get("Cache-Control") != "no-cache" || r.Header.Get("ETag") != "" {
			t.Errorf("%s: status %d, headers %v", address, r.StatusCode, r.Header)
		}
		for _, want := range []string{"default-src 'none'", "script-src 'self' 'wasm-unsafe-eval';", "require-trusted-types-for 'script'", "frame-ancestors 'none'"} {
			if !strings.Contains(csp, want) {
				t.Errorf("%s: policy %q lacks %s", address, csp, want)
			}
		}
	}
	for _, address := range []string{"/app/none-0000000000000000.js", "/index.html", "/needlebook.sync.v1.SyncService/Hello", "/app/"} {
		if r := get(t, h, address, ""); r.StatusCode != http.StatusTeapot {
			t.Errorf("%s: status %d, want it handed on", address, r.StatusCode)
		}
	}
}
