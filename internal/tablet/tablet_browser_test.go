package tablet_test

import (
	"io"
	"testing"

	"needlebook/internal/demo"
)

// clinic is the demo's organisation with its server.
func clinic(t *testing.T) *demo.Demo {
	t.Helper()
	d, err := demo.Play(t.Context(), demo.Config{Seed: 1, Out: io.Discard, Listen: "localhost:0", NoTimes: true})
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

// A tablet from its enrolment to what another tablet sees: enrol, chart, reload without a network, kill the browser, unlock, sync.
func TestBrowser_FromEnrolmentToASecondTablet(t *testing.T) {
	chromium(t)
	d := clinic(t)
	profile := t.TempDir()
	one := open(t, profile, d.URL())
	one.enrol(code(t, d), "Room 7", "ines", demo.Password)
	one.until(`core.sync.value.last_unix_ms > 0`, `true`)
	id := one.newPatient("Ana Quill")
	one.until(named(id), quoted("Ana Quill"))
	one.until(`core.sync.value.unsent`, `0`)
}
