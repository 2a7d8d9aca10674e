package main

import (
	"crypto/rand"
	"encoding/pem"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/rogpeppe/go-internal/testscript"

	"needlebook/internal/auth"
)

// TestAccessScripts runs testdata/access/*.txt against a real server, with the commands of TestReplicaScripts and one more:
//
//	link VAR    set VAR to the one-time link that the last command printed, and SECRET to the code in it
func TestAccessScripts(t *testing.T) {
	runClinicScripts(t, "access", scriptCommands{"link": scriptLink})
}

// oneTimeLink is a link as people are shown it, alone on its line.
var oneTimeLink = regexp.MustCompile(`(?m)^  (https?://\S+#invitation=(\S+))$`)

func scriptLink(ts *testscript.TestScript, neg bool, args []string) {
	found := oneTimeLink.FindStringSubmatch(ts.ReadFile("stdout"))
	if neg || len(args) != 1 || found == nil {
		ts.Fatalf("usage: link VAR, after a command that printed a link")
	}
	ts.Setenv(args[0], found[1])
	ts.Setenv("SECRET", found[2])
}

// People's output keeps to 80 columns whatever people are called.
func TestAccessOutput(t *testing.T) {
	c := startClinic(t, filepath.Join(t.TempDir(), "Room 1"))
	password := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(password, []byte(testPassword), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{
		{"staff", "add", "--full-name", strings.Repeat("Ünïcödé", 20) + " 左右", "--role", "front_desk", "--role", "assistant"},
		{"staff", "list"}, {"code"}, {"code", "--kind", "tablet", "--clinic", c.home}, {"devices", "--all"},
	} {
		args := append(append([]string{"access"}, args...), "--server", c.url, "--name", "root", "--password-file", password)
		code, stdout, stderr := runHere(t, "", args...)
		if code != exitDone || stdout == "" {
			t.Fatalf("%v: exit %d: %s", args, code, stderr)
		}
		for line := range strings.Lines(stdout) {
			if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > columns || strings.ContainsAny(line, "\x1b\u00a0") {
				t.Errorf("%v: %d columns: %q", args, n, line)
			}
		}
	}
}

// A password goes only to a server whose certificate is trusted, and to no address that the server sends the caller on to.
func TestAccessTrust(t *testing.T) {
	calls := 0
	elsewhere := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { calls++ }))
	defer elsewhere.Close()
	s := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		calls += 100
		http.Redirect(w, r, elsewhere.URL, http.StatusTemporaryRedirect)
	}))
	defer s.Close()
	dir := t.TempDir()
	password, authority := filepath.Join(dir, "password"), filepath.Join(dir, "authority.pem")
	certificate := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw})
	if err := errors.Join(os.WriteFile(password, []byte(testPassword), 0o600), os.WriteFile(authority, certificate, 0o600)); err != nil {
		t.Fatal(err)
	}
	args := []string{"access", "devices", "--server", s.URL, "--name", "root", "--password-file", password}
	if code, _, stderr := runHere(t, "", args...); code != exitAway || calls != 0 {
		t.Errorf("exit %d, want %d; calls %d, want 0: %s", code, exitAway, calls, stderr)
	}
	if code, _, stderr := runHere(t, "", append(args, "--ca", authority)...); code != exitAway || calls != 100 {
		t.Errorf("exit %d, want %d; calls %d, want 100: %s", code, exitAway, calls, stderr)
	}
}

// FuzzServerAddress: what is read is an address that is read again alike, and is https or this machine.
func FuzzServerAddress(f *testing.F) {
	for _, text := range []string{"https://needlebook.local:8740/", "http://127.0.0.1:8740", "http://[::1]:1", "http://a@localhost", "https://a/b", "http://x", ""} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		address, err := serverAddress("test", "--server", text)
		if err != nil {
			if exitCode(err) != exitUsage {
				t.Fatal(err)
			}
			return
		}
		again, err := serverAddress("test", "--server", address)
		if err != nil || again != address || strings.ContainsAny(address, "@?#") {
			t.Fatalf("%q was read as %q, then as %q: %v", text, address, again, err)
		}
	})
}

// A shell reads what was quoted as one word, and takes nothing behind a # for a comment.
func TestAccessShellWord(t *testing.T) {
	code, err := auth.NewCode(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	link := auth.InvitationURL("http://127.0.0.1:8740", code)
	for text, want := range map[string]string{link: "'" + link + "'", "a.pem": "a.pem", "it's": `'it'\''s'`, "": "''", "a b": "'a b'"} {
		if got := shellWord(text); got != want {
			t.Errorf("%q: %s, want %s", text, got, want)
		}
	}
}
