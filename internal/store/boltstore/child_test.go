package boltstore_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// The environment that these tests read, all of it here:
//
//	NEEDLEBOOK_KILL_ROUNDS  how often TestKill kills a process; 12 when unset, 1000 in the long proof
//	NEEDLEBOOK_LONG         set: many more fault points and images
//	CI                      set together with NEEDLEBOOK_LONG: a missing strace is a failure, not a skip
//	childPath, childWriters set by the tests for the processes that they kill
const (
	childPath    = "NEEDLEBOOK_STORE_CHILD"
	childWriters = "NEEDLEBOOK_STORE_CHILD_WRITERS"
)

func isLong() bool { return os.Getenv("NEEDLEBOOK_LONG") != "" }

func killRounds() int {
	if n, err := strconv.Atoi(os.Getenv("NEEDLEBOOK_KILL_ROUNDS")); err == nil {
		return n
	}
	return 12
}

func TestMain(m *testing.M) {
	if path := os.Getenv(childPath); path != "" {
		os.Exit(child(path))
	}
	os.Exit(m.Run())
}

// keptRows is how many rows each writer of the child keeps; it deletes the older ones.
const keptRows = 40

// child writes for ever from a few goroutines and prints a line once each write is acknowledged:
//
//	ack WRITER NUMBER | full | failed
func child(path string) int {
	s, err := boltstore.Open(boltstore.Config{Path: path, Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		fmt.Println("open:", err)
		return 3
	}
	writers, _ := strconv.Atoi(os.Getenv(childWriters))
	var all sync.WaitGroup
	for w := range writers {
		all.Go(func() { childWriter(s, byte(w)) })
	}
	all.Wait()
	return 4
}

func childWriter(s *boltstore.Store, writer byte) {
	for {
		var n uint64
		err := s.Update(context.Background(), func(w store.Writer) (err error) {
			n, err = appendRow(w, writer)
			return err
		})
		switch {
		case err == nil:
			fmt.Println("ack", writer, n)
		case errors.Is(err, store.ErrDiskFull):
			fmt.Println("full")
		default:
			fmt.Println("failed")
			return
		}
	}
}

// appendRow counts the writer's counter up by one and keeps a row of that number.
func appendRow(w store.Writer, writer byte) (uint64, error) {
	n, err := counter(w, writer)
	if err != nil {
		return 0, err
	}
	n++
	if n > keptRows {
		err = w.Delete(rowKey(writer, n-keptRows))
	}
	return n, errors.Join(err, w.Put(rowKey(writer, n), rowValue(writer, n)),
		w.Put([]byte{'n', writer}, binary.BigEndian.AppendUint64(nil, n)))
}

func counter(r store.Reader, writer byte) (uint64, error) {
	got, err := r.Get([]byte{'n', writer})
	if errors.Is(err, store.ErrNotFound) {
		return 0, nil
	} else if err != nil {
		return 0, err
	}
	return binary.BigEndian.Uint64(got), nil
}

func rowKey(writer byte, n uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte{'r', writer}, n)
}

// rowValue has a length and content that only this row has.
func rowValue(writer byte, n uint64) []byte {
	return bytes.Repeat([]byte{byte(n) | 1, writer, byte(n >> 8)}, 1+int(n*37%1000))
}

// said is what a child printed before it ended.
type said struct {
	acked  map[byte]uint64 // the last number acknowledged to each writer
	acks   int
	full   int // lines "full"
	after  int // acknowledgements after the first "full"
	failed int
	other  []string
}

// runChild starts the child under the command prefix (strace, or nothing) and kills it once enough says so. Numbers of
// a writer must follow each other: a write done twice would leave a gap.
func runChild(t *testing.T, path string, writers int, prefix []string, enough func(said) bool) said {
	t.Helper()
	args := append(append([]string{}, prefix...), os.Args[0])
	c := exec.Command(args[0], args[1:]...)
	c.Env = append(os.Environ(), childPath+"="+path, childWriters+"="+strconv.Itoa(writers), "GOTRACEBACK=none")
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // a killed strace would let its child run on
	kill := func() { _ = syscall.Kill(-c.Process.Pid, syscall.SIGKILL) }
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	s := said{acked: map[byte]uint64{}}
	defer time.AfterFunc(time.Minute, kill).Stop()
	if enough(s) {
		kill()
	}
	for lines := bufio.NewScanner(out); lines.Scan(); {
		s.hear(t, lines.Text())
		if enough(s) {
			kill()
		}
	}
	_ = c.Wait() // killed
	return s
}

func (s *said) hear(t *testing.T, line string) {
	t.Helper()
	var writer byte
	var n uint64
	switch _, err := fmt.Sscanf(line, "ack %d %d", &writer, &n); {
	case err == nil:
		if last, ok := s.acked[writer]; ok && n != last+1 {
			t.Errorf("writer %d: %d acknowledged after %d", writer, n, last)
		}
		s.acked[writer] = n
		s.acks++
		if s.full > 0 {
			s.after++
		}
	case line == "full":
		s.full++
	case line == "failed":
		s.failed++
	default:
		s.other = append(s.other, line)
	}
}

// verify opens what the child left, checks it, and compares it with what was acknowledged: each writer's counter stands
// at its last acknowledged number or at the one that was on its way, and its rows are those up to the counter, each
// once and whole. before are the counters when the child began. It returns the counters.
func verify(t *testing.T, path string, writers int, before map[byte]uint64, s said) map[byte]uint64 {
	t.Helper()
	st, err := boltstore.Open(boltstore.Config{Path: path, Now: time.Now, MinFreeBytes: -1})
	if err != nil {
		t.Fatalf("open what the kill left: %v", err)
	}
	defer st.Close()
	if err := st.Check(t.Context()); err != nil {
		t.Errorf("Check: %v", err)
	}
	counters := map[byte]uint64{}
	err = st.View(t.Context(), func(r store.Reader) error {
		for w := range byte(writers) {
			last := max(before[w], s.acked[w])
			n, err := counter(r, w)
			if err != nil || n < last || n > last+1 {
				t.Errorf("writer %d: counter %d, %v; acknowledged %d", w, n, err, last)
			}
			counters[w] = n
			verifyRows(t, r, w, n)
		}
		return nil
	})
	if err != nil {
		t.Fatalf("View: %v", err)
	}
	return counters
}

func verifyRows(t *testing.T, r store.Reader, writer byte, n uint64) {
	t.Helper()
	next := uint64(1)
	if n > keptRows {
		next = n - keptRows + 1
	}
	err := r.Scan([]byte{'r', writer}, []byte{'r', writer + 1}, func(key, value []byte) error {
		if !bytes.Equal(key, rowKey(writer, next)) || !bytes.Equal(value, rowValue(writer, next)) {
			return fmt.Errorf("row %x has %d bytes, want row %x", key, len(value), rowKey(writer, next))
		}
		next++
		return nil
	})
	if err != nil || next != n+1 {
		t.Errorf("writer %d: rows end at %d, counter %d: %v", writer, next-1, n, err)
	}
}
