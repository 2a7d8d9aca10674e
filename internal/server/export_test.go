package server_test

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"flag"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"needlebook/internal/blob"
	"needlebook/internal/demo"
	"needlebook/internal/server"
)

// exportPatients is how many patients the demo has whose data go out and in. The default is the fewest; a larger proof is
//
//	go test ./internal/server -run TestExport_ -v -export-patients 1000
var exportPatients = flag.Int("export-patients", demo.FewestPatients, "how many patients the demo has whose data go out and in")

// Everything that goes out comes in: each record has its digest, and what goes out of the new folder is the same files.
func TestExport_GoesOutAndInAndOutTheSame(t *testing.T) {
	if testing.Short() {
		t.Skip("plays a day on a server")
	}
	dir := t.TempDir()
	data, out, moved, again := filepath.Join(dir, "data"), filepath.Join(dir, "out"), filepath.Join(dir, "moved"), filepath.Join(dir, "again")
	d, err := demo.Play(t.Context(), demo.Config{Seed: 3, Patients: *exportPatients, Dir: data, Listen: "127.0.0.1:0", Out: io.Discard})
	if err != nil {
		t.Fatal(err)
	}
	console, err := server.OpenConsole(data)
	if err != nil {
		t.Fatal(err)
	}
	putPhoto(t, filepath.Join(data, "photos"))
	began := time.Now()
	x, err := console.Export(t.Context(), server.ExportRequest{To: out})
	if err != nil {
		t.Fatal(err)
	}
	wrote := time.Since(began)
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	began = time.Now()
	m, err := server.Import(t.Context(), out, moved, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	read := time.Since(began)
	t.Logf("%d records, %d photos, %d files, %d bytes: out in %v, in in %v", x.Records, x.Photos, x.Files, x.Bytes, wrote, read)
	if m.Manifest.Records != x.Records || m.Report.Records == 0 || x.Photos == 0 || m.Report.Photos != x.Photos {
		t.Errorf("out %+v, in %+v", x, m.Report)
	}
	if _, err := server.ExportFolder(t.Context(), moved, server.ExportRequest{To: again}, time.Now); err != nil {
		t.Fatal(err)
	}
	sameFiles(t, out, again)
	var there *server.ConfigError
	if _, err := server.Import(t.Context(), out, moved, time.Now); !errors.As(err, &there) {
		t.Errorf("over a folder: %v", err)
	}
	if _, err := server.ExportFolder(t.Context(), moved, server.ExportRequest{To: out}, time.Now); !errors.As(err, &there) {
		t.Errorf("over a folder: %v", err)
	}
	spoilt(t, out)
}

// putPhoto puts an image among the photos; the demo has none.
func putPhoto(t *testing.T, dir string) {
	blobs, err := blob.Open(blob.Config{Path: dir})
	if err != nil {
		t.Fatal(err)
	}
	image := bytes.Repeat([]byte("an image"), 1000)
	if _, err := blobs.PutChunk(sha256.Sum256(image), int64(len(image)), 0, image); err != nil {
		t.Fatal(err)
	}
}

// spoilt changes one byte of each of some files: no folder comes of it.
func spoilt(t *testing.T, out string) {
	for _, name := range []string{"store.jsonl", "manifest.json"} {
		path, to := filepath.Join(out, name), filepath.Join(t.TempDir(), "new")
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		cut := bytes.Clone(whole)
		cut[len(cut)/2]++
		if err := os.WriteFile(path, cut, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := server.Import(t.Context(), out, to, time.Now); !errors.Is(err, server.ErrExport) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Stat(to); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%s: a folder came of it", name)
		}
		if err := os.WriteFile(path, whole, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

func sameFiles(t *testing.T, a, b string) {
	t.Helper()
	files := func(dir string) map[string][]byte {
		out := map[string][]byte{}
		err := fs.WalkDir(os.DirFS(dir), ".", func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			out[path], err = os.ReadFile(filepath.Join(dir, path))
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	x, y := files(a), files(b)
	for name, data := range x {
		if !bytes.Equal(data, y[name]) {
			t.Errorf("%s: %d bytes, then %d", name, len(data), len(y[name]))
		}
	}
	if len(x) != len(y) || len(x) < 10 {
		t.Errorf("%d files, then %d", len(x), len(y))
	}
}
