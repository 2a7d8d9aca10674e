package main

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestDemoRunsOn reads what the demo says, lets everyone in whom it names with the password that it shows, and ends it as Ctrl-C does.
func TestDemoRunsOn(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	t.Cleanup(cancel)
	out, said := io.Pipe()
	code := make(chan int, 1)
	data := filepath.Join(t.TempDir(), "data")
	go func() {
		e := env{stdin: strings.NewReader(""), stdout: said, stderr: said, now: time.Now, getenv: os.Getenv}
		code <- dispatch(ctx, e, commands(), []string{"demo", "--seed", "6", "--patients", "40", "--dir", data})
		said.Close()
	}()
	url, password, accounts := readDemo(t, bufio.NewScanner(out))
	if len(accounts) != 9 {
		t.Errorf("%d sign-ins, want 9: %q", len(accounts), accounts)
	}
	for _, name := range accounts {
		body, err := json.Marshal(map[string]string{"sign_in_name": name, "password": password})
		if err != nil {
			t.Fatal(err)
		}
		resp, err := http.Post(url+"/needlebook.access.v1.AccessService/SignIn", "application/json", strings.NewReader(string(body)))
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != http.StatusOK {
			t.Errorf("%s: %s", name, resp.Status)
		}
	}
	http.DefaultClient.CloseIdleConnections()
	cancel()
	go func() { _, _ = io.Copy(io.Discard, out) }()
	if got := <-code; got != exitDone {
		t.Errorf("exit %d", got)
	}
	if _, err := os.Stat(filepath.Join(data, "needlebook.db")); err != nil {
		t.Errorf("the folder that was given is gone: %v", err)
	}
}

// readDemo reads up to the last thing to try.
func readDemo(t *testing.T, lines *bufio.Scanner) (url, password string, accounts []string) {
	t.Helper()
	var all []string
	listed := false
	for lines.Scan() {
		line := lines.Text()
		all = append(all, line)
		if _, rest, ok := strings.Cut(line, "The server runs on at "); ok {
			url, _, _ = strings.Cut(rest, " ")
		}
		if strings.HasSuffix(line, "the password of all is") && lines.Scan() {
			password = strings.TrimSpace(lines.Text())
		}
		listed = listed && !strings.Contains(line, "terminal") || line == "All sign-ins:"
		if fields := strings.Fields(line); listed && len(fields) > 3 {
			accounts = append(accounts, fields[0])
		}
		if strings.Contains(line, "SearchPatients") {
			return url, password, accounts
		}
	}
	t.Fatalf("the demo ended early:\n%s", strings.Join(all, "\n"))
	return "", "", nil
}
