package storetest

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"chairblock/store/pg"
)

const (
	// layout changes when what is kept on the machine looks different.
	layout = "2"
	// keepTime is how long a kept cluster is used, so that those of old schemas
	// do not pile up (judgement).
	keepTime = 7 * 24 * time.Hour
	// runPrefix starts the names of the processes' folders.
	runPrefix = "chairblock-test-"
)

// machine is this process's part of what the test processes of a machine share:
//
//	cache folder: cache.lock, golden-<key>.tar (a folder of package pg whose
//	cluster holds the template), *.new (one that is being made)
//	folders of the process, one in memory and one on disk: lease (locked while
//	the process lives), and a copy of the golden folder for each server
type machine struct {
	suite    *suite
	programs pg.Binaries
	cache    string
	golden   string
	fastRun  string // in memory where the system has such a place
	diskRun  string
}

// openMachine makes the folders of this process, after removing those of
// processes that died.
func (s *suite) openMachine() (*machine, error) {
	b, err := s.programs()
	if err != nil {
		return nil, err
	}
	cache, err := cacheDir()
	if err != nil {
		return nil, err
	}
	m := &machine{suite: s, programs: b, cache: cache}
	m.golden = filepath.Join(cache, "golden-"+digest(b.Dir, b.Build, s.hash, layout)+".tar")
	held, err := pg.TakeLock(filepath.Join(cache, "cache.lock"), true)
	if err != nil {
		return nil, err
	}
	return m, errors.Join(m.sweep(), m.makeRuns(), held.Release())
}

// givenCache names the variable with the folder to keep templates in.
const givenCache = "CHAIRBLOCK_TEST_CACHE"

// cacheDir is the folder that the processes of this account share: the one of
// CHAIRBLOCK_TEST_CACHE, or one below the account's cache folder, or for root,
// whose home is closed to the account that runs the servers, below /var/tmp.
func cacheDir() (string, error) {
	dir := os.Getenv(givenCache)
	mode := fs.FileMode(0o711)
	switch {
	case dir != "":
	case os.Geteuid() == 0:
		dir = "/var/tmp/chairblock-test-cache-0"
	default:
		base, err := os.UserCacheDir()
		if err != nil {
			return "", err
		}
		dir, mode = filepath.Join(base, "chairblock-test-cache"), 0o700
		if err := os.MkdirAll(base, 0o700); err != nil {
			return "", err
		}
	}
	err := os.Mkdir(dir, mode)
	if err == nil {
		return dir, os.Chmod(dir, mode)
	}
	if !errors.Is(err, fs.ErrExist) {
		return "", err
	}
	// In a folder that all may write to, the name may be taken by somebody else.
	if !isOurs(dir) {
		return "", fmt.Errorf("%s is not a folder of this account alone: remove it", dir)
	}
	return dir, nil
}

// isOurs says that dir is a folder, no link, that only this account can write to.
func isOurs(dir string) bool {
	info, err := os.Lstat(dir)
	if err != nil || !info.IsDir() || info.Mode().Perm()&0o022 != 0 {
		return false
	}
	uid, _ := owner(info)
	return uid == os.Geteuid()
}

// makeRuns makes the folders of this process. A server in memory starts and makes
// databases many times faster where the disk is slow at making files.
func (m *machine) makeRuns() error {
	var err error
	if m.diskRun, err = m.makeRun(os.TempDir()); err != nil {
		return err
	}
	m.fastRun = m.diskRun
	if memory := memoryDir(); memory != "" {
		m.fastRun, err = m.makeRun(memory)
	}
	return err
}

// makeRun makes a folder and takes its lease.
func (m *machine) makeRun(base string) (string, error) {
	run, err := os.MkdirTemp(base, runPrefix)
	if err != nil {
		return "", err
	}
	if os.Geteuid() == 0 {
		if err := os.Chmod(run, 0o711); err != nil {
			return "", err
		}
	}
	lease, err := pg.TakeLock(filepath.Join(run, "lease"), false)
	if err != nil {
		return "", err
	}
	m.suite.onClose(func() error { return errors.Join(os.RemoveAll(run), lease.Release()) })
	return run, nil
}

// sweep stops the servers and removes the folders of processes that died without
// cleaning up, and removes what is kept too long. It runs under the cache's lock,
// as does the making of folders, so that each folder it sees has its lease.
func (m *machine) sweep() error {
	for _, base := range []string{os.TempDir(), memoryDir()} {
		if base == "" {
			continue
		}
		runs, err := filepath.Glob(filepath.Join(base, runPrefix+"*"))
		if err != nil {
			return err
		}
		for _, run := range runs {
			if err := sweepRun(run); err != nil {
				return err
			}
		}
	}
	kept, err := filepath.Glob(filepath.Join(m.cache, "golden-*"))
	if err != nil {
		return err
	}
	for _, file := range kept {
		info, err := os.Lstat(file)
		if err != nil {
			return err
		}
		if time.Since(info.ModTime()) > keepTime || strings.HasSuffix(file, ".new") {
			if err := os.Remove(file); err != nil {
				return err
			}
		}
	}
	return nil
}

// sweepRun removes the folder of a process unless that process lives.
func sweepRun(run string) error {
	if !isOurs(run) {
		return nil
	}
	lease, err := pg.TakeLock(filepath.Join(run, "lease"), false)
	if errors.Is(err, pg.ErrLocked) {
		return nil
	}
	if err != nil {
		return err
	}
	defer lease.Release()
	entries, err := os.ReadDir(run)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if e.IsDir() {
			if err := pg.StopLeftover(context.Background(), filepath.Join(run, e.Name())); err != nil {
				return err
			}
		}
	}
	return os.RemoveAll(run)
}

// cluster unpacks the kept cluster, making it first when it is missing, and gives
// the folder, inside run.
func (m *machine) cluster(ctx context.Context, run, name string) (string, error) {
	held, err := pg.TakeLock(filepath.Join(m.cache, "cache.lock"), true)
	if err != nil {
		return "", err
	}
	defer held.Release()
	if _, err := os.Stat(m.golden); errors.Is(err, fs.ErrNotExist) {
		if err := m.makeGolden(ctx); err != nil {
			return "", fmt.Errorf("making the template: %w", err)
		}
	} else if err != nil {
		return "", err
	}
	dir := filepath.Join(run, name)
	return dir, unpack(m.golden, dir)
}

// makeGolden makes the cluster in this process's own folder and packs it into
// the cache, under another name until it is whole.
func (m *machine) makeGolden(ctx context.Context) error {
	dir := filepath.Join(m.fastRun, "golden")
	if err := m.fillGolden(ctx, dir); err != nil {
		return errors.Join(err, os.RemoveAll(dir))
	}
	fresh := m.golden + ".new"
	if err := errors.Join(pack(dir, fresh), os.RemoveAll(dir)); err != nil {
		return err
	}
	return os.Rename(fresh, m.golden)
}

func (m *machine) fillGolden(ctx context.Context, dir string) (err error) {
	server, err := pg.Start(ctx, pg.Config{
		Dir: dir, BinDir: m.programs.Dir, Database: template, Settings: fast, EndWithParent: true,
	})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, server.Stop()) }()
	if err := m.suite.migrate(ctx, server.URL()); err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	admin, err := pgx.Connect(ctx, server.AdminURL())
	if err != nil {
		return err
	}
	defer admin.Close(ctx)
	return seal(ctx, admin, template)
}
