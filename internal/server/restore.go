package server

import (
	"archive/tar"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"

	"needlebook/internal/blob"
	"needlebook/internal/durable"
)

// RestoreConfig says what to restore and where to.
type RestoreConfig struct {
	// From is a backup; To a folder that does not exist yet.
	From, To string
	// IdentityFile holds age identities, AGE-SECRET-KEY-1..., one a line. PassphraseFile is as for the backup. One of both.
	IdentityFile, PassphraseFile string
	Now                          func() time.Time
}

// ErrExists says that something is where a restore should go: it never writes over anything.
var ErrExists = errors.New("is there already; a restore goes to a new folder")

// ErrRemnant says that a restore was cut off and its half stands where another would begin. It holds records in the clear.
var ErrRemnant = errors.New("is left of a restore that was cut off, and holds records in the clear: when no restore runs, remove it and restore again")

// ErrBackup says that a backup is not as one is written: cut off, altered, or of another program.
var ErrBackup = errors.New("not a whole backup")

// Restored is a restore that was done.
type Restored struct {
	Manifest Manifest
	Report   Report
}

// Restore opens a backup into a new folder, proves everything in it, and starts a new epoch, so that tablets offer again what came after it.
// Until all of that is done the
// folder has another name.
func Restore(ctx context.Context, c RestoreConfig) (out Restored, err error) {
	identities, err := c.identities()
	if err != nil {
		return out, err
	}
	staging := c.To + ".restoring"
	for path, there := range map[string]error{c.To: ErrExists, staging: ErrRemnant} {
		switch _, err := os.Lstat(path); {
		case err == nil:
			return out, fmt.Errorf("restore: %s %w", path, there)
		case !errors.Is(err, fs.ErrNotExist):
			return out, fmt.Errorf("restore to %s: %w", path, err)
		}
	}
	f, err := os.Open(c.From)
	if err != nil {
		return out, fmt.Errorf("open backup: %w", err)
	}
	defer f.Close() // read only
	if err := durable.MkdirAll(staging, 0o700); err != nil {
		return out, fmt.Errorf("make folder: %w", err)
	}
	defer os.RemoveAll(staging) // gone already when it got its name
	if out.Manifest, err = unpack(ctx, f, staging, identities); err != nil {
		return out, fmt.Errorf("read %s: %w", c.From, err)
	}
	if out.Report, err = begin(ctx, staging, c.Now); err != nil {
		return out, fmt.Errorf("verify %s: %w", c.From, err)
	}
	return out, errors.Join(os.Rename(staging, c.To), durable.SyncDir(filepath.Dir(c.To)))
}

func (c RestoreConfig) identities() ([]age.Identity, error) {
	switch {
	case (c.IdentityFile == "") == (c.PassphraseFile == ""):
		return nil, &ConfigError{"identity-file and passphrase-file", c.IdentityFile + c.PassphraseFile, "one of both"}
	case c.PassphraseFile != "":
		passphrase, err := readPassphrase(c.PassphraseFile)
		if err != nil {
			return nil, err
		}
		i, err := age.NewScryptIdentity(passphrase)
		return []age.Identity{i}, err
	}
	f, err := os.Open(c.IdentityFile)
	if err != nil {
		return nil, fmt.Errorf("open identities: %w", err)
	}
	defer f.Close() // read only
	identities, err := age.ParseIdentities(f)
	if err != nil {
		return nil, &ConfigError{"identity-file", c.IdentityFile, "age identities, AGE-SECRET-KEY-1..., one a line"}
	}
	return identities, nil
}

// unpack writes the files of a backup below a folder: those of the manifest, in its order, each with its size and hash, and nothing else.
func unpack(ctx context.Context, in io.Reader, folder string, identities []age.Identity) (Manifest, error) {
	opened, err := age.Decrypt(in, identities...)
	if err != nil {
		return Manifest{}, fmt.Errorf("%w: %w", ErrBackup, err)
	}
	unpacked, err := zstd.NewReader(opened, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(64<<20))
	if err != nil {
		return Manifest{}, fmt.Errorf("%w: %w", ErrBackup, err)
	}
	defer unpacked.Close()
	archive := tar.NewReader(unpacked)
	m, err := readManifest(archive)
	if err != nil {
		return m, fmt.Errorf("%w: %w", ErrBackup, err)
	}
	for _, f := range m.Files {
		if err := ctx.Err(); err != nil {
			return m, err
		}
		if err := unpackFile(archive, folder, f); err != nil {
			return m, fmt.Errorf("%w: %s: %w", ErrBackup, f.Name, err)
		}
	}
	if _, err := archive.Next(); !errors.Is(err, io.EOF) {
		return m, fmt.Errorf("%w: more files than the manifest has (%w)", ErrBackup, err)
	}
	// To the end of the encrypted stream: age has proven the last piece only then.
	_, err = io.Copy(io.Discard, unpacked)
	return m, err
}

// mostManifest bounds the manifest: a million photos.
const mostManifest = 256 << 20

func readManifest(archive *tar.Reader) (m Manifest, err error) {
	h, err := archive.Next()
	if err != nil {
		return m, err
	}
	if h.Name != manifestFile || h.Size > mostManifest {
		return m, fmt.Errorf("begins with %q", h.Name)
	}
	d := json.NewDecoder(archive)
	d.DisallowUnknownFields()
	if err := d.Decode(&m); err != nil {
		return m, err
	}
	if m.Version != manifestVersion || len(m.Files) == 0 || m.Files[0].Name != storeFile {
		return m, fmt.Errorf("version %d with %d files; this program reads version %d", m.Version, len(m.Files), manifestVersion)
	}
	for _, f := range m.Files {
		if !isBackupName(f) {
			return m, fmt.Errorf("a file %q", f.Name)
		}
	}
	return m, nil
}

// isBackupName reports whether a file is one that a backup may hold, where it may hold it.
func isBackupName(f File) bool {
	switch folder, name := filepath.Split(filepath.FromSlash(f.Name)); {
	case f.Name == storeFile:
		return true
	case folder == authorityFolder+string(filepath.Separator):
		return strings.HasSuffix(name, ".pem") && !strings.HasPrefix(name, ".")
	default:
		h, err := blob.ParseHash(name)
		return err == nil && f.Name == photoName(h) && f.SHA256 == h.String()
	}
}

func unpackFile(archive *tar.Reader, folder string, f File) error {
	h, err := archive.Next()
	if err != nil {
		return err
	}
	if h.Name != f.Name || h.Size != f.Bytes || h.Typeflag != tar.TypeReg {
		return fmt.Errorf("the archive has %q of %d bytes there", h.Name, h.Size)
	}
	path := filepath.Join(folder, filepath.FromSlash(f.Name))
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	perm := fs.FileMode(0o600)
	if strings.HasPrefix(f.Name, photoFolder+"/") {
		perm = 0o400
	}
	out, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, perm)
	if err != nil {
		return err
	}
	sum := sha256.New()
	_, err = io.Copy(io.MultiWriter(out, sum), archive)
	if err == nil {
		err = out.Sync()
	}
	if err = errors.Join(err, out.Close()); err != nil {
		return err
	}
	if hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
		return errors.New("its content does not have its hash")
	}
	return durable.SyncDir(filepath.Dir(path))
}

// begin proves a restored folder and starts its new epoch.
func begin(ctx context.Context, folder string, now func() time.Time) (Report, error) {
	report, err := VerifyFolder(ctx, folder, now)
	if err != nil {
		return report, err
	}
	st, err := openExisting(folder, now, nil)
	if err != nil {
		return report, err
	}
	l, err := openLedger(ctx, st, now)
	if err == nil {
		err = l.NewEpoch(ctx)
	}
	return report, errors.Join(err, st.Close())
}
