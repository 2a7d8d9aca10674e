package tablet_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"

	"needlebook/internal/demo"
)

// edition is the binary of another day: the same client, with something done to its script. Everything else comes from the server.
type edition struct {
	t     *testing.T
	next  http.Handler
	mu    sync.Mutex
	files map[string]*httptest.ResponseRecorder // by address, in place of the server's
}

func newEdition(t *testing.T, server string) (*edition, string) {
	t.Helper()
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	e := &edition{t: t, next: httputil.NewSingleHostReverseProxy(u), files: map[string]*httptest.ResponseRecorder{}}
	s := httptest.NewServer(e)
	t.Cleanup(s.Close)
	return e, s.URL
}

// ServeHTTP implements http.Handler.
func (e *edition) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	e.mu.Lock()
	f := e.files[r.URL.Path]
	e.mu.Unlock()
	if f == nil {
		e.next.ServeHTTP(w, r)
		return
	}
	for k, v := range f.Header() {
		w.Header()[k] = v
	}
	_, _ = w.Write(f.Body.Bytes())
}

// manifest is one version of the client.
type manifest struct {
	Files   map[string]string `json:"files"`
	Page    string            `json:"page"`
	Version string            `json:"version"`
}

// release makes a version whose script was changed, and serves it from now on. It returns the version's name.
func (e *edition) release(change func(script string) string) string {
	e.t.Helper()
	h := handler(e.t)
	read := func(address string) string { return string(content(e.t, get(e.t, h, address, ""))) }
	var m manifest
	if err := json.Unmarshal([]byte(read("/app.json")), &m); err != nil {
		e.t.Fatal(err)
	}
	old := ""
	for address := range m.Files {
		if strings.HasPrefix(address, "/app/app-") && strings.HasSuffix(address, ".js") {
			old = address
		}
	}
	sum := func(text string) string { s := sha256.Sum256([]byte(text)); return hex.EncodeToString(s[:]) }
	version := sum(change(read(old)))[:16]
	script := strings.ReplaceAll(change(read(old)), m.Version, version)
	fresh := "/app/app-" + sum(script)[:16] + ".js"
	page := strings.ReplaceAll(read("/"), old, fresh)
	delete(m.Files, old)
	delete(m.Files, m.Page)
	m.Version, m.Page = version, "/app/index-"+sum(page)[:16]+".html"
	m.Files[fresh], m.Files[m.Page] = sum(script), sum(page)
	text, err := json.Marshal(m)
	if err != nil {
		e.t.Fatal(err)
	}
	e.put("/app.json", "/app.json", string(text))
	e.put(fresh, old, script)
	e.put(m.Page, "/", page)
	e.put("/", "/", page)
	return version
}

// put serves a text under an address, with the headers of another.
func (e *edition) put(address, like, text string) {
	w := httptest.NewRecorder()
	r := get(e.t, handler(e.t), like, "")
	for k, v := range r.Header {
		w.Header()[k] = v
	}
	w.Header().Del("Content-Length")
	w.Body = bytes.NewBufferString(text)
	e.mu.Lock()
	defer e.mu.Unlock()
	e.files[address] = w
}

const runs = `window.needlebook.version`

// A new version waits while a visit is open and changes on a tap; one that does not come up gives way to the one before it, and nothing charted is lost.
func TestBrowser_UpdatesWaitAndBrokenOnesGiveWay(t *testing.T) {
	chromium(t)
	d := clinic(t)
	e, address := newEdition(t, d.URL())
	s := open(t, t.TempDir(), address)
	s.enrol(code(t, d), "Room 7", "ines", demo.Password)
	s.until(`!!navigator.serviceWorker.controller`, `true`)
	id := s.newPatient("Ana Quill")

	second := e.release(func(script string) string { return script + "\n// another day" })
	s.ask(`core.visiting(true)`)
	look := `navigator.serviceWorker.controller.postMessage({ask: "look"})`
	s.ask(look)
	s.do(chromedp.WaitVisible(fmt.Sprintf(`[data-update=%q]`, second)))
	if s.has(`[data-update] button`) {
		t.Error("a version may be changed while a visit is open")
	}
	s.ask(`core.visiting(false)`)
	s.do(chromedp.Click(`[data-update] button`))
	s.unlock(demo.Password)
	s.until(runs, quoted(second))
	s.until(named(id), quoted("Ana Quill"))

	third := e.release(func(string) string { return `throw new Error("a broken build")` })
	s.ask(look)
	s.do(chromedp.WaitVisible(fmt.Sprintf(`[data-update=%q]`, third)), chromedp.Click(`[data-update] button`))
	s.until(`document.body.innerText.trim()`, `""`)
	s.do(chromedp.Reload())
	s.do(chromedp.Reload())
	s.unlock(demo.Password)
	s.until(runs, quoted(second))
	s.until(named(id), quoted("Ana Quill"))
}

// has reports whether something is on the screen now.
func (s *screen) has(selector string) bool {
	s.t.Helper()
	return string(s.ask(`document.querySelector(`+quoted(selector)+`) !== null`)) == "true"
}
