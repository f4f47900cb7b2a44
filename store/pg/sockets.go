package pg

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// socketLimit is the longest path of a socket in bytes: the address holds 108 on Linux
// (unix(7)) and 104 on macOS (from memory), with a zero byte at its end.
const socketLimit = 100

// socketPrefix starts the names of the short folders for sockets.
const socketPrefix = "chairblock-socket-"

// makeRunFolder makes the folder for the socket and checks that the server's
// account can enter it.
func (s *Server) makeRunFolder(ctx context.Context) error {
	if err := os.Mkdir(s.dir.run(), 0o700); err != nil && !errors.Is(err, fs.ErrExist) {
		return err
	}
	if s.account == nil {
		return nil
	}
	if err := os.Chown(s.dir.run(), s.account.uid, s.account.gid); err != nil {
		return err
	}
	cmd := exec.CommandContext(ctx, "/bin/sh", "-c", `cd -- "$1"`, "sh", s.dir.run())
	cmd.Dir = "/"
	detach(cmd, s.account, false)
	out, err := cmd.CombinedOutput()
	if ctx.Err() != nil {
		return context.Cause(ctx) // it was killed, which says nothing about the folder
	}
	if err != nil {
		return fmt.Errorf("%w: account %s, which runs the server because this process is root, cannot enter %s: %w: %s; "+
			"choose a folder outside closed folders, or open the way to it with chmod o+x",
			ErrUnreachable, s.account.name, s.dir, err, strings.TrimSpace(string(out)))
	}
	return nil
}

// checkPrograms checks that the server's account may run the programs.
func (s *Server) checkPrograms(ctx context.Context) error {
	if s.account == nil {
		return nil
	}
	program := filepath.Join(s.bin.Dir, "postgres")
	cmd := exec.CommandContext(ctx, program, "--version")
	cmd.Dir = "/"
	detach(cmd, s.account, false)
	out, err := cmd.CombinedOutput()
	if ctx.Err() != nil {
		return context.Cause(ctx) // it was killed, which says nothing about the program
	}
	if err != nil {
		return fmt.Errorf("%w: account %s, which runs the server because this process is root, cannot run %s: %w: %s",
			ErrUnreachable, s.account.name, program, err, strings.TrimSpace(string(out)))
	}
	return nil
}

// pickSockets picks the folder for the socket: a short one elsewhere when the
// path inside our own folder is too long.
func (s *Server) pickSockets() error {
	removeSockets(s.dir.readState().Sockets)
	s.sockets = s.dir.run()
	if len(filepath.Join(s.sockets, ".s.PGSQL.65535")) <= socketLimit {
		return nil
	}
	var err error
	for _, base := range []string{os.TempDir(), "/tmp"} {
		if len(filepath.Join(base, socketPrefix+"4294967295", ".s.PGSQL.65535")) > socketLimit {
			continue
		}
		if s.sockets, err = os.MkdirTemp(base, socketPrefix); err == nil {
			break
		}
	}
	if err != nil || s.sockets == s.dir.run() {
		return errors.Join(fmt.Errorf("the path of %s is too long for a socket and there is no short temporary folder", s.dir.run()), err)
	}
	if s.account != nil {
		return os.Chown(s.sockets, s.account.uid, s.account.gid)
	}
	return nil
}

// dropSockets removes the short folder, if there is one.
func (s *Server) dropSockets() { removeSockets(s.sockets) }

// removeSockets removes a short folder and the sockets in it; anything else that
// somebody put there stays.
func removeSockets(dir string) {
	if !strings.HasPrefix(filepath.Base(dir), socketPrefix) {
		return
	}
	left, err := filepath.Glob(filepath.Join(dir, ".s.PGSQL.*"))
	if err != nil {
		return
	}
	for _, name := range left {
		_ = os.Remove(name)
	}
	_ = os.Remove(dir) // refused by the system when it is not empty
}

// freePort is a port of 127.0.0.1 that nobody listens on now.
func freePort() (int, error) {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	port := l.Addr().(*net.TCPAddr).Port
	return port, l.Close()
}
