//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package pg

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
)

// supported is false: Start refuses before it calls anything below.
const supported = false

const noFollow = 0

func detach(*exec.Cmd, *account, bool) {}

func flock(*os.File, bool) error { return errors.ErrUnsupported }

func unlock(*os.File) error { return errors.ErrUnsupported }

func owner(fs.FileInfo) (uid, gid int) { return -1, -1 }

func alive(int) bool { return false }

func interrupt(int) {}

func quitNow(int) {}

func killGroup(int) error { return errors.ErrUnsupported }

func syncDisk() {}
