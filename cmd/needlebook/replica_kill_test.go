package main

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	mathrand "math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/internal/device"
)

// killRounds is read from the environment:
//
//	NEEDLEBOOK_KILL_ROUNDS  how often TestReplicaKilled kills a process; 8 when unset
func killRounds() int {
	if n, err := strconv.Atoi(os.Getenv("NEEDLEBOOK_KILL_ROUNDS")); err == nil && n > 0 {
		return n
	}
	return 8
}

// startClinic runs a server with an injector, eve, and makes a replica of it in a folder.
func startClinic(t *testing.T, dirs ...string) *clinic {
	t.Helper()
	c := &clinic{data: filepath.Join(t.TempDir(), "clinic"), staff: map[string]string{}}
	if err := c.start(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.end(); err != nil {
			t.Errorf("stop the server: %v", err)
		}
	})
	if _, err := c.hire(t.Context(), "eve", accessv1.Role_ROLE_INJECTOR); err != nil {
		t.Fatal(err)
	}
	for _, dir := range dirs {
		code, err := c.code(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		d, err := device.Create(t.Context(), deviceConfig(dir), device.Enrolment{Server: c.url, Code: code, Label: filepath.Base(dir)})
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(d.SignIn(t.Context(), "eve", testPassword), d.Close()); err != nil {
			t.Fatal(err)
		}
	}
	return c
}

func deviceConfig(dir string) device.Config {
	return device.Config{Dir: dir, Now: time.Now, Random: rand.Reader}
}

// withDevice opens a replica in this process.
func withDevice(t *testing.T, dir string, fn func(*device.Device)) {
	t.Helper()
	d, err := device.Open(t.Context(), deviceConfig(dir))
	if err != nil {
		t.Fatal(err)
	}
	fn(d)
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
}

// killed runs needlebook in a process of its own and kills it after a while, unless it ends before. It returns what was printed and how long it ran.
func killed(t *testing.T, after time.Duration, stdin string, args ...string) (stdout string, ended bool, ran time.Duration) {
	t.Helper()
	var out bytes.Buffer
	ctx, cancel := context.WithTimeout(t.Context(), after)
	defer cancel()
	cmd := exec.CommandContext(ctx, "needlebook", args...) // the end of ctx is SIGKILL
	cmd.Stdin, cmd.Stdout = strings.NewReader(stdin), &out
	began := time.Now()
	err := cmd.Run()
	return out.String(), err == nil, time.Since(began)
}

// TestReplicaKilledWhilePutting: whatever was printed as saved is there, however the process ended.
func TestReplicaKilledWhilePutting(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a")
	startClinic(t, dir)
	_, ended, usual := killed(t, time.Minute, `{"short_number": "0"}`, "replica", "put", "vial", "--dir", dir)
	if !ended {
		t.Fatal("put failed")
	}
	saved := map[string]string{}
	cut := 0
	for n := 1; n <= 40*killRounds() && (len(saved) < killRounds() || cut < killRounds()); n++ {
		number := strconv.Itoa(n)
		after := time.Duration(mathrand.Int64N(int64(usual * 3 / 2)))
		out, ended, ran := killed(t, after, fmt.Sprintf(`{"short_number": %q}`, number), "replica", "put", "vial", "--dir", dir, "--json")
		var made struct {
			RecordID string `json:"record_id"`
		}
		if json.Unmarshal([]byte(out), &made) == nil {
			saved[made.RecordID] = number
		} else {
			cut++
		}
		if ended {
			usual = (usual + ran) / 2
		} else if len(saved) == 0 && n%10 == 0 {
			usual *= 2 // a busy machine
		}
	}
	if len(saved) == 0 || cut == 0 {
		t.Fatalf("%d processes printed and %d were cut off before; want some of both", len(saved), cut)
	}
	withDevice(t, dir, func(d *device.Device) {
		for id, number := range saved {
			key, err := readKey("vial", id)
			if err != nil {
				t.Fatal(err)
			}
			view, err := d.View(key)
			if err != nil || view.GetRecord().GetVial().GetShortNumber() != number {
				t.Errorf("vial %s was printed as saved with %s: %v, %v", id, number, view, err)
			}
		}
		if rep, err := d.Sync(t.Context()); err != nil || d.Unsent() != 0 || rep.Up < len(saved) {
			t.Errorf("sync: %v; %d edits unsent, %d of at least %d went up", err, d.Unsent(), rep.Up, len(saved))
		}
	})
	t.Logf("%d printed, %d cut off before", len(saved), cut)
}

// TestReplicaKilledWhileSyncing: a sync that is cut off anywhere goes on from there; nothing is lost and nothing is doubled.
func TestReplicaKilledWhileSyncing(t *testing.T) {
	const vials = 60
	root := t.TempDir()
	a, b := filepath.Join(root, "a"), filepath.Join(root, "b")
	startClinic(t, a, b)
	want := map[string]bool{}
	for _, dir := range []string{a, b} {
		withDevice(t, dir, func(d *device.Device) {
			for n := range vials {
				want[putVial(t, d, fmt.Sprintf("%s-%d", strings.ToUpper(filepath.Base(dir)), n))] = true
			}
		})
	}
	cut := 0
	for _, dir := range []string{a, b, a} {
		usual := 100 * time.Millisecond
		for n := 0; ; n++ {
			after := time.Duration(mathrand.Int64N(int64(usual)))
			if n >= killRounds() {
				after = time.Minute
			}
			_, ended, _ := killed(t, after, "", "replica", "sync", "--dir", dir, "--page", "3")
			if ended {
				break
			}
			if cut++; after >= time.Minute {
				t.Fatal("sync does not come to an end")
			}
			usual += 50 * time.Millisecond
		}
	}
	if cut == 0 {
		t.Error("no sync was cut off")
	}
	withDevice(t, a, func(da *device.Device) {
		withDevice(t, b, func(db *device.Device) {
			if da.Digest() != db.Digest() || da.Unsent()+db.Unsent() > 0 {
				t.Errorf("the replicas differ, or %d and %d edits are unsent", da.Unsent(), db.Unsent())
			}
			_, kind, _ := readKind("vial")
			keys := da.Keys(kind)
			for _, k := range keys {
				if !want[k.ID.String()] {
					t.Errorf("vial %s was never put", k.ID)
				}
			}
			if len(keys) != len(want) || len(da.Held(true)) > 0 || len(da.Conflicts()) > 0 {
				t.Errorf("%d vials, want %d; held %v, conflicts %v", len(keys), len(want), da.Held(true), da.Conflicts())
			}
		})
	})
	t.Logf("%d cut off", cut)
}

func putVial(t *testing.T, d *device.Device, number string) (id string) {
	t.Helper()
	id = uuid.NewString()
	req := &chartv1.EditRecordRequest{Record: &chartv1.Record{Kind: &chartv1.Record_Vial{Vial: &chartv1.Vial{Id: id, ShortNumber: &number}}}}
	c, err := d.Chart().Edit(req)
	if err == nil {
		_, err = d.Edit(t.Context(), c)
	}
	if err != nil {
		t.Fatal(err)
	}
	return id
}
