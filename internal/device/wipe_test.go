package device

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	faultv1 "needlebook/gen/needlebook/fault/v1"
	held "needlebook/internal/wire"
)

// The environment that these tests read, all of it here:
//
//	NEEDLEBOOK_LONG  set: TestWipe_KilledAnywhere kills 300 times in place of 15
//	wipeFolder       set by the test for the processes that it kills
const wipeFolder = "NEEDLEBOOK_DEVICE_WIPE_FOLDER"

func TestMain(m *testing.M) {
	if dir := os.Getenv(wipeFolder); dir != "" {
		os.Exit(wipingChild(dir))
	}
	os.Exit(m.Run())
}

// wipingChild syncs a device that was revoked meanwhile.
func wipingChild(dir string) int {
	cfg := Config{Dir: dir, Now: time.Now, Random: zerosAreEnough{}, Pause: time.Millisecond}
	d, err := Open(context.Background(), cfg)
	if err == nil {
		_, err = d.Sync(context.Background())
	}
	if errors.Is(err, ErrWiped) {
		return 0
	}
	return 1
}

// zerosAreEnough is the randomness of the child: what it makes ids of is thrown away with the rest.
type zerosAreEnough struct{}

func (zerosAreEnough) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(i + 1)
	}
	return len(p), nil
}

func (c *clinic) revoke(d *Device) {
	c.Helper()
	_, err := c.access().RevokeDevice(c.Context(), &accessv1.RevokeDeviceRequest{
		RequestId: uuid.NewString(), DeviceId: d.Identity().Device.String(), Reason: "lost on the ferry",
	})
	if err != nil {
		c.Fatal(err)
	}
}

func (c *clinic) status(d Identity) *accessv1.DeviceStatus {
	c.Helper()
	resp, err := c.access().ListDevices(c.Context(), &accessv1.ListDevicesRequest{IncludeRevoked: true})
	if err != nil {
		c.Fatal(err)
	}
	for _, s := range resp.GetDevices() {
		if s.GetDevice().GetId() == d.Device.String() {
			return s
		}
	}
	c.Fatal("the device is not listed")
	return nil
}

// readable is the files of a folder that hold a text.
func readable(t testing.TB, dir, text string) (found []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if bytes.Contains(b, []byte(text)) {
			found = append(found, path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

const canary = "QX77ZW"

// TestRevoked_WipesWhatItCanReadAndHandsInTheRest goes the whole way of a lost tablet's work: sent and unsent edits, the wipe, the hand-in.
func TestRevoked_WipesWhatItCanReadAndHandsInTheRest(t *testing.T) {
	c := newClinic(t)
	cfg := config(t)
	d := c.tablet(cfg)
	mustPut(t, d, canary+"-1")
	mustSync(t, d)
	mustPut(t, d, canary+"-2")
	mustPut(t, d, canary+"-3")
	if len(readable(t, cfg.Dir, canary)) == 0 {
		t.Fatal("what was charted cannot be found before the wipe: the check below would prove nothing")
	}
	c.revoke(d)
	rep, err := d.Sync(t.Context())
	if !errors.Is(err, ErrWiped) || !refusedFor(err, faultv1.Reason_REASON_DEVICE_REVOKED) || !rep.Wiped {
		t.Fatalf("sync: %v", err)
	}
	id := d.Identity()
	if _, err := put(t, d, "after"); err == nil {
		t.Error("a device that was wiped makes edits")
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if found := readable(t, cfg.Dir, canary); len(found) > 0 {
		t.Errorf("what was charted can be read in %v", found)
	}
	if _, err := Open(t.Context(), cfg); !errors.Is(err, ErrWiped) {
		t.Errorf("opened again: %v", err)
	}
	if _, err := Create(t.Context(), cfg, c.enrolment()); !errors.Is(err, ErrExists) {
		t.Errorf("enrolled over sealed work: %v", err)
	}
	x, err := OpenWiped(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer x.Close()
	file, err := x.Outbox(t.Context())
	if err != nil || len(file.Edits) != 3 {
		t.Fatalf("%d sealed edits, %v", len(file.Edits), err)
	}
	got, err := x.HandIn(t.Context())
	if err != nil || got.Held != 2 || got.Known != 1 || got.Kept != 0 {
		t.Fatalf("handed in: %+v, %v; want the two unsent held and the sent one known", got, err)
	}
	if s := c.status(id); s.GetHeldEdits() != 2 || s.GetKeptSealed() != 0 {
		t.Errorf("the server holds %d and keeps %d", s.GetHeldEdits(), s.GetKeptSealed())
	}
	if again, err := x.HandIn(t.Context()); err != nil || again.Held+again.Known+again.Kept != 0 {
		t.Errorf("handed in again: %+v, %v", again, err)
	}
	if _, err := os.Stat(keyPath(cfg.Dir)); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the key outlives the hand-in: %v", err)
	}
	other := c.tablet(config(t)) // the same edits from a file, by another replica
	if again, err := other.HandIn(t.Context(), file); err != nil || again.Known != 3 {
		t.Errorf("handed in by another: %+v, %v", again, err)
	}
	if s := c.status(id); s.GetHeldEdits() != 2 {
		t.Errorf("handed in twice: %d held", s.GetHeldEdits())
	}
}

// TestHandIn_OfALockedTablet: the work of a tablet that nobody can open comes in from a file, once, and is held; damaged and foreign seals are kept.
func TestHandIn_OfALockedTablet(t *testing.T) {
	c := newClinic(t)
	d := c.tablet(config(t))
	mustSync(t, d)
	for _, n := range []string{"1", "2", "3"} {
		mustPut(t, d, n)
	}
	box, err := d.Outbox(t.Context())
	if err != nil || len(box.Edits) != 3 {
		t.Fatalf("%d sealed edits, %v", len(box.Edits), err)
	}
	if parsed, err := held.ParseOutbox(box.AppendBinary(nil)); err != nil || len(parsed.Edits) != 3 {
		t.Fatalf("the file: %v", err)
	}
	other := c.tablet(config(t))
	damaged := box
	damaged.Edits = append([]held.Sealed(nil), box.Edits...)
	damaged.Edits[0].Bytes = bytes.Clone(box.Edits[0].Bytes)
	damaged.Edits[0].Bytes[40] ^= 1
	rep, err := other.HandIn(t.Context(), damaged)
	if err != nil || rep.Kept != 3 || rep.Reasons[faultv1.Reason_REASON_NOT_CANONICAL] != 1 || rep.Reasons[faultv1.Reason_REASON_RESUME_FROM] != 2 {
		t.Fatalf("the first is damaged, so the others do not follow what is there: %+v, %v", rep, err)
	}
	if s := c.status(d.Identity()); s.GetKeptSealed() != 3 || len(s.GetKeptSealedEdits()) != 3 || s.GetHeldEdits() != 0 {
		t.Errorf("listed: %v", s)
	}
	rep, err = other.HandIn(t.Context(), box)
	if err != nil || rep.Held != 3 {
		t.Fatalf("%+v, %v", rep, err)
	}
	if s := c.status(d.Identity()); s.GetKeptSealed() != 0 || s.GetHeldEdits() != 3 {
		t.Errorf("what came in whole is still kept sealed: %v", s)
	}
	foreign := box
	foreign.Device[0] ^= 1
	if _, err := other.HandIn(t.Context(), foreign); !refusedFor(err, faultv1.Reason_REASON_NOT_FOUND) {
		t.Errorf("of a device that is not there: %v", err)
	}
	mustSync(t, d) // opened after all: it learns that its edits are held
	if n := len(d.Held(false)); n != 3 || d.Unsent() != 0 {
		t.Errorf("%d held, %d unsent", n, d.Unsent())
	}
}

// TestWipe_KilledAnywhere kills a process that learns that it was revoked, at moments all over the wipe: the next start finishes it, and the sealed edits are
// there each time.
func TestWipe_KilledAnywhere(t *testing.T) {
	rounds, edits := 15, 6
	if os.Getenv("NEEDLEBOOK_LONG") != "" {
		rounds = 300
	}
	c := newClinic(t)
	cfg := config(t)
	d := c.tablet(cfg)
	mustSync(t, d)
	for range edits {
		mustPut(t, d, canary)
	}
	c.revoke(d)
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	whole := wipeTime(t, copyFolder(t, cfg.Dir))
	for i := range rounds {
		at := cfg
		at.Dir = copyFolder(t, cfg.Dir)
		killWhileWiping(t, at.Dir, whole*time.Duration(i+1)/time.Duration(rounds))
		d, err := Open(t.Context(), at)
		if err == nil { // killed before it knew
			_, err = d.Sync(t.Context())
			_ = d.Close()
		}
		if !errors.Is(err, ErrWiped) {
			t.Fatalf("round %d: %v", i, err)
		}
		x, err := OpenWiped(t.Context(), at)
		if err != nil {
			t.Fatalf("round %d: %v", i, err)
		}
		box, err := x.Outbox(t.Context())
		if err != nil || len(box.Edits) != edits {
			t.Fatalf("round %d: %d sealed edits, %v", i, len(box.Edits), err)
		}
		_ = x.Close()
		if found := readable(t, at.Dir, canary); len(found) > 0 {
			t.Fatalf("round %d: what was charted can be read in %v", i, found)
		}
	}
}

func copyFolder(t *testing.T, dir string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), "copy")
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return to
}

func wipingProcess(dir string) *exec.Cmd {
	p := exec.Command(os.Args[0])
	p.Env = append(os.Environ(), wipeFolder+"="+dir)
	return p
}

// wipeTime is how long a process takes that nobody kills.
func wipeTime(t *testing.T, dir string) time.Duration {
	t.Helper()
	began := time.Now()
	if out, err := wipingProcess(dir).CombinedOutput(); err != nil {
		t.Fatalf("the wipe of a process that nobody kills: %v: %s", err, out)
	}
	return time.Since(began)
}

func killWhileWiping(t *testing.T, dir string, after time.Duration) {
	t.Helper()
	p := wipingProcess(dir)
	p.Stdout = &strings.Builder{}
	if err := p.Start(); err != nil {
		t.Fatal(err)
	}
	defer time.AfterFunc(after, func() { _ = p.Process.Signal(syscall.SIGKILL) }).Stop()
	_ = p.Wait() // killed, or done
}
