package blob

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"needlebook/internal/durable"
)

// Each calls fn for every complete blob, by ascending hash, until fn or ctx ends it. It does not read the contents.
func (d *Dir) Each(ctx context.Context, fn func(h Hash, size int64) error) error {
	return filepath.WalkDir(d.cfg.Path, func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case entry.IsDir() && entry.Name() == partialFolder:
			return fs.SkipDir
		case entry.IsDir() || strings.HasPrefix(entry.Name(), durable.TempPrefix):
			return nil
		}
		h, err := ParseHash(entry.Name())
		if err != nil || d.path(h) != path {
			return fmt.Errorf("file %s is no blob", filepath.Base(path))
		}
		info, err := entry.Info()
		if err != nil {
			return err
		}
		return fn(h, info.Size())
	})
}

// maxReported bounds how many damaged blobs Check names.
const maxReported = 20

// Check reads every blob and proves its hash; it returns a DamagedError for each that fails, joined.
func (d *Dir) Check(ctx context.Context) error {
	var damaged []error
	err := d.Each(ctx, func(h Hash, _ int64) error {
		got, err := d.sum(ctx, h, io.Discard)
		if err == nil && got != h && len(damaged) < maxReported {
			damaged = append(damaged, &DamagedError{Hash: h, Got: got})
		}
		return err
	})
	return errors.Join(append(damaged, err)...)
}

// Sweep removes the chunks of blobs to which none was added since before, and temporary files as old, and returns how
// many of both. A tablet that still has the photo sends it anew.
func (d *Dir) Sweep(ctx context.Context, before time.Time) (int, error) {
	leftovers, err := d.leftovers()
	if err != nil {
		return 0, err
	}
	swept := 0
	for _, path := range leftovers {
		if err := ctx.Err(); err != nil {
			return swept, err
		}
		removed, err := d.sweepOne(path, before)
		if err != nil {
			return swept, err
		}
		if removed {
			swept++
		}
	}
	return swept, nil
}

// leftovers lists all folders of chunks and all temporary files.
func (d *Dir) leftovers() (paths []string, err error) {
	folders, err := os.ReadDir(d.cfg.Path)
	if err != nil {
		return nil, err
	}
	for _, folder := range folders {
		path := filepath.Join(d.cfg.Path, folder.Name())
		files, err := os.ReadDir(path)
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			if folder.Name() == partialFolder || strings.HasPrefix(f.Name(), durable.TempPrefix) {
				paths = append(paths, filepath.Join(path, f.Name()))
			}
		}
	}
	return paths, nil
}

func isStale(path string, before time.Time) bool {
	info, err := os.Lstat(path)
	return err == nil && info.ModTime().Before(before)
}

// sweepOne looks again under the blob's lock, since a chunk may have come meanwhile.
func (d *Dir) sweepOne(path string, before time.Time) (bool, error) {
	name, _, _ := strings.Cut(filepath.Base(path), "-")
	if h, err := ParseHash(name); err == nil {
		defer d.lock(h)()
	}
	if !isStale(path, before) {
		return false, nil
	}
	return true, os.RemoveAll(path)
}
