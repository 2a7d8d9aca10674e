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
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"filippo.io/age"
	"github.com/klauspost/compress/zstd"

	"needlebook/internal/blob"
	"needlebook/internal/durable"
	"needlebook/internal/ledger"
	"needlebook/internal/record"
	"needlebook/internal/schema"
	"needlebook/internal/service"
	"needlebook/internal/store/boltstore"
)

// BackupConfig says where and how often a server backs itself up, and for whom it locks the backups.
type BackupConfig struct {
	// To is the folder; empty means that the server makes no backups by itself. Put it on another disk.
	To string `json:"to"`
	// Every is how often the server makes one by itself; 0 means once a day.
	Every time.Duration `json:"-"`
	// Keep is how many are kept, the newest; 0 means 14. Tablets keep their edits until the oldest kept holds them.
	Keep int `json:"keep"`
	// Recipients are age recipients, age1..., who can open the backups. PassphraseFile is a file whose first line opens them. One of both is needed.
	Recipients     []string `json:"recipients"`
	PassphraseFile string   `json:"passphrase_file"`
}

const defaultKeep = 14

func (b BackupConfig) validate() error {
	if b.To == "" {
		return nil
	}
	if b.Keep < 0 || b.Every < 0 {
		return &ConfigError{"backup-keep and backup-every", fmt.Sprintf("%d, %s", b.Keep, b.Every), "0 or more"}
	}
	if len(b.Recipients) == 0 && b.PassphraseFile == "" {
		return &ConfigError{"backup-recipient and backup-passphrase-file", "", "one of both: a backup is never written in the clear"}
	}
	if len(b.Recipients) > 0 && b.PassphraseFile != "" {
		return &ConfigError{"backup-recipient and backup-passphrase-file", b.PassphraseFile, "one of both, not both"}
	}
	_, err := b.recipients()
	return err
}

func (b BackupConfig) recipients() (out []age.Recipient, err error) {
	for _, text := range b.Recipients {
		r, err := age.ParseX25519Recipient(text)
		if err != nil {
			if strings.HasPrefix(strings.ToUpper(text), "AGE-SECRET-KEY-") {
				text = "a secret key, not shown"
			}
			return nil, &ConfigError{"backup-recipient", text, "an age recipient, age1..., the public half of a key"}
		}
		out = append(out, r)
	}
	if b.PassphraseFile == "" {
		return out, nil
	}
	passphrase, err := readPassphrase(b.PassphraseFile)
	if err != nil {
		return nil, err
	}
	r, err := age.NewScryptRecipient(passphrase)
	return append(out, r), err
}

// leastPassphrase is the least number of characters of a passphrase that locks every record of an organisation.
const leastPassphrase = 15

func readPassphrase(path string) (string, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("read passphrase: %w", err)
	}
	line, _, _ := strings.Cut(string(b), "\n")
	if line = strings.TrimSuffix(line, "\r"); len(line) < leastPassphrase {
		return "", &ConfigError{"backup-passphrase-file", fmt.Sprintf("%d bytes", len(line)), fmt.Sprintf("a first line of at least %d", leastPassphrase)}
	}
	return line, nil
}

// Manifest is the first file of a backup: what else is in it.
type Manifest struct {
	Version  int    `json:"version"` // 1
	MadeAtMS int64  `json:"made_at_unix_ms"`
	Sequence uint64 `json:"sequence"` // the end of the ledger's log
	Files    []File `json:"files"`    // in the order of the archive
}

// File is one file of a backup.
type File struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

const (
	manifestFile    = "manifest.json"
	manifestVersion = 1
	backupIntro     = "needlebook-"
	backupEnding    = ".age"
	backupTime      = "20060102T150405.000Z"
)

// Backup is a backup that was made.
type Backup struct {
	Path     string   `json:"path"`
	Bytes    int64    `json:"bytes"`
	Sequence uint64   `json:"sequence"`
	Files    int      `json:"files"`
	Removed  []string `json:"removed"` // older ones that are no longer kept
}

// source is a data folder to back up: its store is open, by the server that runs or by the command alone.
type source struct {
	data   string
	store  *boltstore.Store
	ledger *ledger.Ledger
	blobs  *blob.Dir
	now    func() time.Time
}

// backUp makes a backup, notes it in the ledger, and removes older ones. The store goes on meanwhile: it is copied to the data folder first, in one
// snapshot, and that copy is checked before it is locked and written to where it belongs.
func (s source) backUp(ctx context.Context, c BackupConfig) (Backup, error) {
	if c.To == "" {
		return Backup{}, &ConfigError{"to", "", "a folder"}
	}
	if err := c.validate(); err != nil {
		return Backup{}, err
	}
	recipients, err := c.recipients()
	if err != nil {
		return Backup{}, err
	}
	if err := durable.MkdirAll(c.To, 0o700); err != nil {
		return Backup{}, fmt.Errorf("make backup folder: %w", err)
	}
	scratch, err := os.MkdirTemp(s.data, scratchIntro+"backup-")
	if err != nil {
		return Backup{}, fmt.Errorf("make room for a copy: %w", err)
	}
	defer os.RemoveAll(scratch)
	if err := s.removeUnfinished(c.To); err != nil {
		return Backup{}, fmt.Errorf("remove what an earlier backup left in %s when it was killed: %w", c.To, err)
	}
	at := s.now().UTC()
	m, err := s.copyStore(ctx, scratch, at)
	if err != nil {
		return Backup{}, err
	}
	if err := s.listFiles(ctx, &m); err != nil {
		return Backup{}, err
	}
	path := filepath.Join(c.To, fmt.Sprintf("%s%s-%012d%s", backupIntro, at.Format(backupTime), m.Sequence, backupEnding))
	b := Backup{Path: path, Sequence: m.Sequence, Files: len(m.Files)}
	if b.Bytes, err = s.write(ctx, path, scratch, m, recipients); err != nil {
		return Backup{}, fmt.Errorf("write backup: %w", err)
	}
	if err := s.ledger.NoteBackup(ctx, m.Sequence, at); err != nil {
		return b, fmt.Errorf("note backup: %w", err)
	}
	b.Removed, err = s.prune(ctx, c)
	return b, err
}

// copyStore copies the store and checks the copy.
func (s source) copyStore(ctx context.Context, scratch string, at time.Time) (Manifest, error) {
	m := Manifest{Version: manifestVersion, MadeAtMS: at.UnixMilli()}
	path := filepath.Join(scratch, storeFile)
	if err := copyTo(ctx, s.store, path); err != nil {
		return m, fmt.Errorf("copy store: %w", err)
	}
	copied, err := openStore(Config{Data: scratch, Now: s.now, MinFreeBytes: -1})
	if err != nil {
		return m, fmt.Errorf("open the copy: %w", err)
	}
	err = copied.Check(ctx)
	if err == nil {
		m.Sequence, err = sequenceOf(ctx, copied, s.now)
	}
	if err = errors.Join(err, copied.Close()); err != nil {
		return m, fmt.Errorf("check the copy: %w", err)
	}
	f, err := fileOf(path, storeFile)
	m.Files = append(m.Files, f)
	return m, err
}

func copyTo(ctx context.Context, st *boltstore.Store, path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = st.CopyTo(ctx, f)
	return errors.Join(err, f.Close())
}

func sequenceOf(ctx context.Context, st *boltstore.Store, now func() time.Time) (uint64, error) {
	l, err := openLedger(ctx, st, now)
	if err != nil {
		return 0, err
	}
	return l.Sequence(ctx)
}

// openLedger opens a ledger to be read.
func openLedger(ctx context.Context, st *boltstore.Store, now func() time.Time) (*ledger.Ledger, error) {
	sch, err := record.NewSchema(schema.Records()...)
	if err != nil {
		return nil, err
	}
	return ledger.Open(ctx, st, ledger.Config{Schema: sch, Now: now, Terms: service.Terms()})
}

// fileOf is a file with its hash.
func fileOf(path, name string) (File, error) {
	f, err := os.Open(path)
	if err != nil {
		return File{}, err
	}
	defer f.Close() // read only
	sum := sha256.New()
	n, err := io.Copy(sum, f)
	return File{Name: name, Bytes: n, SHA256: hex.EncodeToString(sum.Sum(nil))}, err
}

// listFiles adds the authority's files and the photos. Photos that come later are in the next backup; those in the copy's records are there
// already.
func (s source) listFiles(ctx context.Context, m *Manifest) error {
	files, err := os.ReadDir(filepath.Join(s.data, authorityFolder))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("list authority: %w", err)
	}
	for _, f := range files {
		if strings.HasPrefix(f.Name(), ".") {
			continue // being written
		}
		entry, err := fileOf(filepath.Join(s.data, authorityFolder, f.Name()), authorityFolder+"/"+f.Name())
		if err != nil {
			return fmt.Errorf("read authority: %w", err)
		}
		m.Files = append(m.Files, entry)
	}
	return s.blobs.Each(ctx, func(h blob.Hash, size int64) error {
		m.Files = append(m.Files, File{Name: photoName(h), Bytes: size, SHA256: h.String()})
		return nil
	})
}

// photoName is a photo's path below the data folder.
func photoName(h blob.Hash) string { return photoFolder + "/" + h.String()[:2] + "/" + h.String() }

// write makes the file: age, in it zstd, in it tar, in it the manifest and then its files. It is whole or not there.
func (s source) write(ctx context.Context, path, scratch string, m Manifest, recipients []age.Recipient) (int64, error) {
	f, err := os.CreateTemp(filepath.Dir(path), s.unfinishedIntro()+"*")
	if err != nil {
		return 0, err
	}
	defer os.Remove(f.Name()) // gone already when it was published
	err = s.fill(ctx, f, scratch, m, recipients)
	if err == nil {
		err = f.Sync()
	}
	info, statErr := f.Stat()
	if err = errors.Join(err, statErr, f.Close()); err != nil {
		return 0, err
	}
	return info.Size(), durable.Publish(f.Name(), path)
}

// unfinishedIntro begins the names of this data folder's backups while they are written. Other servers may write to the same folder at the same time.
func (s source) unfinishedIntro() string {
	host, _ := os.Hostname() // empty is as good: the path tells folders of one machine apart
	path, err := filepath.Abs(s.data)
	if err != nil {
		path = s.data
	}
	sum := sha256.Sum256([]byte(host + "\x00" + path))
	return durable.TempPrefix + "backup-" + hex.EncodeToString(sum[:8]) + "-"
}

// removeUnfinished removes what a backup of this data folder left when it was killed. Only one runs at a time: the store's lock and the server's see to it.
func (s source) removeUnfinished(folder string) error {
	files, err := os.ReadDir(folder)
	for _, f := range files {
		if strings.HasPrefix(f.Name(), s.unfinishedIntro()) {
			err = errors.Join(err, os.Remove(filepath.Join(folder, f.Name())))
		}
	}
	return err
}

func (s source) fill(ctx context.Context, out io.Writer, scratch string, m Manifest, recipients []age.Recipient) error {
	locked, err := age.Encrypt(out, recipients...)
	if err != nil {
		return err
	}
	packed, err := zstd.NewWriter(locked, zstd.WithEncoderConcurrency(1))
	if err != nil {
		return err
	}
	archive := tar.NewWriter(packed)
	err = s.archive(ctx, archive, scratch, m)
	return errors.Join(err, archive.Close(), packed.Close(), locked.Close())
}

func (s source) archive(ctx context.Context, w *tar.Writer, scratch string, m Manifest) error {
	body, err := json.Marshal(m)
	if err != nil {
		return err
	}
	at := time.UnixMilli(m.MadeAtMS)
	if err := w.WriteHeader(&tar.Header{Name: manifestFile, Size: int64(len(body)), Mode: 0o600, ModTime: at}); err != nil {
		return err
	}
	if _, err := w.Write(body); err != nil {
		return err
	}
	for _, f := range m.Files {
		if err := ctx.Err(); err != nil {
			return err
		}
		from := s.data
		if f.Name == storeFile {
			from = scratch
		}
		if err := addFile(w, filepath.Join(from, filepath.FromSlash(f.Name)), f, at); err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	return nil
}

// addFile copies one file and proves its hash on the way: a photo that rotted makes the backup fail, so that someone looks.
func addFile(w *tar.Writer, path string, f File, at time.Time) error {
	in, err := os.Open(path)
	if err != nil {
		return err
	}
	defer in.Close() // read only
	if err := w.WriteHeader(&tar.Header{Name: f.Name, Size: f.Bytes, Mode: 0o600, ModTime: at}); err != nil {
		return err
	}
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(w, sum), in); err != nil {
		return err
	}
	if hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
		return errors.New("its content is not what it was")
	}
	return nil
}

// kept is the backups in a folder, oldest first, each with its sequence.
func kept(folder string) (names []string, sequences map[string]uint64, err error) {
	files, err := os.ReadDir(folder)
	sequences = map[string]uint64{}
	for _, f := range files { // ascending by name, and so by time
		var at string
		var seq uint64
		rest, ok := strings.CutPrefix(strings.TrimSuffix(f.Name(), backupEnding), backupIntro)
		at, digits, ok2 := strings.Cut(rest, "-")
		if _, err := fmt.Sscanf(digits, "%d", &seq); !ok || !ok2 || err != nil || !strings.HasSuffix(f.Name(), backupEnding) {
			continue
		}
		if _, err := time.Parse(backupTime, at); err != nil {
			continue
		}
		names, sequences[f.Name()] = append(names, f.Name()), seq
	}
	return names, sequences, err
}

// prune removes the oldest backups beyond those to keep. The ledger forgets one before it goes, or tablets would rely on what is not there.
func (s source) prune(ctx context.Context, c BackupConfig) (removed []string, err error) {
	keep := c.Keep
	if keep == 0 {
		keep = defaultKeep
	}
	names, sequences, err := kept(c.To)
	if err != nil {
		return nil, fmt.Errorf("list backups: %w", err)
	}
	for len(names) > keep {
		oldest := names[0]
		names = names[1:]
		if still := sequences[names[0]]; still != sequences[oldest] { // ascending: no other can have the same
			if err := s.ledger.ForgetBackup(ctx, sequences[oldest]); err != nil {
				return removed, fmt.Errorf("forget backup: %w", err)
			}
		}
		if err := os.Remove(filepath.Join(c.To, oldest)); err != nil {
			return removed, fmt.Errorf("remove backup: %w", err)
		}
		removed = append(removed, oldest)
	}
	return removed, nil
}

// BackUp makes a backup of a server that runs.
func (s *Server) BackUp(ctx context.Context, c BackupConfig) (Backup, error) {
	s.backupMu.Lock()
	defer s.backupMu.Unlock()
	from := source{data: s.cfg.Data, store: s.store, ledger: s.service.Ledger(), blobs: s.blobs, now: s.cfg.Now}
	b, err := from.backUp(ctx, c)
	if err != nil {
		s.log.Error("backup", "cause", err)
		return b, err
	}
	s.lastBackup.Store(s.cfg.Now().UnixMilli())
	s.log.Info("backup", "bytes", b.Bytes, "sequence", b.Sequence, "files", b.Files, "removed", len(b.Removed))
	return b, nil
}

// backupRegularly makes backups until ctx ends. The first is made when the newest one there is old enough.
func (s *Server) backupRegularly(ctx context.Context) {
	if s.cfg.Backup.To == "" {
		return
	}
	every := s.cfg.Backup.Every
	if every == 0 {
		every = 24 * time.Hour
	}
	wait := every - newestAge(s.cfg.Backup.To, time.Now())
	for {
		timer := time.NewTimer(max(wait, time.Second))
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		}
		wait = every
		if _, err := s.BackUp(ctx, s.cfg.Backup); err != nil {
			wait = min(every, 10*time.Minute) // the log has it; perhaps the disk comes back
		}
	}
}

// newestAge is how old the newest backup in a folder is; very old when there is none.
func newestAge(folder string, now time.Time) time.Duration {
	names, _, err := kept(folder)
	if err != nil || len(names) == 0 {
		return 1000 * time.Hour
	}
	text, _, _ := strings.Cut(strings.TrimPrefix(names[len(names)-1], backupIntro), "-")
	at, err := time.Parse(backupTime, text)
	if err != nil {
		return 1000 * time.Hour
	}
	return now.Sub(at)
}

// BackUpFolder makes a backup of a data folder whose server does not run; a boltstore.LockedError when it does.
func BackUpFolder(ctx context.Context, data string, c BackupConfig, now func() time.Time, log *slog.Logger) (Backup, error) {
	st, err := openExisting(data, now, log)
	if err != nil {
		return Backup{}, err
	}
	defer st.Close()
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	removeScratch(data, log)
	l, err := openLedger(ctx, st, now)
	if err != nil {
		return Backup{}, err
	}
	blobs, err := blob.Open(blob.Config{Path: filepath.Join(data, photoFolder)})
	if err != nil {
		return Backup{}, err
	}
	return source{data: data, store: st, ledger: l, blobs: blobs, now: now}.backUp(ctx, c)
}

// openExisting opens the store of a folder that must hold one.
func openExisting(data string, now func() time.Time, log *slog.Logger) (*boltstore.Store, error) {
	if _, err := os.Stat(filepath.Join(data, storeFile)); err != nil {
		return nil, fmt.Errorf("open %s: %w", data, err)
	}
	return openStore(Config{Data: data, Now: now, MinFreeBytes: -1, Log: log})
}
