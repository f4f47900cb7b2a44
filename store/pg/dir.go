package pg

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
)

// folder is the folder of one private server:
//
//	launcher.lock    held while a process runs the server; marks the folder as ours
//	data             the cluster; data.new-* is one that is being made
//	run              the socket, open to the server's account only
//	admin.password   of the superuser
//	app.password     of the application's role
//	state.json       port, socket and process while the server runs
//	postgres.log     what the server wrote
//	postgres-bin-*   programs that Fetch took
//
// When this process is root, the folder and its files stay root's, except data
// and run, which belong to the server's account.
type folder string

func (f folder) path(name string) string { return filepath.Join(string(f), name) }

func (f folder) data() string          { return f.path("data") }
func (f folder) run() string           { return f.path("run") }
func (f folder) lock() string          { return f.path("launcher.lock") }
func (f folder) log() string           { return f.path("postgres.log") }
func (f folder) state() string         { return f.path("state.json") }
func (f folder) adminPassword() string { return f.path("admin.password") }
func (f folder) appPassword() string   { return f.path("app.password") }

// DefaultDir is the folder for this account: /var/lib/chairblock for root, whose
// home is closed to the account that the server runs as; otherwise chairblock in
// the XDG data home, or in Application Support on macOS.
func DefaultDir() (string, error) {
	if os.Geteuid() == 0 {
		return "/var/lib/chairblock", nil
	}
	if dir := os.Getenv("XDG_DATA_HOME"); filepath.IsAbs(dir) && runtime.GOOS != "darwin" {
		return filepath.Join(dir, "chairblock"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("pg: default folder: %w: name a folder for the data", err)
	}
	if runtime.GOOS == "darwin" {
		return filepath.Join(home, "Library", "Application Support", "chairblock"), nil
	}
	return filepath.Join(home, ".local", "share", "chairblock"), nil
}

// claim makes sure that the folder is ours or free to take, makes it when it is
// missing, and locks it.
func claim(dir string) (folder, *Lock, error) {
	var err error
	if dir == "" {
		if dir, err = DefaultDir(); err != nil {
			return "", nil, err
		}
	}
	if dir, err = filepath.Abs(dir); err != nil {
		return "", nil, err
	}
	f := folder(dir)
	if err := f.inspect(); err != nil {
		return "", nil, err
	}
	if err := f.make(); err != nil {
		return "", nil, fmt.Errorf("%w: %w", ErrUnreachable, err)
	}
	// One name for one folder: the leftover of a killed process is found by it.
	if dir, err = filepath.EvalSymlinks(dir); err != nil {
		return "", nil, err
	}
	f = folder(dir)
	held, err := TakeLock(f.lock(), false)
	switch {
	case errors.Is(err, ErrLocked):
		return "", nil, &InUseError{Dir: dir, PID: lockHolder(f.lock())}
	case errors.Is(err, fs.ErrPermission):
		return "", nil, fmt.Errorf("%w: %w: run as the account that made it, or choose another folder", ErrUnreachable, err)
	case err != nil:
		return "", nil, err
	}
	return f, held, nil
}

// inspect refuses a folder that holds something else than what this package
// puts there.
func (f folder) inspect() error {
	entries, err := os.ReadDir(string(f))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%w: %w: run as the account that made it, or choose another folder", ErrUnreachable, err)
	case err != nil:
		return fmt.Errorf("%w: %w", ErrForeignFolder, err)
	}
	names := make([]string, 0, len(entries))
	for _, e := range entries {
		if e.Name() != "lost+found" && e.Name() != ".DS_Store" {
			names = append(names, e.Name())
		}
	}
	switch {
	case len(names) == 0:
		return nil
	case slices.Contains(names, "PG_VERSION"):
		return fmt.Errorf("%w: %s is itself the data folder of a PostgreSQL server; choose an empty folder, "+
			"or start that server and set DATABASE_URL", ErrForeignFolder, f)
	case !slices.Contains(names, "launcher.lock"):
		return fmt.Errorf("%w: %s is not empty (it holds %s); choose an empty or a new folder", ErrForeignFolder, f, names[0])
	case slices.Contains(names, "data"):
		if _, err := os.Stat(filepath.Join(f.data(), "PG_VERSION")); errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%w: %s holds no PostgreSQL data (no PG_VERSION in it); put the data back, "+
				"or move the folder away to begin anew", ErrForeignFolder, f.data())
		}
	}
	return nil
}

// make makes the folder when it is missing, enterable for the server's account.
func (f folder) make() error {
	if err := os.MkdirAll(filepath.Dir(string(f)), 0o755); err != nil {
		return err
	}
	err := os.Mkdir(string(f), 0o700)
	if errors.Is(err, fs.ErrExist) {
		return nil
	}
	if err == nil && os.Geteuid() == 0 {
		return os.Chmod(string(f), 0o711)
	}
	return err
}

// major is the version that made the data, 0 when there is none yet.
func (f folder) major() (int, error) {
	name := filepath.Join(f.data(), "PG_VERSION")
	text, err := os.ReadFile(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return 0, nil
	case errors.Is(err, fs.ErrPermission):
		return 0, fmt.Errorf("%w: %w: run as the account that made it, or choose another folder", ErrUnreachable, err)
	case err != nil:
		return 0, err
	}
	// Before version 10 a major version had two numbers.
	whole, _, _ := strings.Cut(strings.TrimSpace(string(text)), ".")
	major, err := strconv.Atoi(whole)
	if err != nil || major < 1 {
		return 0, fmt.Errorf("%w: %s says %q instead of a version", ErrForeignFolder, name, text)
	}
	return major, nil
}

// write replaces a file of the folder as a whole, so that a crash leaves the old
// or the new one. It is readable for the folder's owner only.
func (f folder) write(name string, content []byte) error {
	temp := name + ".new"
	if err := os.Remove(temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	w, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = w.Write(content)
	if err := errors.Join(err, f.own(w), w.Sync(), w.Close()); err != nil {
		return err
	}
	return os.Rename(temp, name)
}

// own gives a file made by root to the folder's owner, who may start the server
// next time.
func (f folder) own(w *os.File) error {
	if os.Geteuid() != 0 {
		return nil
	}
	info, err := os.Stat(string(f))
	if err != nil {
		return err
	}
	uid, gid := owner(info)
	return w.Chown(uid, gid)
}

// password reads a password, or makes and stores one when there is none.
func (f folder) password(name string) (password string, made bool, err error) {
	text, err := os.ReadFile(name)
	if err == nil && len(strings.TrimSpace(string(text))) > 0 {
		return strings.TrimSpace(string(text)), false, nil
	}
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", false, err
	}
	password = rand.Text()
	return password, true, f.write(name, []byte(password+"\n"))
}

// readPasswords reads the two passwords; fresh says that there is no data yet.
func (s *Server) readPasswords(fresh bool) error {
	if !fresh {
		if _, err := os.Stat(s.dir.adminPassword()); err != nil {
			return fmt.Errorf("%w: %w: put the file back from a backup, or set a new password with "+
				"'postgres --single -D %s postgres' and write it into the file",
				ErrPasswordGone, err, s.dir.data())
		}
	}
	var err error
	if s.admin, _, err = s.dir.password(s.dir.adminPassword()); err != nil {
		return err
	}
	s.app, s.newApp, err = s.dir.password(s.dir.appPassword())
	return err
}

// running is what state.json holds while the server runs.
type running struct {
	LauncherPID int    `json:"launcher_pid"`
	ServerPID   int    `json:"server_pid"`
	Port        int    `json:"port"`
	Sockets     string `json:"socket_dir"`
	Version     string `json:"version"`
}

func (s *Server) writeState(pid int) error {
	text, err := json.MarshalIndent(running{
		LauncherPID: os.Getpid(), ServerPID: pid, Port: s.port, Sockets: s.sockets, Version: s.bin.Version,
	}, "", "  ")
	if err != nil {
		return err
	}
	return s.dir.write(s.dir.state(), append(text, '\n'))
}

// readState gives what a process that was killed left behind; the zero value
// when there is nothing to read.
func (f folder) readState() running {
	var r running
	text, err := os.ReadFile(f.state())
	if err != nil || json.Unmarshal(text, &r) != nil {
		return running{}
	}
	return r
}
