package server

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	optionsv1 "needlebook/gen/needlebook/options/v1"
	"needlebook/internal/durable"
	"needlebook/internal/record"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

func newSum() hash.Hash { return sha256.New() }

// summing counts and sums what goes through.
type summing struct {
	sum hash.Hash
	out io.Writer
	n   int64
}

func (s *summing) Write(b []byte) (int, error) {
	n, err := s.out.Write(b)
	s.sum.Write(b[:n])
	s.n += int64(n)
	return n, err
}

// ErrExport says that a folder is not an export of everything as one is written: cut off, altered, or of another program.
var ErrExport = errors.New("not a whole export")

const importStaging = ".importing"

// Imported is an import that was done.
type Imported struct {
	Manifest ExportManifest `json:"manifest"`
	Report   Report         `json:"report"`
}

// Import makes a new data folder of an export of everything, and proves it: each file has its hash, every record the digest that the export states, and all
// that VerifyFolder proves. Until that is done the folder has another name. Nothing is ever written over.
func Import(ctx context.Context, from, to string, now func() time.Time) (out Imported, err error) {
	staging := to + importStaging
	for _, path := range []string{to, staging} {
		if _, err := os.Lstat(path); err == nil {
			return out, &ConfigError{"dir", path, "a folder that does not exist yet"}
		} else if !errors.Is(err, fs.ErrNotExist) {
			return out, fmt.Errorf("import to %s: %w", path, err)
		}
	}
	if out.Manifest, err = readExport(from); err != nil {
		return out, fmt.Errorf("read %s: %w: %w", from, ErrExport, err)
	}
	if err := durable.MkdirAll(staging, 0o700); err != nil {
		return out, fmt.Errorf("make folder: %w", err)
	}
	defer os.RemoveAll(staging) // gone already when it got its name
	if err := fillFolder(ctx, from, staging, out.Manifest, now); err != nil {
		return out, fmt.Errorf("import %s: %w", from, err)
	}
	if out.Report, err = VerifyFolder(ctx, staging, now); err != nil {
		return out, fmt.Errorf("verify %s: %w", from, err)
	}
	if err := compareDigests(ctx, from, staging, out.Manifest, now); err != nil {
		return out, fmt.Errorf("compare %s: %w: %w", from, ErrExport, err)
	}
	return out, errors.Join(os.Rename(staging, to), durable.SyncDir(filepath.Dir(to)))
}

// readExport reads the manifest and proves every file that it names.
func readExport(from string) (m ExportManifest, err error) {
	f, err := os.Open(filepath.Join(from, manifestFile))
	if err != nil {
		return m, err
	}
	defer f.Close() // read only
	d := json.NewDecoder(io.LimitReader(f, mostManifest))
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return m, fmt.Errorf("%s: %w", manifestFile, err)
	}
	if m.Version != exportVersion {
		return m, fmt.Errorf("version %d; this program reads version %d", m.Version, exportVersion)
	}
	for _, want := range m.Files {
		if !filepath.IsLocal(filepath.FromSlash(want.Name)) {
			return m, fmt.Errorf("a file %q", want.Name)
		}
		got, err := fileOf(filepath.Join(from, filepath.FromSlash(want.Name)), want.Name)
		if err != nil {
			return m, err
		}
		if got != want {
			return m, fmt.Errorf("%s does not have its size and hash", want.Name)
		}
	}
	return m, nil
}

// fillFolder makes the store, and copies photos and the authority's files.
func fillFolder(ctx context.Context, from, to string, m ExportManifest, now func() time.Time) error {
	st, err := openStore(Config{Data: to, Now: now, MinFreeBytes: -1})
	if err != nil {
		return err
	}
	if err := errors.Join(fillStore(ctx, filepath.Join(from, storeLines), st), st.Close()); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(to, photoFolder), 0o700); err != nil {
		return err
	}
	for _, f := range m.Files {
		if !isBackupName(f) || f.Name == storeFile {
			continue // of the forms for others
		}
		if err := copyFile(filepath.Join(from, filepath.FromSlash(f.Name)), filepath.Join(to, filepath.FromSlash(f.Name)), f); err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	return nil
}

// linesAtOnce bounds how many lines go into one transaction.
const linesAtOnce = 2000

// fillStore puts the lines of an export into a new store. Keys ascend, each once.
func fillStore(ctx context.Context, path string, st *boltstore.Store) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close() // read only
	d := json.NewDecoder(bufio.NewReaderSize(f, 1<<20))
	d.DisallowUnknownFields()
	last := ""
	for n, more := 0, true; more; {
		err := st.Update(ctx, func(w store.Writer) error {
			for range linesAtOnce {
				var l storeLine
				err := d.Decode(&l)
				if errors.Is(err, io.EOF) {
					more = false
					return nil
				}
				n++
				if err == nil && string(l.Key) <= last {
					err = errors.New("its key does not come after the one before")
				}
				if err == nil {
					last, err = string(l.Key), w.Put(l.Key, l.Value)
				}
				if err != nil {
					return fmt.Errorf("%s, line %d: %w", storeLines, n, err)
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func copyFile(from, to string, f File) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close() // read only
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	perm := fs.FileMode(0o600)
	if strings.HasPrefix(f.Name, photoFolder+"/") {
		perm = 0o400
	}
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, perm)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	if err == nil {
		err = out.Sync()
	}
	return errors.Join(err, out.Close(), durable.SyncDir(filepath.Dir(to)))
}

// compareDigests holds each record of the new folder against the digest that the export states.
func compareDigests(ctx context.Context, from, folder string, m ExportManifest, now func() time.Time) error {
	st, err := openExisting(folder, now, nil)
	if err != nil {
		return err
	}
	l, err := openLedger(ctx, st, now)
	compared := 0
	for _, f := range m.Files {
		org, name, ok := strings.Cut(f.Name, "/"+exportRecords+"/")
		if err != nil || !ok {
			continue
		}
		var id record.ID
		if id, err = record.ParseID(org); err != nil {
			break
		}
		kind, known := kindNamed(strings.TrimSuffix(name, ".jsonl"))
		if !known {
			err = fmt.Errorf("%s: no kind of record", f.Name)
			break
		}
		err = eachRecordLine(filepath.Join(from, filepath.FromSlash(f.Name)), func(line *RecordLine) error {
			compared++
			rid, err := record.ParseID(line.ID)
			if err != nil {
				return err
			}
			r, err := l.Read(ctx, id, record.Key{Kind: kind, ID: rid})
			if err != nil {
				return fmt.Errorf("%s %s: %w", name, line.ID, err)
			}
			if sum := r.State.Digest(); hex.EncodeToString(sum[:]) != line.Digest {
				return fmt.Errorf("%s %s has another digest", name, line.ID)
			}
			return nil
		})
	}
	if err == nil && compared != m.Records {
		err = fmt.Errorf("%d records, the manifest has %d", compared, m.Records)
	}
	return errors.Join(err, st.Close())
}

func eachRecordLine(path string, fn func(*RecordLine) error) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close() // read only
	d := json.NewDecoder(bufio.NewReaderSize(f, 1<<20))
	for {
		var line RecordLine
		err := d.Decode(&line)
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err == nil {
			err = fn(&line)
		}
		if err != nil {
			return err
		}
	}
}

func kindNamed(name string) (record.Kind, bool) {
	n, ok := optionsv1.RecordKind_value["RECORD_KIND_"+strings.ToUpper(name)]
	return record.Kind(n), ok
}
