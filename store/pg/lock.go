package pg

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
)

// ErrLocked means that another process, or another part of this one, holds the
// lock.
var ErrLocked = errors.New("locked by another process")

// Lock is a lock on a file. The system frees it when the process ends, however
// that happens.
type Lock struct{ f *os.File }

// TakeLock locks the file of that path, making it when it is missing, and writes
// this process's number into it. When somebody else holds the lock, TakeLock
// waits if wait is set and returns [ErrLocked] otherwise.
func TakeLock(path string, wait bool) (*Lock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|noFollow, 0o600)
	if err != nil {
		return nil, fmt.Errorf("pg: lock: %w", err)
	}
	if err := flock(f, wait); err != nil {
		return nil, fmt.Errorf("pg: lock %s: %w", path, errors.Join(err, f.Close()))
	}
	err = f.Truncate(0)
	if err == nil {
		_, err = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	}
	if err != nil {
		return nil, fmt.Errorf("pg: lock: %w", errors.Join(err, f.Close()))
	}
	return &Lock{f: f}, nil
}

// Release frees the lock. The file stays: removing it would let two processes
// hold locks on two files of the same name.
func (l *Lock) Release() error {
	// Closing alone would leave the lock to a program that is being started at
	// this moment and still has a copy of the file.
	if err := errors.Join(unlock(l.f), l.f.Close()); err != nil {
		return fmt.Errorf("pg: unlock: %w", err)
	}
	return nil
}

// lockHolder is the number of the process that wrote itself into the lock file,
// 0 when unknown.
func lockHolder(path string) int {
	text, err := os.ReadFile(path)
	if err != nil {
		return 0
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil {
		return 0
	}
	return pid
}
