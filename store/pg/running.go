package pg

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// ErrNotRunning means that nobody runs the server of a folder.
var ErrNotRunning = errors.New("no server runs in this folder")

// RunningURL is the address of the application's database in the private server
// that another process runs in a folder, "" being [DefaultDir], with the password
// inside: never log it. database is as in [Config]. It returns ErrNotRunning when
// there is none.
func RunningURL(dir, database string) (string, error) {
	if dir == "" {
		var err error
		if dir, err = DefaultDir(); err != nil {
			return "", err
		}
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return "", fmt.Errorf("pg: running: %w", err)
	}
	f := folder(dir)
	switch held, err := TakeLock(f.lock(), false); {
	case err == nil:
		return "", errors.Join(fmt.Errorf("pg: running: %w", ErrNotRunning), held.Release())
	case !errors.Is(err, ErrLocked):
		return "", fmt.Errorf("pg: running: %w", ErrNotRunning)
	}
	state := f.readState()
	text, err := os.ReadFile(f.appPassword())
	password := strings.TrimSpace(string(text))
	if err != nil || password == "" || state.Port == 0 {
		return "", fmt.Errorf("pg: running: %w", ErrNotRunning)
	}
	if database == "" {
		database = appRole
	}
	s := Server{port: state.Port}
	return s.url(appRole, password, database, false), nil
}
