package tablet_test

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/chromedp/chromedp"

	"needlebook/internal/demo"
)

// access calls the server's AccessService in the name of whoever works on a tablet, and answers a value of what came back.
func (s *screen) access(procedure, request, value string) string {
	s.t.Helper()
	return string(s.ask(fmt.Sprintf(`core.people.signed((token) => fetch("/needlebook.access.v1.AccessService/%s", {method: "POST", body: JSON.stringify(%s),
		headers: {"Content-Type": "application/json", "Authorization": "Bearer " + token}})).then((r) => r.json()).then((a) => %s)`, procedure, request, value)))
}

// stored is how many rows the tablet's store has, by table, and the names under meta.
const stored = `new Promise((done) => { const asked = indexedDB.open("needlebook"); asked.onsuccess = async () => {
	const t = asked.result.transaction(["meta", "wraps", "blocks", "notes"]), got = [];
	for (const table of ["wraps", "blocks", "notes"]) got.push(await new Promise((r) => { const c = t.objectStore(table).count(); c.onsuccess = () => r(c.result); }));
	got.push(await new Promise((r) => { const k = t.objectStore("meta").getAllKeys(); k.onsuccess = () => r(k.result); }));
	asked.result.close(); done(got); }; })`

// A tablet is revoked while it has work that it did not send: at its next exchange it wipes what can be read, keeps the work sealed, and hands it in by its
// own key. The server then holds it for a person, and the browser may be enrolled as a new tablet.
func TestBrowser_Revoked(t *testing.T) {
	chromium(t)
	d := clinic(t)
	s := open(t, t.TempDir(), d.URL())
	s.enrol(code(t, d), "Room 7", "ines", demo.Password)
	s.until(`core.sync.value.last_unix_ms > 0 && core.sync.value.unsent === 0`, `true`)
	device := string(s.ask(`core.device.value.device_id`))
	s.newPatient("Ana Quill")
	s.until(`core.sync.value.unsent`, `0`)
	office := open(t, t.TempDir(), d.URL())
	office.enrol(code(t, d), "Office", "ottoline", demo.Password)

	s.offline(true)
	id := s.newPatient("Bo Marsh")
	s.ask(rename(id, "Bo Marsh-Reed"))
	s.until(`core.sync.value.unsent`, `2`)
	status := `(a.devices ?? []).filter((x) => x.device.id === ` + device + `).map((x) => [x.held_edits ?? 0, x.kept_sealed ?? 0])[0]`
	if got := office.access("ListDevices", `{include_revoked: true}`, status); got != `[0,0]` {
		t.Fatalf("before: held and kept %s", got)
	}
	office.access("RevokeDevice", `{request_id: core.newId(), device_id: `+device+`, reason: "left in a train"}`, `a`)
	s.offline(false)
	s.ask(`core.syncNow()`)
	s.at("revoked")
	s.until(stored, `[0,0,0,["identity","outbox"]]`)
	s.do(chromedp.Reload())
	s.at("revoked")
	var sealed int
	raw := s.ask(`Number(/(\d+) changes?/.exec(document.body.innerText)?.[1])`)
	if err := json.Unmarshal(raw, &sealed); err != nil || sealed < 2 {
		t.Fatalf("sealed edits on the screen: %s", raw)
	}
	s.submit()
	s.do(chromedp.WaitVisible(`[role="status"]`))
	s.until(stored, `[0,0,0,[]]`)
	if got := office.access("ListDevices", `{include_revoked: true}`, status); got != `[2,0]` {
		t.Errorf("handed in: held and kept %s, want the two that were not sent held", got)
	}
	s.do(chromedp.Click(`button.button:not(.primary)`))
	s.at("enrol")
}

// Signing out says first what did not reach the server, offers to send it, and leaves it here when that is wanted.
func TestBrowser_SignOut(t *testing.T) {
	chromium(t)
	d := clinic(t)
	s := open(t, t.TempDir(), d.URL())
	s.enrol(code(t, d), "Room 7", "ines", demo.Password)
	s.until(`core.sync.value.last_unix_ms > 0 && core.sync.value.unsent === 0`, `true`)
	s.offline(true)
	id := s.newPatient("Ana Quill")
	s.until(`core.sync.value.unsent`, `1`)
	s.ask(`core.lock()`)
	s.at("lock")
	s.ask(`document.querySelector("[data-sign-out]").parentElement.open = true`)
	s.until(`/1 change has not reached the clinic server/.test(document.querySelector("[data-sign-out]").innerText)`, `true`)
	s.do(chromedp.Click(`[data-sign-out] button:not(.primary)`))
	s.unlock(demo.Password)
	s.until(named(id), quoted("Ana Quill"))
	s.until(`core.sync.value.unsent`, `1`)
	if got := s.ask(`core.person.value.signed_in`); string(got) != `false` {
		t.Errorf("signed in after signing out: %s", got)
	}
	s.offline(false)
	s.ask(`core.syncNow()`)
	s.until(`core.sync.value.needs.map((n) => n.kind)`, `["sign_in"]`)
}
