package server_test

import (
	"bufio"
	"io"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	accessv1 "needlebook/gen/needlebook/access/v1"
)

// The environment that these tests read, all of it here:
//
//	NEEDLEBOOK_LONG         set: also the waits of more than a few seconds
//	NEEDLEBOOK_KILL_ROUNDS  how often TestKill kills a server; 3 when unset
func isLong() bool { return os.Getenv("NEEDLEBOOK_LONG") != "" }

// dial opens a connection to the server and sends text.
func (w *world) dial(text string) net.Conn {
	w.Helper()
	c, err := net.Dial("tcp", strings.TrimPrefix(w.url, "http://"))
	if err != nil {
		w.Fatal(err)
	}
	w.Cleanup(func() { c.Close() })
	if _, err := io.WriteString(c, text); err != nil {
		w.Fatal(err)
	}
	return c
}

// closedWithin waits for the server to end a connection.
func closedWithin(t *testing.T, c net.Conn, most time.Duration) {
	t.Helper()
	began := time.Now()
	if err := c.SetReadDeadline(began.Add(most)); err != nil {
		t.Fatal(err)
	}
	_, err := io.Copy(io.Discard, c)
	if e, ok := err.(net.Error); ok && e.Timeout() {
		t.Errorf("still open after %v", most)
	}
	t.Logf("ended after %v", time.Since(began).Round(time.Millisecond))
}

const slowCall = "POST /needlebook.access.v1.AccessService/SignIn HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n"

func TestRow16_SlowHeader(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	closedWithin(t, w.dial("POST / HTTP/1.1\r\nHost: x\r\nX-Slow: "), 7*time.Second)
}

func TestRow16_HeaderTooLarge(t *testing.T) {
	w := newWorld(t)
	c := w.dial("GET / HTTP/1.1\r\nHost: x\r\nX: " + strings.Repeat("a", 40<<10))
	resp, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil || resp.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("%v %v", resp, err)
	}
}

func TestRow16_SlowBody(t *testing.T) {
	if !isLong() {
		t.Skip("waits for 20 s; NEEDLEBOOK_LONG is not set")
	}
	t.Parallel()
	w := newWorld(t)
	still, drip := w.dial(slowCall+"\r\n{"), w.dial(slowCall+"\r\n{")
	go func() { // one byte a second, until the server has enough
		for range time.Tick(time.Second) {
			if _, err := io.WriteString(drip, " "); err != nil {
				return
			}
		}
	}()
	closedWithin(t, still, 12*time.Second)
	closedWithin(t, drip, 12*time.Second)
}

func TestRow16_HalfClosed(t *testing.T) {
	w := newWorld(t)
	c := w.dial(slowCall + "\r\n{")
	if err := c.(*net.TCPConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	closedWithin(t, c, 3*time.Second)
}

// TestRow16_IdleConnections holds as many connections as one address may, and more; others come through, and who holds them is cut off at the limit.
func TestRow16_IdleConnections(t *testing.T) {
	w := newWorld(t)
	honest := w.hire("lea", accessv1.Role_ROLE_MEDICAL_LEAD) // its connection is open already
	var idle []net.Conn
	for range 600 {
		c, err := net.Dial("tcp", strings.TrimPrefix(w.url, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		idle = append(idle, c)
	}
	var took []time.Duration
	for range 50 {
		began := time.Now()
		if _, err := honest.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageSize: 1}); err != nil {
			t.Fatal(err)
		}
		took = append(took, time.Since(began))
	}
	slices.Sort(took)
	t.Logf("beside %d idle connections: median %v, slowest %v", len(idle), took[len(took)/2], took[len(took)-1])
	if took[len(took)-1] > time.Second {
		t.Errorf("slowest call %v", took[len(took)-1])
	}
	cut := 0
	for _, c := range idle {
		_ = c.SetReadDeadline(time.Now().Add(2 * time.Millisecond))
		if _, err := c.Read(make([]byte, 1)); err != nil {
			if e, ok := err.(net.Error); !ok || !e.Timeout() {
				cut++
			}
		}
	}
	if cut < 80 {
		t.Errorf("%d of 600 were cut off, want all beyond 512 of one address", cut)
	}
}

// TestRow16_OneClientCannotStarveOthers: of more calls at once than one may run the rest are refused, and an other's go on.
func TestRow16_OneClientCannotStarveOthers(t *testing.T) {
	w := newWorld(t)
	greedy, honest := w.hire("eve", accessv1.Role_ROLE_AUDITOR), w.hire("lea", accessv1.Role_ROLE_AUDITOR)
	results := make(chan error, 64)
	for range cap(results) {
		go func() {
			for range 3 {
				if _, err := greedy.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageSize: 1000}); err != nil {
					results <- err
					return
				}
			}
			results <- nil
		}()
	}
	var slowest time.Duration
	for range 20 {
		began := time.Now()
		if _, err := honest.access().ListAudit(t.Context(), &accessv1.ListAuditRequest{PageSize: 1}); err != nil {
			t.Errorf("the other: %v", err)
		}
		slowest = max(slowest, time.Since(began))
	}
	refused := 0
	for range cap(results) {
		if err := <-results; err != nil {
			refused++
			if retryOf(err) == 0 {
				t.Errorf("refused without a time to wait: %v", err)
			}
		}
	}
	t.Logf("%d of 64 refused, the other's slowest call %v", refused, slowest)
	if refused == 0 {
		t.Error("64 at once were all let through")
	}
}
