package tablet_test

import (
	"fmt"
	"io"
	"testing"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/storage"
	"github.com/chromedp/chromedp"

	"needlebook/internal/demo"
)

// clinic is the demo's organisation with its server.
func clinic(t *testing.T) *demo.Demo {
	t.Helper()
	d, err := demo.Play(t.Context(), demo.Config{Seed: 1, Out: io.Discard, Listen: "localhost:0", Patients: demo.FewestPatients, NoTimes: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	return d
}

func code(t *testing.T, d *demo.Demo) string {
	t.Helper()
	c, err := d.Code(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// kill ends a browser without a word, as when the tablet's battery is pulled.
func (s *screen) kill() {
	s.t.Helper()
	if err := chromedp.FromContext(s.ctx).Browser.Process().Kill(); err != nil {
		s.t.Fatal(err)
	}
	s.end()
}

// again starts a browser anew on the same profile.
func (s *screen) again() *screen {
	s.t.Helper()
	return start(s.t, s.dir, s.line)
}

func rename(id, name string) string {
	return fmt.Sprintf(`core.view({kind: "RECORD_KIND_PATIENT", record_id: %q}).then((v) => core.edit({
		record: {patient: {id: %q, name: {full: %q}}}, update_mask: ["name"], context: v.context}))`, id, id, name)
}

// A tablet from its enrolment to what another tablet sees: enrol, chart, reload without a network, kill the browser in the middle of an edit, unlock,
// exchange, chart beside another tablet, see the conflict on both and settle it.
func TestBrowser_FromEnrolmentToASettledConflict(t *testing.T) {
	chromium(t)
	d := clinic(t)
	one := open(t, t.TempDir(), d.URL())
	one.enrol(code(t, d), "Room 7", "ines", demo.Password)
	one.until(`core.sync.value.last_unix_ms > 0 && core.sync.value.unsent === 0`, `true`)
	one.until(`navigator.serviceWorker.ready.then((r) => !!r.active && !!navigator.serviceWorker.controller)`, `true`)

	one.offline(true)
	one.do(chromedp.Reload())
	one.unlock(demo.Password)
	id := one.newPatient("Ana Quill")
	one.until(`core.sync.value.away && core.sync.value.word`, `"saved"`)
	if got := one.ask(`core.sync.value.text`); string(got) != `"Saved on this tablet"` {
		t.Errorf("without a network: %s", got)
	}

	// Edits follow each other without a pause while the browser is killed: each that was said to be saved is there again.
	one.ask(`(async () => {
		window.saved = 0;
		(async () => { for (let n = 1; ; n++) { await core.keep("visit/count", String(n)); ` +
		`await core.edit({record: {patient: {id: core.newId(), name: {full: "Row " + n}}}, update_mask: ["name"]}); window.saved = n; } })();
	})()`)
	one.until(`window.saved > 5`, `true`)
	saved := one.ask(`window.saved`)
	one.kill()
	one = one.again()
	one.unlock(demo.Password)
	one.until(`core.patients({text: "row", most: 200}).then((all) => all.length >= `+string(saved)+`)`, `true`)
	one.until(`Number(core.kept("visit/count")) >= `+string(saved), `true`)
	one.until(named(id), quoted("Ana Quill"))
	one.offline(false)
	one.ask(`core.syncNow()`)
	one.until(`core.sync.value.unsent`, `0`)

	two := open(t, t.TempDir(), d.URL())
	two.enrol(code(t, d), "Room 8", "ines", demo.Password)
	thin := fmt.Sprintf(`core.patients({text: "ana quill"}).then((all) => all.filter((l) => l.patient_id === %q).map((l) => [l.name.full, l.whole]))`, id)
	two.until(thin, `[["Ana Quill",false]]`) // what is known of her is here, and her record is not
	two.until(named(id), `""`)
	two.ask(fmt.Sprintf(`core.hold(%q)`, id))
	two.until(named(id), quoted("Ana Quill"))
	both := func(want, got string) {
		t.Helper()
		for _, s := range []*screen{one, two} {
			s.ask(`core.syncNow()`)
			s.until(want, got)
		}
	}
	one.offline(true)
	two.offline(true)
	one.ask(rename(id, "Ana Quill-Moss"))
	two.ask(rename(id, "Anna Quill"))
	one.offline(false)
	one.ask(`core.syncNow()`)
	one.until(`core.sync.value.unsent`, `0`)
	two.offline(false)
	conflicts := fmt.Sprintf(`core.conflicts({patient_id: %q}).then((all) => all.map((c) => [c.path, c.siblings.length]))`, id)
	both(conflicts, `[["name",2]]`)
	one.until(`core.sync.value.needs.some((n) => n.kind === "conflict")`, `true`)

	two.ask(fmt.Sprintf(`core.conflicts({patient_id: %q}).then(([c]) => core.settle({key: c.key, path: c.path, context: c.context,
		reason: "asked her", keep: c.siblings[0].authors[0].dot}))`, id))
	two.until(`core.sync.value.unsent`, `0`)
	both(conflicts, `[]`)
	if a, b := one.ask(named(id)), two.ask(named(id)); string(a) != string(b) {
		t.Errorf("names after settling: %s and %s", a, b)
	}
}

// What stands in the way of working has a screen of its own, and nothing is lost.
func TestBrowser_WhatStandsInTheWay(t *testing.T) {
	chromium(t)
	d := clinic(t)
	s := open(t, t.TempDir(), d.URL())
	s.at("enrol")
	s.fill("code", "0000-0000-0000-0000")
	s.submit()
	s.do(chromedp.WaitVisible(`[role="alert"]`))
	s.enrol(code(t, d), "Room 7", "ines", demo.Password)
	id := s.newPatient("Ana Quill")

	t.Run("a second window", func(t *testing.T) {
		ctx, end := chromedp.NewContext(s.ctx)
		defer end()
		other := &screen{t: t, ctx: ctx, url: s.url, end: end}
		other.do(chromedp.Navigate(s.url + "/"))
		other.at("elsewhere")
		other.do(chromedp.Click(`button.primary`))
		other.at("unlock")
		s.at("elsewhere")
		s.do(chromedp.Click(`button.primary`))
		s.unlock(demo.Password)
		other.at("elsewhere")
	})
	t.Run("a wrong password", func(t *testing.T) {
		s.do(chromedp.Reload())
		s.at("unlock")
		s.fill("password", "not the password at all")
		s.submit()
		s.do(chromedp.WaitVisible(`[role="alert"]`))
		s.unlock(demo.Password)
		s.until(named(id), quoted("Ana Quill"))
	})
	t.Run("a locked screen keeps what is half typed", func(t *testing.T) {
		s.ask(`core.keep("visit/note", "half a sen")`)
		s.ask(`core.lock()`)
		s.at("lock")
		s.fill("password", demo.Password)
		s.submit()
		s.opened()
		s.until(`core.kept("visit/note")`, `"half a sen"`)
	})
	t.Run("a full disk", func(t *testing.T) {
		room := func(bytes *float64) {
			t.Helper()
			if _, err := chromedp.Call(s.ctx, storage.OverrideQuotaForOrigin, storage.OverrideQuotaForOriginParams{Origin: s.url, QuotaSize: bytes}); err != nil {
				t.Fatal(err)
			}
		}
		room(new(1.0))
		// The browser still has a little room at hand, so the first few may be saved.
		s.until(`(async () => { window.last = core.newId(); return core.edit({record: {patient: {id: window.last, name: {full: "No Room"}}},
			update_mask: ["name"]}).then(() => "saved", (e) => e.trouble); })()`, `"full"`)
		s.until(`core.view({kind: "RECORD_KIND_PATIENT", record_id: window.last})`, `null`)
		s.until(named(id), quoted("Ana Quill"))
		room(nil)
		s.newPatient("Room Again")
	})
	t.Run("a store that is gone", func(t *testing.T) {
		// As when the browser threw the database away and left the rest.
		s.ask(`new Promise((done) => { const asked = indexedDB.deleteDatabase("needlebook"); asked.onsuccess = () => done(1); asked.onblocked = () => done(2); })`)
		s.do(chromedp.WaitVisible(`[data-screen^="trouble-"]`))
		s.do(chromedp.Reload())
		s.at("lost")
	})
}

// Where the browser does not promise to keep the store, that is said, and somebody decides.
func TestBrowser_StorageRefused(t *testing.T) {
	chromium(t)
	d := clinic(t)
	s := open(t, t.TempDir(), d.URL())
	refuse := browser.SetPermissionParams{
		Permission: &browser.PermissionDescriptor{Name: "persistent-storage"}, Setting: browser.PermissionSettingDenied, Origin: s.url,
	}
	if _, err := chromedp.CallBrowser(s.ctx, browser.SetPermission, refuse); err != nil {
		t.Fatal(err)
	}
	s.at("enrol")
	s.fill("code", code(t, d))
	s.submit()
	s.at("storage")
	s.do(chromedp.Click(`.row button:not(.primary)`))
	s.at("sign_in")
	s.fill("name", "ines")
	s.fill("password", demo.Password)
	s.submit()
	s.opened()
	s.until(`core.sync.value.needs.map((n) => n.kind)`, `["storage"]`)
}
