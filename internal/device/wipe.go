package device

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"needlebook/internal/durable"
	"needlebook/internal/replica"
	"needlebook/internal/store"
	"needlebook/internal/store/boltstore"
)

// A device that learns that it was revoked removes what it can read and keeps its unsent work sealed. It does so in two steps, each of which is whole or not
// at all: one transaction takes everything but the sealed edits, the device's name and its server out of the store; then the store's file is
// written anew, since the pages that bbolt freed still hold what was in them. Killed between the two, the next start does the second. The device's key
// goes last, once everything was handed in: with it the device proves that the sealed edits are its own.

// WipedError says that the device was revoked and wiped by it. It is an ErrWiped, and what the server said.
type WipedError struct{ Cause error }

func (e *WipedError) Error() string { return ErrWiped.Error() }

// Unwrap gives ErrWiped and the cause.
func (e *WipedError) Unwrap() []error { return []error{ErrWiped, e.Cause} }

// wipedBy wipes the device because of what the server said.
func (d *Device) wipedBy(ctx context.Context, refusal error) error {
	if err := d.wipe(ctx); err != nil {
		return errors.Join(&WipedError{refusal}, err)
	}
	return &WipedError{refusal}
}

// wipe removes what the device can read. The device is good for Close alone afterwards.
func (d *Device) wipe(ctx context.Context) error {
	ctx = context.WithoutCancel(ctx) // begun, it is to be finished
	if err := d.sealNow(ctx, d.signer.ready()); err != nil {
		return fmt.Errorf("seal what was not sent: %w", err)
	}
	rows, err := d.rows(ctx)
	if err != nil {
		return err
	}
	d.identity.WipedMS, d.person = d.cfg.Now().UnixMilli(), Person{}
	notes := []note{{identityName, d.identity}, {personName, d.person}}
	if err := save(ctx, d.store, replica.Wipe(rows), notes...); err != nil {
		d.failed = fmt.Errorf("store on this device: %w", err)
		return d.failed
	}
	d.failed = ErrWiped
	return d.finishWipe(ctx)
}

// finishWipe writes the store's file anew, without the pages that held what was removed, unless that was done. The folder's store is closed afterwards
// and opened again.
func (d *Device) finishWipe(ctx context.Context) error {
	if d.identity.Rewritten {
		return nil
	}
	path := filepath.Join(d.cfg.Dir, storeFile)
	fresh := path + ".new"
	if err := os.Remove(fresh); err != nil && !errors.Is(err, fs.ErrNotExist) { // of a try that was cut off
		return err
	}
	d.identity.Rewritten = true
	if err := d.copyStore(ctx, fresh); err != nil {
		return fmt.Errorf("write the store anew: %w", err)
	}
	old, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	defer old.Close()
	if err := durable.Replace(fresh, path); err != nil {
		return err
	}
	return errors.Join(overwrite(old), d.reopen(path))
}

// copyStore copies what is left of the store to a new file, complete and on the disk when it returns.
func (d *Device) copyStore(ctx context.Context, path string) error {
	fresh, err := boltstore.Open(boltstore.Config{Path: path, Now: d.cfg.Now, MinFreeBytes: -1})
	if err != nil {
		return err
	}
	err = fresh.Update(ctx, func(w store.Writer) error {
		return d.store.View(ctx, func(r store.Reader) error {
			for _, table := range []byte{tableHost, tablePieces, tableRows} {
				if err := r.Scan([]byte{table}, nil, w.Put); err != nil {
					return err
				}
			}
			return nil
		})
	})
	if err == nil {
		err = save(ctx, fresh, replica.Changes{}, note{identityName, d.identity})
	}
	return errors.Join(err, fresh.Close())
}

func (d *Device) reopen(path string) error {
	if err := d.store.Close(); err != nil {
		return err
	}
	st, err := boltstore.Open(boltstore.Config{Path: path, Now: d.cfg.Now, LockTimeout: d.cfg.LockWithin, MinFreeBytes: -1})
	if err == nil {
		d.store = st
	}
	return err
}

// overwrite writes zeros over a file that no name leads to any more. A disk may keep copies of its blocks all the same, which only encrypting it helps against.
func overwrite(f *os.File) error {
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if _, err := io.CopyN(f, zeros{}, info.Size()); err != nil {
		return fmt.Errorf("overwrite the old store: %w", err)
	}
	return f.Sync()
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}
