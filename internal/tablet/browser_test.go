package tablet_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"os/exec"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/chromedp"
)

// mustBrowse names the variable that makes the absence of a browser a failure; CI sets it.
const mustBrowse = "NEEDLEBOOK_BROWSER"

// chromium finds the browser, or skips with a loud line.
func chromium(t *testing.T) string {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser is not for short runs")
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if at, err := exec.LookPath(name); err == nil {
			return at
		}
	}
	if os.Getenv(mustBrowse) != "" {
		t.Fatalf("no Chromium on this machine, and %s asks for one", mustBrowse)
	}
	t.Skip("NO BROWSER: no Chromium on this machine, so the tablet client was NOT tested in one (apt-get install chromium)")
	return ""
}

// screen is a browser with one window of the tablet, on a profile of its own.
type screen struct {
	t    *testing.T
	ctx  context.Context
	url  string
	dir  string
	line *line
	end  context.CancelFunc
}

// open starts a browser on a profile folder, with a line to the server.
func open(t *testing.T, dir, server string) *screen {
	t.Helper()
	return start(t, dir, newLine(t, server))
}

func start(t *testing.T, dir string, l *line) *screen {
	t.Helper()
	url := l.url()
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.Flag("disable-gpu", true),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(dir))
	allocator, endAllocator := chromedp.NewExecAllocator(t.Context(), options...)
	ctx, endBrowser := chromedp.NewContext(allocator)
	s := &screen{t: t, ctx: ctx, url: url, dir: dir, line: l, end: func() { endBrowser(); endAllocator() }}
	t.Cleanup(s.end)
	s.do(chromedp.Navigate("about:blank"))
	granted := browser.SetPermissionParams{
		Permission: &browser.PermissionDescriptor{Name: "persistent-storage"}, Setting: browser.PermissionSettingGranted, Origin: url,
	}
	if _, err := chromedp.CallBrowser(ctx, browser.SetPermission, granted); err != nil {
		t.Fatal(err)
	}
	s.do(chromedp.Navigate(url + "/"))
	return s
}

// within bounds one step.
const within = 100 * time.Second

func (s *screen) do(steps ...chromedp.Action[chromedp.Void]) {
	s.t.Helper()
	if err := s.try(steps...); err != nil {
		s.t.Fatalf("%v\n%s", err, s.page())
	}
}

func (s *screen) try(steps ...chromedp.Action[chromedp.Void]) error {
	if chromedp.FromContext(s.ctx).Target == nil {
		return chromedp.Do(s.ctx, steps...) // the first run starts the browser, and must not be bound in time
	}
	ctx, cancel := context.WithTimeout(s.ctx, within)
	defer cancel()
	return chromedp.Do(ctx, steps...)
}

// page is what is on the screen, for a failure's text.
func (s *screen) page() string {
	ctx, cancel := context.WithTimeout(s.ctx, 5*time.Second)
	defer cancel()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string]("document.body.innerText"))
	if err != nil {
		return err.Error()
	}
	return text
}

// at waits until one of the shell's screens is shown.
func (s *screen) at(name string) {
	s.t.Helper()
	s.do(chromedp.WaitVisible(`[data-screen="` + name + `"]`))
}

// opened waits until the chart is open.
func (s *screen) opened() {
	s.t.Helper()
	s.do(chromedp.WaitVisible(`.opened`))
}

// fill types over what stands in a field.
func (s *screen) fill(id, text string) {
	s.t.Helper()
	s.do(chromedp.WaitVisible("#"+id), chromedp.Evaluate[chromedp.Void](`document.getElementById("`+id+`").select()`), chromedp.KeyEvent(text))
}

func (s *screen) submit() {
	s.t.Helper()
	s.do(chromedp.Click(`form button[type="submit"]`))
}

// ask evaluates an expression, in which core is the tablet's, and returns its value as JSON.
func (s *screen) ask(expression string) json.RawMessage {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.ctx, within)
	defer cancel()
	code := `(async () => { const core = window.needlebook?.core(); return JSON.stringify(await (` + expression + `)) ?? "null"; })()`
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](code, chromedp.EvalAwaitPromise))
	if err != nil {
		s.t.Fatalf("%s: %v\n%s", expression, err, s.page())
	}
	return json.RawMessage(text)
}

// until asks again until the answer is what is wanted.
func (s *screen) until(expression, want string) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(s.ctx, within)
	defer cancel()
	code := `(async () => { const core = window.needlebook?.core(); return JSON.stringify(await (` + expression + `)) ?? "null"; })()`
	last := ""
	for ctx.Err() == nil {
		got, err := chromedp.Run(ctx, chromedp.Evaluate[string](code, chromedp.EvalAwaitPromise))
		if err == nil && got == want {
			return
		}
		if last = got; err != nil {
			last = err.Error()
		}
		_ = chromedp.Do(ctx, chromedp.Sleep(50*time.Millisecond)) // the page's own time: nothing tells when it will be so
	}
	s.t.Fatalf("%s: %s, want %s\n%s", expression, last, want, s.page())
}

// offline cuts the tablet's line, or joins it again: connections break, and new ones are refused. A browser's own switch does not reach its service worker.
func (s *screen) offline(off bool) { s.line.cut(off) }

// line is the way from one tablet to the server, which can be cut.
type line struct {
	listener net.Listener
	to       string

	mu   sync.Mutex
	off  bool
	open map[net.Conn]bool
}

// newLine leads to a server, and has an address of its own.
func newLine(t *testing.T, server string) *line {
	t.Helper()
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	l := &line{to: u.Host, open: map[net.Conn]bool{}}
	if l.listener, err = net.Listen("tcp", "localhost:0"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.listener.Close(); l.cut(true) })
	go l.serve()
	return l
}

// url is where the tablet finds the server.
func (l *line) url() string {
	_, port, _ := net.SplitHostPort(l.listener.Addr().String())
	return "http://localhost:" + port
}

func (l *line) serve() {
	for {
		from, err := l.listener.Accept()
		if err != nil {
			return
		}
		to, err := net.Dial("tcp", l.to)
		if err != nil || !l.enter(from, to) {
			from.Close()
			continue
		}
		go carry(from, to)
		go carry(to, from)
	}
}

// enter notes a connection; false while the line is cut.
func (l *line) enter(ends ...net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range ends {
		if l.off {
			c.Close()
		} else {
			l.open[c] = true
		}
	}
	return !l.off
}

func (l *line) cut(off bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.off = off
	if off {
		for c := range l.open {
			c.Close()
		}
		clear(l.open)
	}
}

func carry(from, to net.Conn) {
	_, _ = io.Copy(to, from) // either end may go at any time
	to.Close()
	from.Close()
}

// enrol makes a browser a tablet of the demo's, and signs a person in.
func (s *screen) enrol(code, label, name, password string) {
	s.t.Helper()
	s.at("enrol")
	s.fill("code", code)
	s.fill("label", label)
	s.submit()
	s.at("sign_in")
	s.fill("name", name)
	s.fill("password", password)
	s.submit()
	s.opened()
}

// unlock opens a tablet that has one person.
func (s *screen) unlock(password string) {
	s.t.Helper()
	s.at("unlock")
	s.fill("password", password)
	s.submit()
	s.opened()
}

// newPatient makes a patient through the core and returns her id.
func (s *screen) newPatient(name string) string {
	s.t.Helper()
	var id string
	made := s.ask(fmt.Sprintf(`(async () => {
		const id = core.newId();
		await core.edit({record: {patient: {id, name: {full: %q}}}, update_mask: ["name"]});
		return id;
	})()`, name))
	if err := json.Unmarshal(made, &id); err != nil || len(id) != 36 {
		s.t.Fatalf("new patient: %s, %v", made, err)
	}
	return id
}

// named is the name of a patient as the tablet shows it.
func named(id string) string {
	return fmt.Sprintf(`core.view({kind: "RECORD_KIND_PATIENT", record_id: %q}).then((v) => v?.record?.patient?.name?.full ?? "")`, id)
}

func quoted(text string) string {
	b, err := json.Marshal(text)
	if err != nil {
		return strings.Clone(text)
	}
	return string(b)
}
