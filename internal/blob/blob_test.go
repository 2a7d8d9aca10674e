package blob_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"pgregory.net/rapid"

	"needlebook/internal/blob"
)

func mustOpen(t testing.TB, path string) *blob.Dir {
	t.Helper()
	d, err := blob.Open(blob.Config{Path: path, MaxBlobBytes: 1 << 20, MaxChunkBytes: 1 << 16})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// photo is n bytes that look random, and their hash.
func photo(seed uint64, n int) ([]byte, blob.Hash) {
	b := make([]byte, n)
	rng := rand.New(rand.NewPCG(seed, 1))
	for i := range b {
		b[i] = byte(rng.Uint32())
	}
	return b, sha256.Sum256(b)
}

func mustPut(t testing.TB, d *blob.Dir, data []byte, h blob.Hash) {
	t.Helper()
	for at := 0; at < len(data); at += 1 << 16 {
		end := min(at+1<<16, len(data))
		complete, err := d.PutChunk(h, int64(len(data)), int64(at), data[at:end])
		if err != nil || complete != (end == len(data)) {
			t.Fatalf("PutChunk at %d of %d: %v, %v", at, len(data), complete, err)
		}
	}
}

// TestHash_Vector is the example "abc" of FIPS 180-4's published SHA-256 test values (csrc.nist.gov, from memory).
func TestHash_Vector(t *testing.T) {
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	h, err := blob.ParseHash(want)
	if err != nil {
		t.Fatal(err)
	}
	d := mustOpen(t, t.TempDir())
	mustPut(t, d, []byte("abc"), h)
	if got, err := d.Get(h, 1, 2); string(got) != "bc" || err != nil || h.String() != want {
		t.Errorf("Get = %q, %v", got, err)
	}
}

// TestChunks_AnyOrder puts random, overlapping, repeated chunks, opening the folder anew in between. A bitmap is the
// slow obvious twin of Missing.
func TestChunks_AnyOrder(t *testing.T) {
	base := t.TempDir()
	seed := uint64(0)
	rapid.Check(t, func(t *rapid.T) {
		seed++
		root := filepath.Join(base, strconv.FormatUint(seed, 10)) // of its own: two photos of a byte may be the same one
		data, h := photo(seed, rapid.IntRange(1, 300).Draw(t, "size"))
		size := int64(len(data))
		var d *blob.Dir
		reopen := func() {
			var err error
			if d, err = blob.Open(blob.Config{Path: root, MaxChunkBytes: 128}); err != nil {
				t.Fatal(err)
			}
		}
		reopen()
		have := make([]bool, size)
		for slices.Contains(have, false) {
			want := gaps(have)
			got, err := d.Missing(h, size)
			if err != nil || !slices.Equal(got, want) {
				t.Fatalf("Missing = %v, %v, want %v", got, err, want)
			}
			if _, err := d.Get(h, 0, 1); !errors.Is(err, blob.ErrNotFound) {
				t.Fatalf("Get of an incomplete blob: %v", err)
			}
			offset := rapid.Int64Range(0, size-1).Draw(t, "offset")
			if rapid.Bool().Draw(t, "wanted") {
				offset = want[0].Offset
			}
			n := rapid.Int64Range(1, min(128, size-offset)).Draw(t, "bytes")
			for i := offset; i < offset+n; i++ {
				have[i] = true
			}
			complete, err := d.PutChunk(h, size, offset, data[offset:offset+n])
			if err != nil || complete != !slices.Contains(have, false) {
				t.Fatalf("PutChunk(%d, %d bytes) = %v, %v", offset, n, complete, err)
			}
			if rapid.IntRange(0, 4).Draw(t, "reopen") == 0 {
				reopen()
			}
		}
		offset := rapid.Int64Range(0, size-1).Draw(t, "from")
		n := rapid.Int64Range(1, 128).Draw(t, "n")
		got, err := d.Get(h, offset, n)
		if err != nil || !bytes.Equal(got, data[offset:min(offset+n, size)]) {
			t.Fatalf("Get(%d, %d): %d bytes, %v", offset, n, len(got), err)
		}
		if again, err := d.PutChunk(h, size, 0, data[:1]); !again || err != nil {
			t.Fatalf("a chunk of a complete blob: %v, %v", again, err)
		}
		if err := d.Check(context.Background()); err != nil {
			t.Fatal(err)
		}
	})
}

func gaps(have []bool) (gaps []blob.Range) {
	for i, ok := range have {
		if ok {
			continue
		}
		if n := len(gaps); n > 0 && gaps[n-1].End == int64(i) {
			gaps[n-1].End++
		} else {
			gaps = append(gaps, blob.Range{Offset: int64(i), End: int64(i) + 1})
		}
	}
	return gaps
}

// TestMismatch sends what is not the blob: it is dropped, nothing is served, and the true one may follow.
func TestMismatch(t *testing.T) {
	d := mustOpen(t, t.TempDir())
	data, h := photo(1, 1000)
	wrong := bytes.Clone(data)
	wrong[999] ^= 1
	if complete, err := d.PutChunk(h, 1000, 0, wrong[:500]); complete || err != nil {
		t.Fatal(complete, err)
	}
	complete, err := d.PutChunk(h, 1000, 500, wrong[500:])
	var mismatch *blob.MismatchError
	if complete || !errors.As(err, &mismatch) || mismatch.Want != h || mismatch.Got != sha256.Sum256(wrong) {
		t.Fatalf("PutChunk = %v, %v, want MismatchError", complete, err)
	}
	if _, err := d.Get(h, 0, 1); !errors.Is(err, blob.ErrNotFound) {
		t.Errorf("Get = %v", err)
	}
	if got, err := d.Missing(h, 1000); err != nil || !slices.Equal(got, []blob.Range{{Offset: 0, End: 1000}}) {
		t.Errorf("Missing = %v, %v", got, err)
	}
	mustPut(t, d, data, h)
}

// TestDamage alters a complete blob in every way that keeps its name.
func TestDamage(t *testing.T) {
	root := t.TempDir()
	d := mustOpen(t, root)
	data, h := photo(2, 200_000)
	mustPut(t, d, data, h)
	path := filepath.Join(root, h.String()[:2], h.String())
	for name, altered := range map[string][]byte{
		"one bit": append(bytes.Clone(data[:199_999]), data[199_999]^1), "shorter": data[:199_999], "longer": append(bytes.Clone(data), 0),
	} {
		if err := errors.Join(os.Chmod(path, 0o600), os.WriteFile(path, altered, 0o600)); err != nil {
			t.Fatal(err)
		}
		got, err := d.Get(h, 0, 10)
		var damaged *blob.DamagedError
		if got != nil || !errors.As(err, &damaged) || damaged.Hash != h || damaged.Got != sha256.Sum256(altered) {
			t.Errorf("%s: Get = %d bytes, %v", name, len(got), err)
		}
		if err := d.Check(t.Context()); !errors.Is(err, blob.ErrDamaged) {
			t.Errorf("%s: Check = %v", name, err)
		}
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := d.Check(t.Context()); err != nil {
		t.Errorf("Check of the whole blob: %v", err)
	}
	if err := os.WriteFile(filepath.Join(root, h.String()[:2], "stranger"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := d.Check(t.Context()); err == nil {
		t.Error("Check passes a file that is no blob")
	}
}

// TestLimits has a row for each rule, and one that just passes.
func TestLimits(t *testing.T) {
	d := mustOpen(t, t.TempDir())
	data, h := photo(3, 1<<16+1)
	for _, test := range []struct {
		name         string
		size, offset int64
		data         []byte
		field        string
	}{
		{"no size", 0, 0, data[:1], "size"},
		{"negative size", -1, 0, data[:1], "size"},
		{"size over limit", 1<<20 + 1, 0, data[:1], "size"},
		{"size at limit", 1 << 20, 0, data[:1], ""},
		{"negative offset", 10, -1, data[:1], "offset"},
		{"offset at end", 10, 10, data[:1], "offset"},
		{"last byte", 10, 9, data[:1], ""},
		{"no bytes", 10, 0, nil, "chunk bytes"},
		{"past the end", 10, 9, data[:2], "chunk bytes"},
		{"chunk over limit", 1 << 20, 0, data, "chunk bytes"},
		{"chunk at limit", 1 << 20, 1, data[:1<<16], ""},
		{"overflow", 1 << 20, 1<<63 - 1, data[:2], "offset"},
	} {
		_, err := d.PutChunk(h, test.size, test.offset, test.data)
		var out *blob.RangeError
		if errors.As(err, &out) != (test.field != "") || out != nil && out.Field != test.field || out == nil && err != nil {
			t.Errorf("%s: %v, want field %q", test.name, err, test.field)
		}
	}
	mustPut(t, d, data, h)
	for _, err := range []error{
		second(d.PutChunk(h, 5, 0, data[:5])), second(d.Missing(h, 5)), second(d.Get(h, 1<<16+1, 1)), second(d.Get(h, -1, 1)),
		second(d.Get(h, 0, 0)), second(d.Get(h, 0, 1<<16+1)),
	} {
		if !errors.Is(err, blob.ErrRange) {
			t.Errorf("%v, want ErrRange", err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// TestManyTinyChunks stops a tablet that would fill the folder with files.
func TestManyTinyChunks(t *testing.T) {
	d := mustOpen(t, t.TempDir())
	data, h := photo(4, 10_000)
	var err error
	n := int64(0)
	for ; err == nil && n < 10_000; n++ {
		_, err = d.PutChunk(h, 10_000, n, data[n:n+1])
	}
	if !errors.Is(err, blob.ErrRange) || n != 513 {
		t.Errorf("chunk %d: %v, want ErrRange at 513", n, err)
	}
}

// TestSweep removes what is older than the given time and nothing else.
func TestSweep(t *testing.T) {
	root := filepath.Join(t.TempDir(), "odd [name]*")
	d := mustOpen(t, root)
	whole, hw := photo(5, 1000)
	mustPut(t, d, whole, hw)
	old, ho := photo(6, 1000)
	fresh, hf := photo(7, 1000)
	for h, data := range map[blob.Hash][]byte{ho: old, hf: fresh} {
		if _, err := d.PutChunk(h, 1000, 0, data[:100]); err != nil {
			t.Fatal(err)
		}
	}
	temp := filepath.Join(root, hw.String()[:2], ".new-123")
	if err := os.WriteFile(temp, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	longAgo := time.Now().Add(-time.Hour)
	for _, path := range []string{temp, filepath.Join(root, "partial", fmt.Sprintf("%v-1000", ho)), filepath.Join(root, hw.String()[:2], hw.String())} {
		if err := os.Chtimes(path, longAgo, longAgo); err != nil {
			t.Fatal(err)
		}
	}
	if n, err := d.Sweep(t.Context(), longAgo.Add(time.Minute)); n != 2 || err != nil {
		t.Errorf("Sweep = %d, %v, want 2", n, err)
	}
	missing := func(h blob.Hash) int64 {
		gaps, err := d.Missing(h, 1000)
		if err != nil || len(gaps) != 1 {
			t.Fatalf("Missing = %v, %v", gaps, err)
		}
		return gaps[0].End - gaps[0].Offset
	}
	if missing(ho) != 1000 || missing(hf) != 900 {
		t.Errorf("old %d, fresh %d bytes missing, want 1000, 900", missing(ho), missing(hf))
	}
	if err := d.Check(t.Context()); err != nil {
		t.Error(err)
	}
}

// TestTogether sends one blob from many tablets at once, and others beside it.
func TestTogether(t *testing.T) {
	d := mustOpen(t, t.TempDir())
	data, h := photo(8, 5000)
	var all sync.WaitGroup
	for i := range 16 {
		all.Go(func() {
			own, ho := photo(uint64(100+i), 500)
			for at := 0; at < 5000; at += 500 {
				if _, err := d.PutChunk(h, 5000, int64(at), data[at:at+500]); err != nil {
					t.Error(err)
				}
			}
			if complete, err := d.PutChunk(ho, 500, 0, own); !complete || err != nil {
				t.Error(complete, err)
			}
		})
	}
	all.Wait()
	if got, err := d.Get(h, 0, 5000); !bytes.Equal(got, data) || err != nil {
		t.Errorf("Get = %d bytes, %v", len(got), err)
	}
	count := 0
	if err := d.Each(t.Context(), func(blob.Hash, int64) error { count++; return nil }); err != nil || count != 17 {
		t.Errorf("Each met %d blobs, %v, want 17", count, err)
	}
}

// TestDiskFull uses the file size limit of this process, which the system answers as it does a full disk. It runs in a
// child so as not to limit the tests beside it.
func TestDiskFull(t *testing.T) {
	root := t.TempDir()
	data, h := photo(9, 50_000)
	out, err := runChild(t, childFull+"="+root).CombinedOutput()
	if err != nil {
		t.Fatalf("child: %v, %s", err, out)
	}
	d := mustOpen(t, root)
	if gaps, err := d.Missing(h, 50_000); err != nil || !slices.Equal(gaps, []blob.Range{{Offset: 1000, End: 50_000}}) {
		t.Errorf("Missing = %v, %v", gaps, err)
	}
	mustPut(t, d, data, h)
}

// childWhenFull puts a chunk that fits and one that does not.
func childWhenFull(root string) error {
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 4096, Max: 4096}); err != nil {
		return err
	}
	d, err := blob.Open(blob.Config{Path: root})
	if err != nil {
		return err
	}
	data, h := photo(9, 50_000)
	if _, err := d.PutChunk(h, 50_000, 0, data[:1000]); err != nil {
		return err
	}
	if _, err := d.PutChunk(h, 50_000, 1000, data[1000:]); !errors.Is(err, blob.ErrDiskFull) {
		return fmt.Errorf("chunk that does not fit: %w", cmpErr(err))
	}
	return nil
}

func cmpErr(err error) error {
	if err == nil {
		return errors.New("taken")
	}
	return err
}

func FuzzParseHash(f *testing.F) {
	f.Add("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
	f.Add("BA7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
	f.Add("../../../../../../../../../../../../../../../../../etc/passwd..")
	f.Fuzz(func(t *testing.T, s string) {
		h, err := blob.ParseHash(s)
		if err == nil && h.String() != s {
			t.Errorf("ParseHash(%q) writes %v", s, h)
		}
		if err != nil && h != (blob.Hash{}) {
			t.Errorf("ParseHash(%q) = %v with an error", s, h)
		}
	})
}
