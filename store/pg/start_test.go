//go:build unix

package pg_test

import (
	"context"
	"net/url"
	"os"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"chairblock/store/pg"
)

func TestAColdStartMakesADatabaseThatIsSafeAndAWarmStartKeepsIt(t *testing.T) {
	t.Parallel()
	base, err := os.MkdirTemp("", "pg-test-") // on disk, as in real life
	require.NoError(t, err)
	require.NoError(t, os.Chmod(base, 0o755))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(base)) })
	dir := filepath.Join(base, "deeper", "salon data")
	var lines logged
	s := start(t, pg.Config{Dir: dir, Log: lines.add})
	require.Equal(t, dir, s.Dir())
	first := s.URL()
	keep(t, first)

	conn := connect(t, first)
	require.NoError(t, pg.CheckServer(t.Context(), first))
	var super, makesDatabases, makesRoles, bypasses, owns bool
	require.NoError(t, conn.QueryRow(t.Context(), `
		SELECT r.rolsuper, r.rolcreatedb, r.rolcreaterole, r.rolbypassrls, d.datdba = r.oid
		FROM pg_roles r, pg_database d WHERE r.rolname = current_user AND d.datname = current_database()`).
		Scan(&super, &makesDatabases, &makesRoles, &bypasses, &owns))
	require.Equal(t, []bool{false, false, false, false, true}, []bool{super, makesDatabases, makesRoles, bypasses, owns})
	exec1(t, conn, `CREATE EXTENSION btree_gist`)
	for setting, want := range map[string]string{
		"data_checksums": "on", "listen_addresses": "127.0.0.1", "server_encoding": "UTF8",
		"lc_collate": "C", "password_encryption": "scram-sha-256", "fsync": "on",
	} {
		var got string
		require.NoError(t, conn.QueryRow(t.Context(), `SELECT setting FROM pg_settings WHERE name = $1
			UNION ALL SELECT datcollate FROM pg_database WHERE $1 = 'lc_collate' AND datname = current_database() LIMIT 1`,
			setting).Scan(&got))
		require.Equal(t, want, got, setting)
	}

	for name, want := range map[string]os.FileMode{"run": 0o700, "data": 0o700, "admin.password": 0o600,
		"app.password": 0o600, "state.json": 0o600, "postgres.log": 0o600, "launcher.lock": 0o600} {
		info, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		require.Equal(t, want, info.Mode().Perm(), name)
	}
	pid := s.PID()
	require.NoError(t, s.Stop())
	require.NoError(t, s.Stop(), "stopping again")
	<-s.Done()
	require.NoError(t, s.Err())
	require.True(t, gone(pid))
	require.Zero(t, s.PID())
	require.NoFileExists(t, filepath.Join(dir, "state.json"))
	require.NoFileExists(t, filepath.Join(dir, "data", "postmaster.pid"))

	again := start(t, pg.Config{Dir: dir, Log: lines.add})
	requireKept(t, again.URL())
	require.Equal(t, passwordOf(t, first), passwordOf(t, again.URL()))
	require.NotContains(t, lines.String(), passwordOf(t, first))
	require.Equal(t, 1, strings.Count(lines.String(), "making a database"))
}

func passwordOf(t *testing.T, address string) string {
	t.Helper()
	u, err := url.Parse(address)
	require.NoError(t, err)
	password, _ := u.User.Password()
	require.NotEmpty(t, password)
	return password
}

func TestTheServerIsOnItsOwnInItsProcessGroupAndNeverRoot(t *testing.T) {
	t.Parallel()
	s := start(t, pg.Config{Dir: readyDir(t)})
	group, err := syscall.Getpgid(s.PID())
	require.NoError(t, err)
	require.NotEqual(t, syscall.Getpgrp(), group, "Ctrl-C in a terminal would reach the server")
	info, err := os.Stat(filepath.Join(s.Dir(), "data"))
	require.NoError(t, err)
	owner := int(info.Sys().(*syscall.Stat_t).Uid)
	if os.Geteuid() != 0 {
		require.Equal(t, os.Geteuid(), owner)
		return
	}
	require.NotZero(t, owner)
	if runtime.GOOS == "linux" {
		info, err := os.Stat("/proc/" + strconv.Itoa(s.PID()))
		require.NoError(t, err)
		require.Equal(t, owner, int(info.Sys().(*syscall.Stat_t).Uid))
	}
}

func TestRootTakesTheAccountThatCalledSudo(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("SKIPPED: needs root")
	}
	nobody, err := user.Lookup("nobody")
	require.NoError(t, err)
	t.Setenv("SUDO_UID", nobody.Uid)
	dir := filepath.Join(tempDir(t), "d")
	s := start(t, pg.Config{Dir: dir, Settings: map[string]string{"fsync": "off"}})
	info, err := os.Stat(filepath.Join(dir, "data"))
	require.NoError(t, err)
	require.Equal(t, nobody.Uid, strconv.Itoa(int(info.Sys().(*syscall.Stat_t).Uid)))
	require.NoError(t, s.Stop())

	t.Setenv("SUDO_UID", "")
	s = start(t, pg.Config{Dir: dir, Settings: map[string]string{"fsync": "off"}})
	require.NoError(t, connect(t, s.URL()).Ping(t.Context()), "data keeps the account that made it")
}

func TestALongPathGetsItsSocketElsewhere(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(filepath.Dir(readyDir(t)), strings.Repeat("long", 30))
	require.NoError(t, os.Rename(filepath.Join(filepath.Dir(dir), "d"), dir))
	s := start(t, pg.Config{Dir: dir})
	u, err := url.Parse(s.AdminURL())
	require.NoError(t, err)
	sockets := u.Query().Get("host")
	require.Less(t, len(sockets), 80)
	info, err := os.Stat(sockets)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o700), info.Mode().Perm())
	require.NoError(t, connect(t, s.AdminURL()).Ping(t.Context()))
	require.NoError(t, s.Stop())
	require.NoDirExists(t, sockets)
}

func TestTheLogOfTheServerHoldsNoValuesOfRows(t *testing.T) {
	t.Parallel()
	s := start(t, pg.Config{Dir: readyDir(t)})
	conn := connect(t, s.URL())
	exec1(t, conn, `CREATE TABLE answer (text text UNIQUE CHECK (text <> 'canary-2'))`)
	exec1(t, conn, `INSERT INTO answer VALUES ('canary-1')`)
	for _, sql := range []string{
		`INSERT INTO answer VALUES ('canary-1')`,
		`INSERT INTO answer VALUES ('canary-2')`,
		`SELECT 'canary-3'::int`,
		`DO $$ BEGIN RAISE WARNING 'canary-4'; END $$`,
		`DO $$ BEGIN RAISE EXCEPTION 'canary-5'; END $$`,
	} {
		_, _ = conn.Exec(t.Context(), sql)
	}
	// A backend that dies makes the server name its statement.
	var backend int
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT pg_backend_pid()`).Scan(&backend))
	died := make(chan error, 1)
	go func() {
		_, err := conn.Exec(context.Background(), `SELECT 'canary-6', pg_sleep(60)`)
		died <- err
	}()
	admin := connect(t, s.AdminURL())
	eventually(t, "it runs the statement", func() bool {
		var runs bool
		err := admin.QueryRow(t.Context(), `SELECT query LIKE '%canary-6%' FROM pg_stat_activity WHERE pid = $1`, backend).Scan(&runs)
		return err == nil && runs
	})
	require.NoError(t, syscall.Kill(backend, syscall.SIGKILL))
	require.Error(t, <-died)
	eventually(t, "the server has recovered", func() bool {
		again, err := pgx.Connect(t.Context(), s.URL())
		return err == nil && again.Close(t.Context()) == nil
	})
	require.NoError(t, s.Stop())
	text, err := os.ReadFile(filepath.Join(s.Dir(), "postgres.log"))
	require.NoError(t, err)
	require.Contains(t, string(text), "was terminated by signal 9")
	require.NotContains(t, string(text), "canary")
	require.NotContains(t, string(text), passwordOf(t, s.URL()))
}

func TestAStartThatIsCalledOffLeavesAFolderThatStarts(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(tempDir(t), "d")
	ctx, cancel := context.WithCancel(t.Context())
	c := pg.Config{Dir: dir, Settings: map[string]string{"fsync": "off"}, Log: func(string, ...any) {}}
	go func() {
		defer cancel()
		for ctx.Err() == nil {
			half, err := filepath.Glob(filepath.Join(dir, "data.new-*", "PG_VERSION"))
			if err != nil || len(half) > 0 {
				return
			}
		}
	}()
	_, err := pg.Start(ctx, c)
	require.ErrorIs(t, err, context.Canceled)
	require.NoDirExists(t, filepath.Join(dir, "data"))

	// What an initdb that was killed leaves behind looks like a cluster.
	half := filepath.Join(dir, "data.new-1")
	require.NoError(t, os.MkdirAll(filepath.Join(half, "global"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(half, "PG_VERSION"), []byte("15\n"), 0o600))
	s := start(t, c)
	require.NoError(t, connect(t, s.URL()).Ping(t.Context()))
	require.NoDirExists(t, half)
}

func BenchmarkColdStart(b *testing.B) {
	for b.Loop() {
		dir := filepath.Join(b.TempDir(), "d")
		openWay(b, dir)
		s, err := pg.Start(b.Context(), pg.Config{Dir: dir})
		require.NoError(b, err)
		b.StopTimer()
		require.NoError(b, s.Stop())
		b.StartTimer()
	}
}

func BenchmarkWarmStart(b *testing.B) {
	dir := filepath.Join(b.TempDir(), "d")
	openWay(b, dir)
	s, err := pg.Start(b.Context(), pg.Config{Dir: dir})
	require.NoError(b, err)
	require.NoError(b, s.Stop())
	for b.Loop() {
		s, err := pg.Start(b.Context(), pg.Config{Dir: dir})
		require.NoError(b, err)
		b.StopTimer()
		require.NoError(b, s.Stop())
		b.StartTimer()
	}
}

// openWay opens the closed parents of a benchmark's folder to other accounts.
func openWay(b *testing.B, dir string) {
	b.Helper()
	for range 2 {
		dir = filepath.Dir(dir)
		require.NoError(b, os.Chmod(dir, 0o755))
	}
}
