package server

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"github.com/google/uuid"

	faultv1 "needlebook/gen/needlebook/fault/v1"
	"needlebook/internal/audit"
	"needlebook/internal/auth"
	"needlebook/internal/blob"
	"needlebook/internal/causal"
	"needlebook/internal/fault"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// Report is what a verification went through.
type Report struct {
	Events        int          `json:"events"`  // of the ledger's log
	Records       int          `json:"records"` // whose state was folded anew and compared
	Held          int          `json:"held"`
	Pages         int          `json:"pages"` // whose signatures were verified
	AuditEntries  uint64       `json:"audit_entries"`
	Organisations int          `json:"organisations"`
	Photos        int          `json:"photos"`
	PhotoBytes    int64        `json:"photo_bytes"`
	Heads         []audit.Head `json:"-"`
	// HeadLines are the heads of the audit logs, one line each, to be kept elsewhere.
	HeadLines []string `json:"audit_heads"`
}

// VerifyFolder proves a data folder whose server does not run: the store's pages and checksums, the ledger's chains, states, indexes and
// signatures, the
// audit logs, with heads that were kept elsewhere when given, and the photos. Everything that is wrong is returned, joined.
func VerifyFolder(ctx context.Context, data string, now func() time.Time, heads ...audit.Head) (Report, error) {
	st, err := openExisting(data, now, nil)
	if err != nil {
		return Report{}, err
	}
	defer st.Close()
	blobs, err := blob.Open(blob.Config{Path: filepath.Join(data, photoFolder)})
	if err != nil {
		return Report{}, err
	}
	return verify(ctx, st, blobs, now, heads)
}

func verify(ctx context.Context, st *boltstore.Store, blobs *blob.Dir, now func() time.Time, heads []audit.Head) (r Report, err error) {
	if err := st.Check(ctx); err != nil { // the rest stands on it
		return r, fmt.Errorf("store: %w", err)
	}
	l, err := openLedger(ctx, st, now)
	if err != nil {
		return r, err
	}
	checked, ledgerErr := l.Check(ctx, verifyPage)
	r.Events, r.Records, r.Held, r.Pages = checked.Events, checked.Records, checked.Held, checked.Pages
	auditErr := st.View(ctx, func(reader store.Reader) (err error) {
		r.Heads, err = audit.VerifyAll(reader, heads...)
		return err
	})
	for _, h := range r.Heads {
		r.AuditEntries += h.Sequence
		r.Organisations++
		r.HeadLines = append(r.HeadLines, h.String())
	}
	countErr := blobs.Each(ctx, func(_ blob.Hash, size int64) error {
		r.Photos++
		r.PhotoBytes += size
		return nil
	})
	return r, errors.Join(named("ledger", ledgerErr), named("audit", auditErr), named("photos", countErr), named("photos", blobs.Check(ctx)))
}

func named(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", what, err)
}

// verifyPage checks who signed a page of edits: the device that owns its replica. That it was revoked since changes nothing.
func verifyPage(r store.Reader, replica causal.ReplicaID, statement, signature []byte) error {
	owner, err := auth.ReplicaOwner(r, uuid.UUID(replica))
	if err != nil {
		return fmt.Errorf("no device owns it: %w", err)
	}
	_, err = auth.ProveDevice(r, owner, statement, signature)
	if fault.Has(err, faultv1.Reason_REASON_DEVICE_REVOKED) {
		return nil
	}
	return err
}

// Verify proves a server that runs, on a copy of its store, so that writing goes on.
func (s *Server) Verify(ctx context.Context) (Report, error) {
	scratch, err := os.MkdirTemp(s.cfg.Data, scratchIntro+"verify-")
	if err != nil {
		return Report{}, fmt.Errorf("make room for a copy: %w", err)
	}
	defer os.RemoveAll(scratch)
	if err := copyTo(ctx, s.store, filepath.Join(scratch, storeFile)); err != nil {
		return Report{}, fmt.Errorf("copy store: %w", err)
	}
	copied, err := openStore(Config{Data: scratch, Now: s.cfg.Now, MinFreeBytes: -1})
	if err != nil {
		return Report{}, err
	}
	r, err := verify(ctx, copied, s.blobs, s.cfg.Now, nil)
	return r, errors.Join(err, copied.Close())
}
