// Package durable puts files on the disk so that a crash or a power cut at any moment leaves the old file or the new
// one, whole, and never a part.
//
// Use [WriteFile] for small files; for larger ones write a temporary file in the same folder, Sync it, and hand it to
// [Replace] or [Publish]. When these return nil the file's content and its name are both on the disk.
//
// The order of system calls is the promise:
//
//	openat(temp, O_CREAT|O_EXCL)  write  fsync(temp)  close  rename or link(temp, path)  fsync(dir)
//
// After an fsync error nothing is retried: the kernel may have dropped the pages, and a second fsync would say "fine".
package durable

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// WriteFile puts data at path, replacing what was there.
func WriteFile(path string, data []byte, perm fs.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(path), TempPrefix+"*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already when Replace did its work
	if err := fill(f, data, perm); err != nil {
		return err
	}
	return Replace(f.Name(), path)
}

// TempPrefix begins the names of WriteFile's temporary files; what a crash leaves behind can be told by it.
const TempPrefix = ".new-"

func fill(f *os.File, data []byte, perm fs.FileMode) error {
	_, err := f.Write(data)
	if err == nil {
		err = f.Chmod(perm)
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// Replace renames temp, which the caller has synced, to path, and syncs the folder. Both must be in one folder.
func Replace(temp, path string) error {
	if err := os.Rename(temp, path); err != nil {
		return err
	}
	return SyncDir(filepath.Dir(path))
}

// Publish gives temp, which the caller has synced, the name path, unless path exists: then it returns an error that is
// fs.ErrExist and touches nothing but temp. Either way temp is removed. Both must be in one folder.
func Publish(temp, path string) error {
	defer os.Remove(temp)
	// A link, unlike a rename, fails when another process was first.
	err := os.Link(temp, path)
	if errors.Is(err, syscall.EPERM) || errors.Is(err, errors.ErrUnsupported) {
		err = renameIfAbsent(temp, path)
	}
	if err != nil {
		return err
	}
	return SyncDir(filepath.Dir(path))
}

// renameIfAbsent serves file systems without hard links; two processes in the same instant could both succeed there.
func renameIfAbsent(temp, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "publish", Path: path, Err: fs.ErrExist}
	}
	return os.Rename(temp, path)
}

// SyncDir makes the names in dir durable: after a rename, a creation or a removal.
func SyncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	if err := errors.Join(d.Sync(), d.Close()); err != nil {
		return fmt.Errorf("sync folder: %w", err)
	}
	return nil
}

// MkdirAll makes dir and its missing parents, and makes each new name durable.
func MkdirAll(dir string, perm fs.FileMode) error {
	if info, err := os.Stat(dir); err == nil {
		if info.IsDir() {
			return nil
		}
		return &fs.PathError{Op: "mkdir", Path: dir, Err: syscall.ENOTDIR}
	}
	parent := filepath.Dir(dir)
	if err := MkdirAll(parent, perm); err != nil {
		return err
	}
	if err := os.Mkdir(dir, perm); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	return SyncDir(parent)
}
