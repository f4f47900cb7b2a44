//go:build unix

package pg_test

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"chairblock/store/pg"
)

// childDir makes the test program a launcher of that folder, see launchChild.
const childDir = "CHAIRBLOCK_TEST_LAUNCH"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if err := child(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	code := m.Run()
	if ready.dir != "" {
		if err := os.RemoveAll(ready.dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

// started is what a child says when its server answers.
type started struct {
	PID, Server int
	URL         string
}

// child is a launcher in a process of its own: it runs until it is interrupted.
func child(dir string) error {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	s, err := pg.Start(ctx, pg.Config{Dir: dir, EndWithParent: os.Getenv("CHAIRBLOCK_TEST_FOLLOW") != ""})
	if err != nil {
		return err
	}
	line, err := json.Marshal(started{PID: os.Getpid(), Server: s.PID(), URL: s.URL()})
	if err != nil {
		return err
	}
	fmt.Println(string(line))
	<-ctx.Done()
	return s.Stop()
}

// launchChild starts the server of dir in another process; change may alter how
// that process is started.
func launchChild(t *testing.T, dir string, change func(*exec.Cmd)) (*exec.Cmd, started) {
	t.Helper()
	program, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), childDir+"="+dir)
	cmd.Stderr = os.Stderr
	if change != nil {
		change(cmd)
	}
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait()
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err, "the child did not start")
	var s started
	require.NoError(t, json.Unmarshal([]byte(line), &s))
	return cmd, s
}

// tempDir is a folder that other accounts can enter, unlike t.TempDir of root.
// It lies in memory where that is possible: these tests are about processes.
func tempDir(t testing.TB) string {
	t.Helper()
	base := ""
	if _, err := os.Stat("/dev/shm"); err == nil {
		base = "/dev/shm"
	}
	dir, err := os.MkdirTemp(base, "pg-test-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return dir
}

// ready is a folder with a finished cluster, made once and copied by the tests
// that are not about making one.
var ready struct {
	sync.Once
	dir string
	err error
}

func readyDir(t testing.TB) string {
	t.Helper()
	ready.Do(func() {
		base := ""
		if _, err := os.Stat("/dev/shm"); err == nil {
			base = "/dev/shm"
		}
		if ready.dir, ready.err = os.MkdirTemp(base, "pg-ready-"); ready.err != nil {
			return
		}
		if ready.err = os.Chmod(ready.dir, 0o755); ready.err != nil {
			return
		}
		var s *pg.Server
		s, ready.err = pg.Start(context.Background(), pg.Config{Dir: filepath.Join(ready.dir, "d"), Settings: map[string]string{"fsync": "off"}})
		if ready.err == nil {
			ready.err = s.Stop()
		}
	})
	require.NoError(t, ready.err)
	dir := filepath.Join(tempDir(t), "d")
	out, err := exec.Command("cp", "-a", filepath.Join(ready.dir, "d"), dir).CombinedOutput()
	require.NoError(t, err, string(out))
	return dir
}

// logged collects progress lines.
type logged struct {
	mu   sync.Mutex
	text strings.Builder
}

func (l *logged) add(format string, args ...any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	fmt.Fprintf(&l.text, format+"\n", args...)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func start(t testing.TB, c pg.Config) *pg.Server {
	t.Helper()
	s, err := pg.Start(t.Context(), c)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Stop()) })
	return s
}

func connect(t testing.TB, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close(context.Background()) })
	return conn
}

func exec1(t testing.TB, conn *pgx.Conn, sql string) {
	t.Helper()
	_, err := conn.Exec(t.Context(), sql)
	require.NoError(t, err)
}

// keep writes a row that must be there whatever happens next.
func keep(t testing.TB, url string) {
	t.Helper()
	conn := connect(t, url)
	exec1(t, conn, `CREATE TABLE kept (n int)`)
	exec1(t, conn, `INSERT INTO kept VALUES (42)`)
}

func requireKept(t testing.TB, url string) {
	t.Helper()
	var n int
	require.NoError(t, connect(t, url).QueryRow(t.Context(), `SELECT n FROM kept`).Scan(&n))
	require.Equal(t, 42, n)
}

// eventually waits until f holds; the limit only ends a test that has failed.
func eventually(t testing.TB, what string, f func() bool) {
	t.Helper()
	for range 3000 {
		if f() {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("did not happen: " + what)
}

func gone(pid int) bool { return syscall.Kill(pid, 0) == syscall.ESRCH }

// timeAfter is for tests in which something must not happen, or may happen, in
// the meantime.
func timeAfter(milliseconds int) <-chan time.Time {
	return time.After(time.Duration(milliseconds) * time.Millisecond)
}
