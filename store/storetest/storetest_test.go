//go:build unix

package storetest_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/stretchr/testify/require"

	"chairblock/store/pg"
	"chairblock/store/storetest"
)

// panics makes TestInAChildThatPanics do so.
const panics = "CHAIRBLOCK_TEST_PANIC"

func TestMain(m *testing.M) { os.Exit(storetest.Main(m, migrate, schema)) }

// schema needs what the project's own needs of its role: a trusted extension and
// an exclusion constraint on it.
const schema = `
CREATE EXTENSION btree_gist;
CREATE TABLE block (unit bigint NOT NULL, span tstzrange NOT NULL, EXCLUDE USING gist (unit WITH =, span WITH &&));`

func migrate(ctx context.Context, url string) error {
	fmt.Fprintln(os.Stderr, "migrating")
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	_, err = conn.Exec(ctx, schema)
	return err
}

func connect(t testing.TB, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return conn
}

const insert = `INSERT INTO block VALUES (1, '[2026-03-02 09:00Z, 2026-03-02 10:00Z)')`

func TestEachTestGetsAFreshDatabaseOfAnOrdinaryRole(t *testing.T) {
	for range 2 {
		conn := connect(t, storetest.URL(t))
		_, err := conn.Exec(t.Context(), insert)
		require.NoError(t, err, "the other database's row is not here")
		_, err = conn.Exec(t.Context(), insert)
		var refused *pgconn.PgError
		require.ErrorAs(t, err, &refused)
		require.Equal(t, "23P01", refused.Code)
		var super, owns bool
		require.NoError(t, conn.QueryRow(t.Context(), `
			SELECT r.rolsuper, d.datdba = r.oid FROM pg_roles r, pg_database d
			WHERE r.rolname = current_user AND d.datname = current_database()`).Scan(&super, &owns))
		require.False(t, super && os.Getenv("TEST_DATABASE_URL") == "")
		require.True(t, owns)
	}
}

func TestDatabasesMadeAtTheSameTimeDoNotMeet(t *testing.T) {
	for i := range 12 {
		t.Run(strconv.Itoa(i), func(t *testing.T) {
			t.Parallel()
			_, err := connect(t, storetest.URL(t)).Exec(t.Context(), insert)
			require.NoError(t, err)
		})
	}
}

func TestADatabaseIsFilledOnceAndEachTestGetsACopy(t *testing.T) {
	var filled int
	fill := func(address string) error {
		filled++
		conn, err := pgx.Connect(t.Context(), address)
		if err != nil {
			return err
		}
		_, err = conn.Exec(t.Context(), insert)
		return errors.Join(err, conn.Close(t.Context()))
	}
	for i := range 2 {
		conn := connect(t, storetest.Filled(t, "one block", fill))
		var rows int
		require.NoError(t, conn.QueryRow(t.Context(), `SELECT count(*) FROM block`).Scan(&rows))
		require.Equal(t, 1, rows, "copy %d", i)
		_, err := conn.Exec(t.Context(), `DELETE FROM block`)
		require.NoError(t, err)
	}
	require.Equal(t, 1, filled)
	conn := connect(t, storetest.Filled(t, "nothing", func(string) error { return nil }))
	_, err := conn.Exec(t.Context(), insert)
	require.NoError(t, err, "another key's row is not here")
}

func TestADatabaseIsDroppedWithItsTest(t *testing.T) {
	var name string
	t.Run("inner", func(t *testing.T) {
		conn := connect(t, storetest.URL(t))
		require.NoError(t, conn.QueryRow(t.Context(), `SELECT current_database()`).Scan(&name))
	})
	var left int
	require.NoError(t, connect(t, storetest.URL(t)).
		QueryRow(t.Context(), `SELECT count(*) FROM pg_database WHERE datname = $1`, name).Scan(&left))
	require.Zero(t, left)
}

func TestARealServerKeepsWhatItConfirmedWhenItIsKilled(t *testing.T) {
	s := storetest.Real(t)
	conn := connect(t, s.URL())
	require.NoError(t, pg.CheckServer(t.Context(), s.URL()))
	_, err := conn.Exec(t.Context(), insert)
	require.NoError(t, err)
	before := s.PID()
	require.NoError(t, syscall.Kill(before, syscall.SIGKILL))
	var rows int
	for range 1000 {
		if again, err := pgx.Connect(t.Context(), s.URL()); err == nil && s.PID() != before && s.PID() != 0 {
			require.NoError(t, again.QueryRow(t.Context(), `SELECT count(*) FROM block`).Scan(&rows))
			require.NoError(t, again.Close(t.Context()))
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	require.Equal(t, 1, rows)
}

// run runs tests of this package in another process and gives what it wrote.
func run(t *testing.T, pattern string, env ...string) (string, error) {
	t.Helper()
	program, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(program, "-test.v", "-test.run", "^"+pattern+"$")
	cmd.Env = append(os.Environ(), env...)
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err = cmd.Run()
	return out.String(), err
}

// cache is a folder for templates that other accounts can enter.
func cache(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "storetest-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return filepath.Join(dir, "cache")
}

const anyTest = "TestEachTestGetsAFreshDatabaseOfAnOrdinaryRole"

func TestTheTemplateIsMadeOnceForAllProcesses(t *testing.T) {
	own := "CHAIRBLOCK_TEST_CACHE=" + cache(t)
	var outs [2]string
	var errs [2]error
	var both sync.WaitGroup
	for i := range outs {
		both.Go(func() { outs[i], errs[i] = run(t, anyTest, own, "TEST_DATABASE_URL=") })
	}
	both.Wait()
	require.NoError(t, errs[0], outs[0])
	require.NoError(t, errs[1], outs[1])
	require.Equal(t, 1, strings.Count(outs[0]+outs[1], "migrating"), outs[0]+outs[1])
}

// TestInAChildThatPanics only does something in the process that the next test
// starts.
func TestInAChildThatPanics(t *testing.T) {
	if os.Getenv(panics) == "" {
		return
	}
	var backend int
	require.NoError(t, connect(t, storetest.URL(t)).QueryRow(t.Context(), `SELECT pg_backend_pid()`).Scan(&backend))
	s := storetest.Real(t)
	fmt.Printf("\nprocesses %d %d folder %s\n", backend, s.PID(), filepath.Dir(s.Dir()))
	go panic("as wished")
	select {}
}

func TestNothingOutlivesAProcessThatPanics(t *testing.T) {
	out, err := run(t, "TestInAChildThatPanics", panics+"=1", "TEST_DATABASE_URL=")
	require.Error(t, err)
	require.Contains(t, out, "panic: as wished")
	m := regexp.MustCompile(`processes (\d+) (\d+) folder (\S+)`).FindStringSubmatch(out)
	require.NotNil(t, m, out)
	for _, text := range m[1:3] {
		pid, err := strconv.Atoi(text)
		require.NoError(t, err)
		for range 1000 {
			if runtime.GOOS != "linux" || syscall.Kill(pid, 0) == syscall.ESRCH {
				break
			}
			time.Sleep(10 * time.Millisecond)
		}
		require.True(t, runtime.GOOS != "linux" || syscall.Kill(pid, 0) == syscall.ESRCH, "process %d is still there", pid)
	}
	require.DirExists(t, m[3])
	out, err = run(t, anyTest, "TEST_DATABASE_URL=")
	require.NoError(t, err, out)
	require.NoDirExists(t, m[3], "the next process clears up")
}

// leaves makes TestInAChildThatLeavesAServer start one in that folder.
const leaves = "CHAIRBLOCK_TEST_LEAVE"

// TestInAChildThatLeavesAServer only does something in the process that the next
// test starts: it plays a system that does not stop servers by itself.
func TestInAChildThatLeavesAServer(t *testing.T) {
	dir := os.Getenv(leaves)
	if dir == "" {
		return
	}
	s, err := pg.Start(t.Context(), pg.Config{Dir: filepath.Join(dir, "fast"), Settings: map[string]string{"fsync": "off"}})
	require.NoError(t, err)
	lease, err := pg.TakeLock(filepath.Join(dir, "lease"), false)
	require.NoError(t, err)
	fmt.Printf("\nprocess %d\n", s.PID())
	require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGKILL))
	runtime.KeepAlive(lease)
}

func TestAServerThatADeadProcessLeftIsStopped(t *testing.T) {
	base, err := os.MkdirTemp("", "storetest-")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(base)) })
	dir := filepath.Join(base, "chairblock-test-1")
	for _, way := range []string{base, dir} {
		require.NoError(t, os.MkdirAll(way, 0o755))
		require.NoError(t, os.Chmod(way, 0o755))
	}
	out, err := run(t, "TestInAChildThatLeavesAServer", leaves+"="+dir, "TEST_DATABASE_URL=")
	require.Error(t, err)
	m := regexp.MustCompile(`process (\d+)`).FindStringSubmatch(out)
	require.NotNil(t, m, out)
	pid, err := strconv.Atoi(m[1])
	require.NoError(t, err)
	require.NoError(t, syscall.Kill(pid, 0), "the server is left")
	out, err = run(t, anyTest, "TMPDIR="+base, "TEST_DATABASE_URL=")
	require.NoError(t, err, out)
	require.NoDirExists(t, dir)
	for range 1000 {
		if syscall.Kill(pid, 0) == syscall.ESRCH {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("the server is still there")
}

func TestAGivenServerIsUsedAndLeftTidy(t *testing.T) {
	s := storetest.Real(t)
	admin := connect(t, s.AdminURL())
	const role = "CREATE ROLE maker LOGIN CREATEDB PASSWORD 'water'; CREATE ROLE reader LOGIN PASSWORD 'water'"
	_, err := admin.Exec(t.Context(), role)
	require.NoError(t, err)
	as := func(name string) string {
		u, err := url.Parse(s.URL())
		require.NoError(t, err)
		u.User = url.UserPassword(name, "water")
		u.Path = "/postgres"
		return u.String()
	}
	for _, given := range []string{s.AdminURL(), as("maker")} {
		out, err := run(t, anyTest, "TEST_DATABASE_URL="+given)
		require.NoError(t, err, out)
		require.NotContains(t, out, "storetest: cleaning up")
	}
	out, err := run(t, anyTest, "TEST_DATABASE_URL="+s.AdminURL())
	require.NoError(t, err, out)
	require.NotContains(t, out, "migrating", "the template is still there")
	var left int
	require.NoError(t, admin.QueryRow(t.Context(), `SELECT count(*) FROM pg_database WHERE datname LIKE 'test\_%'`).Scan(&left))
	require.Zero(t, left)

	out, err = run(t, anyTest, "TEST_DATABASE_URL="+as("reader"))
	require.Error(t, err)
	require.Contains(t, out, `ALTER ROLE "reader" CREATEDB`)
	require.NotContains(t, out, "water")
}

func BenchmarkFreshDatabase(b *testing.B) {
	storetest.URL(b)
	for b.Loop() {
		storetest.URL(b)
	}
}

func BenchmarkRealServer(b *testing.B) {
	for b.Loop() {
		s := storetest.Real(b)
		b.StopTimer()
		require.NoError(b, s.Stop())
		b.StartTimer()
	}
}
