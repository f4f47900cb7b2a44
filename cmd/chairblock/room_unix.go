//go:build linux || darwin

package main

import "syscall"

// room is how many bytes an ordinary account may still write below a folder.
func room(dir string) (int64, error) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil //nolint:unconvert // the types differ between systems
}
