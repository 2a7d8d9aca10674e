package server_test

import (
	"bufio"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
	chartv1 "needlebook/gen/needlebook/chart/v1"
	"needlebook/gen/needlebook/chart/v1/chartv1connect"
	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/server"
)

// killRounds is how often TestKill kills the server.
func killRounds() int {
	if n, err := strconv.Atoi(os.Getenv("NEEDLEBOOK_KILL_ROUNDS")); err == nil {
		return n
	}
	if isLong() {
		return 100
	}
	return 3
}

// child is a needlebook that serves in a process of its own.
type child struct {
	cmd  *exec.Cmd
	link string
	url  string
}

// buildProgram builds needlebook once.
func buildProgram(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "needlebook")
	build := exec.Command("go", "build", "-o", path, "needlebook/cmd/needlebook")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build: %v\n%s", err, out)
	}
	return path
}

func startChild(t *testing.T, program, data string, log io.Writer) *child {
	t.Helper()
	args := []string{"serve", "--data", data, "--listen", "127.0.0.1:0", "--organisation", "Island Clinics", "--quiet"}
	c := &child{cmd: exec.Command(program, args...)}
	c.cmd.Stderr = log
	out, err := c.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		line := strings.TrimSpace(lines.Text())
		if strings.Contains(line, "#invitation=") {
			c.link = line
		}
		if url, ok := strings.CutPrefix(line, "serving at "); ok {
			c.url = url
			return c
		}
	}
	t.Fatalf("the server did not come up: %v", c.cmd.Wait())
	return nil
}

func (c *child) kill() {
	_ = c.cmd.Process.Kill() // it may have ended
	_ = c.cmd.Wait()         // "signal: killed"
}

// TestKill kills a server, by SIGKILL, while two tablets push, and starts it again: what was acknowledged is there, the same on both, and everything proves.
func TestKill(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program")
	}
	t.Parallel() // waits for disks and processes
	program := buildProgram(t)
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		t.Fatal(err)
	}
	w := &world{TB: t, logs: &lockedBuffer{}, data: t.TempDir(), schema: sch}
	c := startChild(t, program, w.data, w.logs)
	defer func() { c.kill() }()
	w.url = c.url
	_, code, _ := strings.Cut(c.link, "#invitation=")
	w.admin = w.claim(code, "ada")
	eve := w.hire("eve", accessv1.Role_ROLE_INJECTOR)
	w.clinic = w.firstClinic(eve)
	tabs := []*tablet{w.tablet(eve), w.tablet(eve)}
	for _, tab := range tabs {
		tab.sync()
	}
	made := map[string]bool{}
	for round := range killRounds() {
		var all sync.WaitGroup
		var mu sync.Mutex
		acked := make(chan struct{}, 10_000)
		for i, tab := range tabs {
			all.Go(func() {
				for n := range 5_000 {
					short := strconv.Itoa(round) + "-" + strconv.Itoa(i) + "-" + strconv.Itoa(n)
					mu.Lock()
					made[short] = true
					mu.Unlock()
					tab.edit(newRecord(kindVial), vial(short))
					if tab.trySync() != nil {
						return // it was killed; what is unsent stays
					}
					acked <- struct{}{}
				}
			})
		}
		for range 1 + round*7%25 {
			<-acked
		}
		c.kill()
		all.Wait()
		began := time.Now()
		c = startChild(t, program, w.data, w.logs)
		took := time.Since(began)
		if took > 5*time.Second {
			t.Errorf("round %d: started in %v, want at most 5 s", round, took)
		}
		w.url = c.url
		for _, tab := range tabs {
			tab.signIn()
			tab.sync()
		}
		tabs[0].sync()
		sameDigest(t, tabs...)
		t.Logf("round %d: %d pushes acknowledged, started again in %v", round, 1+round*7%25+len(acked), took.Round(time.Millisecond))
	}
	fresh := w.tablet(w.signIn("eve"))
	fresh.sync()
	var want []string
	for short := range made {
		want = append(want, short)
	}
	slices.Sort(want)
	if got := vials(fresh); !slices.Equal(got, want) {
		t.Errorf("%d vials on a fresh tablet, %d were made", len(got), len(want))
	}
	c.kill()
	if r, err := server.VerifyFolder(t.Context(), w.data, time.Now); err != nil {
		t.Errorf("verify: %+v %v", r, err)
	} else {
		t.Logf("verified %d events, %d pages, %d audit entries", r.Events, r.Pages, r.AuditEntries)
	}
}

// firstClinic is the clinic that the first start made, as anyone of the organisation reads it.
func (w *world) firstClinic(p *person) string {
	w.Helper()
	chart := chartv1connect.NewChartServiceClient(w.client(p.token), w.url)
	list, err := chart.ListRecords(w.Context(), &chartv1.ListRecordsRequest{Kind: optionsv1.RecordKind_RECORD_KIND_CLINIC})
	if err != nil || len(list.GetViews()) != 1 {
		w.Fatalf("clinics: %v %v", list, err)
	}
	return list.GetViews()[0].GetRecord().GetClinic().GetId()
}
