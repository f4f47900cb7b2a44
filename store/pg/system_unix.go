//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package pg

import (
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"syscall"
)

// supported says that a private server can run on this system.
const supported = true

// noFollow makes opening a link fail: root must not be led elsewhere by a link
// in a folder of another account.
const noFollow = syscall.O_NOFOLLOW

// detach gives the program a process group of its own, because Ctrl-C in a
// terminal reaches the whole group and would stop the server before the
// application has finished its work; and the account, when it is not nil.
// withParent asks the system to interrupt the program when the thread that
// starts it ends: the caller must keep that thread.
func detach(cmd *exec.Cmd, a *account, withParent bool) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if a != nil {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid), Groups: a.groups}
	}
	if withParent {
		followParent(cmd.SysProcAttr)
	}
}

func flock(f *os.File, wait bool) error {
	how := syscall.LOCK_EX
	if !wait {
		how |= syscall.LOCK_NB
	}
	for {
		err := syscall.Flock(int(f.Fd()), how)
		switch {
		case errors.Is(err, syscall.EINTR):
			continue
		case errors.Is(err, syscall.EWOULDBLOCK):
			return ErrLocked
		}
		return err
	}
}

func unlock(f *os.File) error { return syscall.Flock(int(f.Fd()), syscall.LOCK_UN) }

func owner(info fs.FileInfo) (uid, gid int) {
	st := info.Sys().(*syscall.Stat_t)
	return int(st.Uid), int(st.Gid)
}

// alive says whether the system lists the process, also as a zombie.
func alive(pid int) bool {
	err := syscall.Kill(pid, 0)
	return err == nil || errors.Is(err, syscall.EPERM)
}

// interrupt asks a server for a fast stop; a process that is gone is fine.
func interrupt(pid int) { _ = syscall.Kill(pid, syscall.SIGINT) }

// quitNow asks a server for an immediate stop.
func quitNow(pid int) { _ = syscall.Kill(pid, syscall.SIGQUIT) }

// killGroup ends a program and what it started.
func killGroup(pid int) error { return syscall.Kill(-pid, syscall.SIGKILL) }

// syncDisk writes everything out, so that what is renamed next is whole after a
// power cut.
func syncDisk() { syscall.Sync() }
