package boltstore

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"syscall"
)

// LockedError says that another process has the store open.
type LockedError struct {
	Path    string
	PID     int    // of the holder; 0 when the system does not tell
	Command string // of the holder; "" when the system does not tell
}

func (e *LockedError) Error() string {
	if e.PID == 0 {
		return fmt.Sprintf("%s is in use by another process", e.Path)
	}
	return fmt.Sprintf("%s is in use by process %d (%s)", e.Path, e.PID, e.Command)
}

// newLockedError asks Linux's list of locks who holds path; elsewhere the holder stays unknown.
func newLockedError(path string) *LockedError {
	e := &LockedError{Path: path}
	var stat syscall.Stat_t
	locks, err := os.ReadFile("/proc/locks")
	if err != nil || syscall.Stat(path, &stat) != nil {
		return e
	}
	e.PID = flockHolder(string(locks), stat.Ino)
	if comm, err := os.ReadFile(fmt.Sprintf("/proc/%d/comm", e.PID)); err == nil {
		e.Command = strings.TrimSpace(string(comm))
	}
	return e
}

// flockHolder finds the process that holds an advisory lock on the inode in the text of /proc/locks (proc(5)), or 0:
//
//	1: FLOCK  ADVISORY  WRITE 708 00:13:16853 0 EOF
//
// A line that begins its second column with "->" waits for the lock. The device is not compared, since some file
// systems report another than stat does; the inode of a file held by this program is evidence enough for a message.
func flockHolder(locks string, inode uint64) int {
	for line := range strings.Lines(locks) {
		f := strings.Fields(line)
		if len(f) < 6 || f[1] != "FLOCK" {
			continue
		}
		device := strings.Split(f[5], ":")
		if device[len(device)-1] != strconv.FormatUint(inode, 10) {
			continue
		}
		if pid, err := strconv.Atoi(f[4]); err == nil && pid > 0 {
			return pid
		}
	}
	return 0
}
