package boltstore

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"needlebook/internal/durable"
	"needlebook/internal/store"
)

// ErrNotStore: the file is not a store of this program.
var ErrNotStore = errors.New("not a needlebook store")

// Store is an open store. All methods are safe for concurrent use.
type Store struct {
	cfg  Config
	db   *bbolt.DB
	meta Meta

	rootDamaged bool

	queue   queue
	stopped chan struct{} // closed when the commit loop has ended
	failure atomic.Pointer[store.FailedError]
	stats   counters

	closing sync.Once
	closed  error
}

var _ store.Store = (*Store)(nil)

// Open opens the store at cfg.Path, or makes it, and brings it to the newest schema. Errors: LockedError when another
// process holds it, store.SchemaError when it is newer than this program, ErrNotStore, store.ErrCorrupt.
func Open(cfg Config) (*Store, error) {
	cfg = cfg.withDefaults()
	if err := createIfAbsent(cfg); err != nil {
		return nil, fmt.Errorf("create store: %w", err)
	}
	db, rootDamaged, err := openFile(cfg)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	s := &Store{cfg: cfg, db: db, rootDamaged: rootDamaged, queue: newQueue(), stopped: make(chan struct{})}
	if s.meta, err = migrate(db, cfg); err != nil {
		return nil, errors.Join(fmt.Errorf("open store: %w", err), db.Close())
	}
	go s.commitLoop()
	return s, nil
}

// Meta says what the file says of itself.
func (s *Store) Meta() Meta { return s.meta }

// RootDamaged tells that when the store was opened one of the file's two roots failed its own sum. Either a power cut
// tore a commit that no one was told of, or the disk damaged the newest root and the last commit is gone though it was
// acknowledged. The file cannot tell which; who relies on the last commit must ask, as after restoring a backup.
func (s *Store) RootDamaged() bool { return s.rootDamaged }

// Close implements store.Store. A second Close answers as the first.
func (s *Store) Close() error {
	s.closing.Do(func() {
		s.queue.close()
		<-s.stopped
		s.closed = s.db.Close()
	})
	return s.closed
}

// createIfAbsent makes the file under another name and publishes it whole, since a power cut while bbolt writes its
// first pages leaves a file that cannot be opened.
func createIfAbsent(cfg Config) error {
	_, err := os.Stat(cfg.Path)
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	temp, err := os.CreateTemp(filepath.Dir(cfg.Path), durable.TempPrefix+"store-*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	if err := errors.Join(temp.Close(), fillNew(temp.Name(), cfg)); err != nil {
		return err
	}
	err = durable.Publish(temp.Name(), cfg.Path)
	if errors.Is(err, fs.ErrExist) {
		return nil // another process was first; its file is as good
	}
	return err
}

// fillNew makes an empty store in the empty file at path; bbolt syncs each step.
func fillNew(path string, cfg Config) error {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{NoFreelistSync: true, FreelistType: bbolt.FreelistMapType})
	if err != nil {
		return err
	}
	return errors.Join(db.Update(func(tx *bbolt.Tx) error { return writeNewMeta(tx, cfg) }), db.Sync(), db.Close())
}

// openFile opens the existing file. bbolt answers some damage with a panic; here it is an error.
func openFile(cfg Config) (db *bbolt.DB, rootDamaged bool, err error) {
	var file *os.File
	defer func() {
		if p := recover(); p != nil {
			err = errors.Join(&store.CorruptError{What: fmt.Sprint(p)}, file.Close()) // bbolt keeps it open, and so locked
		}
	}()
	if info, err := os.Stat(cfg.Path); err != nil {
		return nil, false, err
	} else if info.Size() == 0 {
		return nil, false, ErrNotStore // bbolt would make a new one here, over what may have been a clinic's
	}
	if rootDamaged, err = checkFileShape(cfg); err != nil {
		return nil, false, openError(cfg.Path, err)
	}
	if rootDamaged {
		cfg.Log.Warn("store: one of the file's two roots is damaged; the last commit may be missing")
	}
	options := &bbolt.Options{
		Timeout:         cfg.LockTimeout,
		NoFreelistSync:  true,
		FreelistType:    bbolt.FreelistMapType,
		InitialMmapSize: cfg.MapBytes,
		MaxSize:         cfg.MaxFileBytes,
		OpenFile: func(path string, flag int, perm os.FileMode) (_ *os.File, err error) {
			file, err = openExisting(path, flag, perm)
			return file, err
		},
	}
	db, err = bbolt.Open(cfg.Path, 0o600, options)
	if errors.Is(err, syscall.ENOMEM) {
		cfg.Log.Warn("store: no address space for the map; growth will wait for readers", "map_bytes", cfg.MapBytes)
		options.InitialMmapSize = 0
		db, err = bbolt.Open(cfg.Path, 0o600, options)
	}
	return db, rootDamaged, openError(cfg.Path, err)
}

// openExisting keeps bbolt from creating the file should it vanish between two system calls.
func openExisting(path string, flag int, perm os.FileMode) (*os.File, error) {
	return os.OpenFile(path, flag&^os.O_CREATE, perm)
}

// openError puts bbolt's answers into the words of the contract.
func openError(path string, err error) error {
	switch {
	case errors.Is(err, berrors.ErrTimeout):
		return newLockedError(path)
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrVersionMismatch):
		return fmt.Errorf("%w: %w", ErrNotStore, err)
	case errors.Is(err, berrors.ErrChecksum):
		return &store.CorruptError{What: err.Error()}
	}
	return err
}
