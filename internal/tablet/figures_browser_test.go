package tablet_test

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"needlebook/internal/demo"
)

// figures is how long things took in the browser, in ms.
type figures struct {
	N              int
	P50, P95, Most float64
	Calls          map[string]float64
}

// openWatch notes how long it takes from the form with the password to the open chart, in ms.
const openWatch = `(() => {
	addEventListener("submit", () => { window.from = performance.now(); }, {capture: true});
	new MutationObserver((_, me) => { if (document.querySelector(".opened h1, .opened main")) { window.took = performance.now() - window.from; me.disconnect(); } })
		.observe(document.body, {childList: true, subtree: true});
})()`

// opening is the figure of openWatch at one speed of the processor, after a reload, and what the page said of it.
func (s *screen) opening(slower float64) (ms float64) {
	s.t.Helper()
	if _, err := chromedp.Call(s.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: slower}); err != nil {
		s.t.Fatal(err)
	}
	s.do(chromedp.Reload())
	s.at("unlock")
	s.ask(openWatch)
	s.unlock(demo.Password)
	s.until(`window.took > 0`, `true`)
	if err := json.Unmarshal(s.ask(`window.took`), &ms); err != nil {
		s.t.Fatal(err)
	}
	return ms
}

// How long it takes from the password to the open chart, and from a tap until its edit is on the disk, with a slow processor. It is a figure to look at, so it runs only when it is asked for.
func TestBrowser_Figures(t *testing.T) {
	if os.Getenv("NEEDLEBOOK_LONG") == "" {
		t.Skip("figures are measured with NEEDLEBOOK_LONG set")
	}
	chromium(t)
	d := clinic(t)
	s := open(t, t.TempDir(), d.URL())
	s.enrol(code(t, d), "Room 7", "ines", demo.Password)
	s.until(`core.sync.value.last_unix_ms > 0 && core.sync.value.unsent === 0`, `true`)
	s.ask(`core.patients({most: 200}).then((all) => Promise.all(all.map((l) => core.hold(l.patient_id))))`)
	s.until(`core.patients({most: 200}).then((all) => all.length > 0 && all.every((l) => l.whole))`, `true`)
	s.until(`core.sync.value.busy`, `false`)
	for _, slower := range []float64{1, 4} {
		t.Logf("at 1/%.0f of this processor: %.0f ms from the password to the open chart", slower, s.opening(slower))
	}
	slow := emulation.SetCPUThrottlingRateParams{Rate: 4}
	if _, err := chromedp.Call(s.ctx, emulation.SetCPUThrottlingRate, slow); err != nil {
		t.Fatal(err)
	}
	var f figures
	raw := s.ask(`(async () => {
		const took = [], calls = {};
		const work = () => { const from = performance.now(); let x = 0; for (let i = 0; i < 2e7; i++) x = (x * 31 + i) | 0; return performance.now() - from + (x & 0); };
		calls.reference_loop = Math.round(work());
		for (let n = 0; n < 20; n++) {
			const id = core.newId(), from = performance.now();
			await core.edit({record: {patient: {id, name: {full: "Row " + n}}}, update_mask: ["name"]});
			took.push(performance.now() - from);
			await new Promise((r) => setTimeout(r, 100));
		}
		const time = async (name, what) => { const from = performance.now(); await what(); calls[name] = Math.round(performance.now() - from); };
		const all = await core.sessions({most: 1}), session = all[0].record.session;
		await time("day", () => core.day({on: session.on}));
		await time("patients", () => core.patients({text: "ro"}));
		await time("view", () => core.view({kind: "RECORD_KIND_SESSION", record_id: session.id}));
		await time("check_session", () => core.checkSession({session_id: session.id}));
		await time("toxin_history", () => core.toxinHistory({patient_id: session.patient_id}));
		took.sort((a, b) => a - b);
		const at = (p) => Math.round(took[Math.min(took.length - 1, Math.floor(took.length * p))]);
		return {N: took.length, P50: at(0.5), P95: at(0.95), Most: at(1), Calls: calls};
	})()`)
	if err := json.Unmarshal(raw, &f); err != nil {
		t.Fatal(err)
	}
	t.Logf("at a quarter of this processor: %d edits from the tap to the disk: median %.0f ms, 95 of 100 within %.0f ms, most %.0f ms; calls %v", f.N, f.P50, f.P95,
		f.Most, f.Calls)
}
