package server

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"needlebook/internal/auth"
	"needlebook/internal/blob"
	"needlebook/internal/durable"
	"needlebook/internal/ledger"
	"needlebook/internal/service"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// Names in the data folder.
const (
	storeFile       = "needlebook.db"
	photoFolder     = "photos"
	authorityFolder = "authority"
	socketFile      = "admin.sock"
)

// Server is a server that was opened. Serve may be called once.
type Server struct {
	cfg       Config
	log       *slog.Logger
	store     *boltstore.Store
	blobs     *blob.Dir
	service   *service.Service
	authority *auth.Authority
	listener  net.Listener
	private   net.Listener // nil without
	socket    net.Listener
	url       string
	link      string
	notice    string
	tls       *tls.Config // nil for plain HTTP
	began     time.Time
	stopping  atomic.Bool

	// backupMu is held while a backup is made; lastBackup is guarded by it, too.
	backupMu   sync.Mutex
	lastBackup atomic.Int64 // milliseconds since 1970 UTC, 0 for none since the start

	closing sync.Once
	closed  error
}

// Open opens the data folder, listens, and at the first start makes the organisation. A folder that another process has open is a
// boltstore.LockedError.
func Open(ctx context.Context, c Config) (*Server, error) {
	if err := c.Validate(); err != nil {
		return nil, err
	}
	s := &Server{cfg: c, log: c.Log, began: time.Now()}
	if s.log == nil {
		s.log = slog.New(slog.DiscardHandler)
	}
	if err := s.open(ctx); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	return s, nil
}

func (s *Server) open(ctx context.Context) error {
	if err := durable.MkdirAll(s.cfg.Data, 0o700); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	var err error
	if s.store, err = openStore(s.cfg); err != nil {
		return err
	}
	removeScratch(s.cfg.Data, s.log)
	if s.blobs, err = blob.Open(blob.Config{Path: filepath.Join(s.cfg.Data, photoFolder)}); err != nil {
		return err
	}
	service, begin := func() error { return s.openService(ctx) }, func() error { return s.begin(ctx) }
	for _, step := range []func() error{s.openTLS, s.listen, service, begin, s.listenSocket} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// openStore opens the store of a data folder as the ledger wants it.
func openStore(c Config) (*boltstore.Store, error) {
	path := filepath.Join(c.Data, storeFile)
	st, err := boltstore.Open(boltstore.Config{
		Path: path, Now: c.Now, Log: c.Log, MinFreeBytes: c.MinFreeBytes, FreeBytes: c.FreeBytes, AppendTables: string(ledger.AppendOnlyTables()),
	})
	if errors.Is(err, store.ErrCorrupt) || errors.Is(err, boltstore.ErrNotStore) || err != nil && isCut(path) {
		return nil, &DamagedError{Path: path, Cause: err}
	}
	return st, err
}

// isCut reports whether the store's file is there and shorter than the two roots that each has.
func isCut(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.Size() < int64(2*os.Getpagesize())
}

// DamagedError says that the store's file is not whole, and what to do.
type DamagedError struct {
	Path  string
	Cause error
}

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s is damaged or not a store: %v; move its folder aside and keep it, restore the newest backup to a new folder "+
		"(needlebook restore), and start the server on that: tablets offer again what came after the backup", e.Path, e.Cause)
}

// Unwrap returns what was found.
func (e *DamagedError) Unwrap() error { return e.Cause }

func (s *Server) openService(ctx context.Context) (err error) {
	s.service, err = service.Open(ctx, service.Config{
		Store: s.store, Blobs: s.blobs, PublicURL: s.url, Now: s.cfg.Now, Random: s.cfg.Random, Log: s.log, HashCost: s.cfg.HashCost,
	})
	if err != nil || !s.store.RootDamaged() {
		return err
	}
	return s.startEpoch(ctx)
}

// startEpoch starts a new epoch where the last commit may be gone though tablets were told of it. They say hello, offer again what is not here, and
// pull from the beginning: had nothing been lost, that is all it costs. It is written before anything is answered; the commit mends the root.
func (s *Server) startEpoch(ctx context.Context) error {
	if err := s.service.Ledger().NewEpoch(ctx); err != nil {
		return fmt.Errorf("start a new epoch after a damaged root: %w", err)
	}
	s.log.Warn("one of the store's two roots was damaged, so the last commit may be missing: a new epoch begins, and every tablet offers again what it has")
	return nil
}

// ErrNoName says that the first start was given no name for the organisation.
var ErrNoName = errors.New("the first start needs the name of the organisation")

// begin makes the organisation at the first start, and a link for a first administrator who has not come in yet.
func (s *Server) begin(ctx context.Context) error {
	orgs, err := s.service.Organisations(ctx)
	if err != nil {
		return err
	}
	if len(orgs) == 0 {
		o, err := s.found(ctx)
		if err != nil {
			return err
		}
		orgs = append(orgs, o)
	}
	s.notice = s.cfg.unusedNames(orgs)
	for _, o := range orgs {
		unclaimed, err := s.service.Unclaimed(ctx, o)
		if err != nil {
			return err
		}
		if unclaimed {
			if s.link, _, err = s.service.Recover(ctx, o, uuid.Nil); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *Server) found(ctx context.Context) (o service.Organisation, err error) {
	name, clinic := s.cfg.Organisation, s.cfg.Clinic
	if name == "" && s.cfg.Ask != nil {
		if name, clinic, err = s.cfg.Ask(); err != nil {
			return o, err
		}
	}
	if name == "" {
		return o, ErrNoName
	}
	if clinic == "" {
		clinic = name
	}
	return s.service.Found(ctx, service.Founding{Organisation: name, Clinic: clinic, Administrator: s.cfg.Administrator})
}

// URL is the address by which tablets reach the server.
func (s *Server) URL() string { return s.url }

// Link is the one-time link for the first administrator, empty when she has come in.
func (s *Server) Link() string { return s.link }

// Notice is what whoever started the server should know about its configuration; empty for nothing.
func (s *Server) Notice() string { return s.notice }

// Service is what answers the calls.
func (s *Server) Service() *service.Service { return s.service }

// Authority is the clinic's own certificate authority; nil when the server has none.
func (s *Server) Authority() *auth.Authority { return s.authority }

// Serve answers until ctx ends, then lets running calls end, and closes the server.
func (s *Server) Serve(ctx context.Context) error {
	web := s.webServer()
	failed := make(chan error, 3)
	start := func(srv *http.Server, l net.Listener) {
		if l != nil {
			go func() { failed <- srv.Serve(l) }()
		}
	}
	private, console := s.privateServer(), s.consoleServer()
	start(web, s.listener)
	start(private, s.private)
	start(console, s.socket)
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	var background sync.WaitGroup
	background.Go(func() { s.maintain(ctx) })
	background.Go(func() { s.backupRegularly(ctx) })
	background.Go(func() { s.warmUp(ctx) })

	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
		err = fmt.Errorf("serve: %w", err)
	}
	s.stopping.Store(true)
	cancel()
	stop(web, s.cfg.StopWithin)
	stop(private, time.Second)
	stop(console, time.Second)
	background.Wait()
	return errors.Join(err, s.Close())
}

// stop lets running calls end, for a time, and then ends them.
func stop(srv *http.Server, within time.Duration) {
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	if srv.Shutdown(ctx) != nil {
		srv.Close()
	}
}

// warmUpAgain is how long to wait before the indexes are built anew after a failure.
const warmUpAgain = 10 * time.Second

// warmUp builds what the first search would wait for. Calls work meanwhile; those that need an index wait for it.
func (s *Server) warmUp(ctx context.Context) {
	for began := time.Now(); ; {
		records, err := s.service.WarmUp(ctx)
		if err == nil {
			s.log.Info("indexes are built", "records", records, "took", time.Since(began).Round(time.Millisecond))
			return
		}
		if ctx.Err() == nil {
			s.log.Warn("build indexes", "cause", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(warmUpAgain):
		}
	}
}

// maintain does every minute what time brings about.
func (s *Server) maintain(ctx context.Context) {
	tick := time.NewTicker(time.Minute)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			if err := s.service.Maintain(ctx); err != nil && ctx.Err() == nil {
				s.log.Warn("maintenance", "cause", err)
			}
		}
	}
}

// Close releases everything. It is called by Serve; without Serve the caller calls it.
func (s *Server) Close() error {
	s.closing.Do(func() {
		for _, l := range []net.Listener{s.listener, s.private, s.socket} {
			if l != nil {
				l.Close() // Serve has closed it already
			}
		}
		if s.service != nil {
			ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
			defer cancel()
			if err := s.service.Maintain(ctx); err != nil {
				s.log.Warn("last maintenance", "cause", err)
			}
		}
		if s.store != nil {
			s.closed = s.store.Close()
		}
	})
	return s.closed
}
