package pg

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"
)

// freshPrefix starts the names of clusters that are being made.
const freshPrefix = "data.new-"

// initialise makes the cluster under another name and renames it when it is
// whole: an initdb that was killed half way leaves files from which nobody can
// tell that they are not usable.
func (s *Server) initialise(ctx context.Context) error {
	s.logf("making a database in %s (once, a few seconds)", s.dir)
	unfinished, err := filepath.Glob(s.dir.path(freshPrefix + "*"))
	if err != nil {
		return err
	}
	for _, dir := range unfinished {
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	}
	fresh, err := os.MkdirTemp(string(s.dir), freshPrefix)
	if err != nil {
		return err
	}
	if s.account != nil {
		if err := os.Chown(fresh, s.account.uid, s.account.gid); err != nil {
			return err
		}
	}
	if err := s.runInitdb(ctx, fresh); err != nil {
		return errors.Join(err, os.RemoveAll(fresh))
	}
	if err := os.Rename(fresh, s.dir.data()); err != nil {
		return err
	}
	return syncFolder(string(s.dir))
}

// runInitdb makes a cluster in the empty folder fresh.
func (s *Server) runInitdb(ctx context.Context, fresh string) error {
	secret, err := s.secretFile()
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(secret) }()
	args := []string{"-D", fresh, "-U", adminRole, "-A", "scram-sha-256", "--pwfile", secret,
		"-E", "UTF8", "--locale=C", "--data-checksums"}
	if s.c.Settings["fsync"] == "off" {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, filepath.Join(s.bin.Dir, "initdb"), args...)
	cmd.Cancel = func() error { return killGroup(cmd.Process.Pid) }
	cmd.WaitDelay = time.Second
	s.outfit(cmd, true)
	// The system ends initdb when the thread that started it ends.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	out, err := cmd.CombinedOutput()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if err != nil {
		return &ExitError{Program: "initdb", Err: err, Output: lastLines(out)}
	}
	return nil
}

// secretFile writes the superuser's password where initdb, running as the
// server's account, can read it.
func (s *Server) secretFile() (string, error) {
	name := filepath.Join(s.dir.run(), "initdb.password")
	if err := os.Remove(name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return "", err
	}
	_, err = f.WriteString(s.admin + "\n")
	if s.account != nil {
		err = errors.Join(err, f.Chown(s.account.uid, s.account.gid))
	}
	return name, errors.Join(err, f.Close())
}

// outfit gives a program of PostgreSQL the account, a folder that the account
// can be in, and an environment without the caller's PG variables and locale,
// which would change what the program does.
func (s *Server) outfit(cmd *exec.Cmd, withParent bool) {
	cmd.Dir = s.dir.run()
	home, _ := os.UserHomeDir()
	if s.account != nil {
		home = s.account.home
	}
	cmd.Env = []string{"LC_ALL=C", "TZ=UTC", "HOME=" + home}
	for _, name := range []string{"PATH", "TMPDIR", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH"} {
		if value := os.Getenv(name); value != "" {
			cmd.Env = append(cmd.Env, name+"="+value)
		}
	}
	detach(cmd, s.account, withParent)
}

// syncFolder makes a rename in the folder last through a power cut.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("sync %s: %w", dir, errors.Join(err, f.Close()))
	}
	return f.Close()
}

// lastLines is the end of what a program wrote, at most 10 lines and 2,000 bytes
// (judgement: what a person reads).
func lastLines(out []byte) string {
	if len(out) > 2000 {
		out = out[len(out)-2000:]
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if len(lines) > 10 {
		lines = lines[len(lines)-10:]
	}
	return strings.Join(lines, "\n")
}
