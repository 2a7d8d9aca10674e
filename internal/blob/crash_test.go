package blob_test

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"needlebook/internal/blob"
)

// The environment that these tests read:
//
//	NEEDLEBOOK_KILL_ROUNDS  how often TestKill kills a process; 8 when unset, 1000 in the long proof
//	childPuts, childFull    set by the tests for their own processes
const (
	childPuts = "NEEDLEBOOK_BLOB_CHILD"
	childFull = "NEEDLEBOOK_BLOB_CHILD_FULL"
)

func TestMain(m *testing.M) {
	if root := os.Getenv(childFull); root != "" {
		if err := childWhenFull(root); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if root := os.Getenv(childPuts); root != "" {
		fmt.Println(childWhenPutting(root))
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// runChild is this test program again, with one more variable in its environment.
func runChild(t *testing.T, env string) *exec.Cmd {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), env)
	return c
}

const childChunkBytes, childChunks = 700, 5

// childWhenPutting puts blob after blob for ever, last chunk first, and prints each chunk once it is taken.
func childWhenPutting(root string) error {
	d, err := blob.Open(blob.Config{Path: root})
	if err != nil {
		return err
	}
	for seed := uint64(0); ; seed++ {
		data, h := photo(seed, childChunkBytes*childChunks)
		for i := childChunks - 1; i >= 0; i-- {
			at := i * childChunkBytes
			complete, err := d.PutChunk(h, int64(len(data)), int64(at), data[at:at+childChunkBytes])
			if err != nil {
				return err
			}
			fmt.Println("took", seed, i, complete)
		}
	}
}

// TestKill kills a process that puts blobs, again and again over one folder: each chunk that was taken is still there,
// each blob that was complete is, nothing else is served, and Check is clean.
func TestKill(t *testing.T) {
	seed := rand.Uint64()
	rng := rand.New(rand.NewPCG(seed, 0))
	rounds := 8
	if n, err := strconv.Atoi(os.Getenv("NEEDLEBOOK_KILL_ROUNDS")); err == nil {
		rounds = n
	}
	took, began := 0, time.Now()
	for round := range rounds {
		root := filepath.Join(t.TempDir(), "blobs")
		lines := puts(t, root, 1+rng.IntN(40))
		took += len(lines)
		verify(t, root, lines)
		if t.Failed() {
			t.Fatalf("round %d of seed %d", round, seed)
		}
	}
	t.Logf("%d kills, %d chunks taken, %v", rounds, took, time.Since(began).Round(time.Millisecond))
}

// taken is a line of the child.
type taken struct {
	seed     uint64
	chunk    int
	complete bool
}

// puts runs the child until it has taken n chunks, kills it, and returns what it said.
func puts(t *testing.T, root string, n int) (lines []taken) {
	t.Helper()
	c := runChild(t, childPuts+"="+root)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	defer time.AfterFunc(time.Minute, func() { _ = c.Process.Kill() }).Stop()
	for s := bufio.NewScanner(out); s.Scan(); {
		var line taken
		if _, err := fmt.Sscanf(s.Text(), "took %d %d %t", &line.seed, &line.chunk, &line.complete); err != nil {
			t.Errorf("child said %q", s.Text())
		}
		if lines = append(lines, line); len(lines) == n {
			_ = c.Process.Signal(syscall.SIGKILL)
		}
	}
	_ = c.Wait() // killed
	return lines
}

func verify(t *testing.T, root string, lines []taken) {
	t.Helper()
	d := mustOpen(t, root)
	if err := d.Check(t.Context()); err != nil {
		t.Errorf("Check: %v", err)
	}
	for _, line := range lines {
		data, h := photo(line.seed, childChunkBytes*childChunks)
		at := int64(line.chunk) * childChunkBytes
		gaps, err := d.Missing(h, int64(len(data)))
		if err != nil || len(gaps) > 0 && gaps[0].End > at {
			t.Errorf("blob %d chunk %d was taken, yet is missing in %v, %v", line.seed, line.chunk, gaps, err)
		}
		got, err := d.Get(h, 0, int64(len(data)))
		if line.complete && (err != nil || !bytes.Equal(got, data)) || err != nil && !errors.Is(err, blob.ErrNotFound) {
			t.Errorf("blob %d: %d bytes, %v", line.seed, len(got), err)
		}
	}
	last := lines[len(lines)-1].seed
	data, h := photo(last, childChunkBytes*childChunks)
	mustPut(t, d, data, h) // whatever was left, it can be sent anew
}
