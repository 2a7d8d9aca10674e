package durable_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"needlebook/internal/durable"
)

// childDir is set by TestOrder for its own process.
const childDir = "NEEDLEBOOK_DURABLE_CHILD"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if err := child(dir); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

func child(dir string) error {
	if err := durable.WriteFile(filepath.Join(dir, "written"), []byte("content"), 0o600); err != nil {
		return err
	}
	temp := filepath.Join(dir, "temp")
	if err := os.WriteFile(temp, []byte("content"), 0o600); err != nil {
		return err
	}
	return errors.Join(durable.Publish(temp, filepath.Join(dir, "published")), durable.MkdirAll(filepath.Join(dir, "a", "b"), 0o700))
}

// TestOrder compares the system calls with those that the package promises.
func TestOrder(t *testing.T) {
	dir, trace := t.TempDir(), filepath.Join(t.TempDir(), "trace")
	c := exec.Command("strace", "-f", "-y", "-qq", "-o", trace, "-e", "trace=fsync,rename,renameat,linkat,mkdirat", os.Args[0])
	c.Env = append(os.Environ(), childDir+"="+dir)
	if out, err := c.CombinedOutput(); err != nil {
		if os.Getenv("CI") != "" && os.Getenv("NEEDLEBOOK_LONG") != "" {
			t.Fatalf("strace is needed for the long proof: %v %s", err, out)
		}
		t.Skipf("SKIPPED: THE ORDER OF SYSTEM CALLS WAS NOT SEEN, strace does not run here: %v %s", err, out)
	}
	calls, err := os.ReadFile(trace)
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"fsync .new", "rename written", "fsync dir", // WriteFile
		"linkat published", "fsync dir", // Publish
		"mkdirat a", "fsync dir", "mkdirat b", "fsync a", // MkdirAll
	}
	if got := summary(string(calls), dir); !slices.Equal(got, want) {
		t.Errorf("calls %q, want %q\n%s", got, want, calls)
	}
}

// summary names each call and the last file that it was given.
func summary(trace, dir string) (calls []string) {
	call := regexp.MustCompile(`(fsync|rename|renameat|linkat|mkdirat)\((.*)\) += 0`)
	path := regexp.MustCompile(regexp.QuoteMeta(dir) + `[^">,]*`)
	for line := range strings.Lines(trace) {
		m := call.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		paths := path.FindAllString(m[2], -1)
		name := "dir"
		if last := paths[len(paths)-1]; last != dir {
			name = filepath.Base(last)
		}
		if strings.HasPrefix(name, durable.TempPrefix) {
			name = ".new"
		}
		calls = append(calls, strings.Replace(m[1], "renameat", "rename", 1)+" "+name)
	}
	return calls
}

func TestWriteFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	for _, content := range []string{"old", "", "new"} {
		if err := durable.WriteFile(path, []byte(content), 0o640); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		info, errStat := os.Stat(path)
		if string(got) != content || err != nil || errStat != nil || info.Mode().Perm() != 0o640 {
			t.Errorf("read %q, %v, mode %v, %v; want %q", got, err, info.Mode(), errStat, content)
		}
	}
	wantNames(t, filepath.Dir(path), "file")
	if err := durable.WriteFile(filepath.Join(path, "below"), nil, 0o600); err == nil {
		t.Error("wrote below a file")
	}
	if err := errors.Join(os.Remove(path), os.Mkdir(path, 0o700)); err != nil {
		t.Fatal(err)
	}
	if err := durable.WriteFile(path, nil, 0o600); err == nil {
		t.Error("replaced a folder by a file")
	}
	wantNames(t, filepath.Dir(path), "file")
}

// TestPublish keeps what was there first and removes the loser.
func TestPublish(t *testing.T) {
	dir := t.TempDir()
	path, temp := filepath.Join(dir, "file"), filepath.Join(dir, "temp")
	for i, content := range []string{"first", "second"} {
		if err := os.WriteFile(temp, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := durable.Publish(temp, path); errors.Is(err, fs.ErrExist) != (i == 1) || i == 0 && err != nil {
			t.Errorf("Publish of the %s: %v", content, err)
		}
	}
	if got, err := os.ReadFile(path); string(got) != "first" || err != nil {
		t.Errorf("read %q, %v", got, err)
	}
	wantNames(t, dir, "file")
}

func TestMkdirAll(t *testing.T) {
	dir := t.TempDir()
	deep := filepath.Join(dir, "a", "b", "c")
	for range 2 {
		if err := durable.MkdirAll(deep, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if info, err := os.Stat(deep); err != nil || !info.IsDir() {
		t.Errorf("%v, %v", info, err)
	}
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{file, filepath.Join(file, "below")} {
		if err := durable.MkdirAll(path, 0o700); err == nil {
			t.Errorf("made a folder of a file: %s", path)
		}
	}
}

func wantNames(t *testing.T, dir string, want ...string) {
	t.Helper()
	var got []string
	entries, err := os.ReadDir(dir)
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("files %q, %v, want %q", got, err, want)
	}
}
