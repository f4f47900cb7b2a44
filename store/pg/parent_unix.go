//go:build darwin || freebsd || netbsd || openbsd || dragonfly

package pg

import "syscall"

// followParent does nothing: these systems have no such wish, and a server that
// is left over is stopped by the next start.
func followParent(*syscall.SysProcAttr) {}
