//go:build unix

package pg_test

import (
	"os"
	"os/exec"
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

func TestASecondInstanceIsRefusedAndTheFirstGoesOn(t *testing.T) {
	t.Parallel()
	dir := readyDir(t)
	_, first := launchChild(t, dir, nil)
	_, err := pg.Start(t.Context(), pg.Config{Dir: dir})
	var inUse *pg.InUseError
	require.ErrorAs(t, err, &inUse)
	require.Equal(t, first.PID, inUse.PID)
	require.ErrorContains(t, err, "another instance (pid "+strconv.Itoa(first.PID)+") already uses "+dir)
	require.ErrorAs(t, pg.StopLeftover(t.Context(), dir), &inUse)
	require.NoError(t, connect(t, first.URL).Ping(t.Context()))
}

func TestAServerLeftByAKilledProcessIsTakenOver(t *testing.T) {
	t.Parallel()
	dir := readyDir(t)
	cmd, first := launchChild(t, dir, nil)
	keep(t, first.URL)
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	require.False(t, gone(first.Server), "the server outlives its launcher")

	var lines logged
	s := start(t, pg.Config{Dir: dir, Log: lines.add})
	requireKept(t, s.URL())
	require.NotEqual(t, first.Server, s.PID())
	require.Contains(t, lines.String(), "a server of an earlier run (pid "+strconv.Itoa(first.Server)+")")
	eventually(t, "the old server is gone", func() bool { return gone(first.Server) })
}

func TestAKilledServerIsNotFollowedWhileItsBackendsLive(t *testing.T) {
	t.Parallel()
	dir := readyDir(t)
	cmd, first := launchChild(t, dir, nil)
	keep(t, first.URL)
	var backend int
	require.NoError(t, connect(t, first.URL).QueryRow(t.Context(), `SELECT pg_backend_pid()`).Scan(&backend))
	require.NoError(t, syscall.Kill(backend, syscall.SIGSTOP)) // one that does not notice
	require.NoError(t, cmd.Process.Kill())
	require.NoError(t, syscall.Kill(first.Server, syscall.SIGKILL))
	_ = cmd.Wait()
	eventually(t, "the killed server is no longer listed", func() bool { return gone(first.Server) })
	require.FileExists(t, filepath.Join(dir, "data", "postmaster.pid"))

	var s *pg.Server
	began := make(chan error, 1)
	go func() {
		var err error
		s, err = pg.Start(t.Context(), pg.Config{Dir: dir})
		began <- err
	}()
	select {
	case err := <-began:
		require.NoError(t, err)
		t.Fatal("two servers write to the same data")
	case <-timeAfter(1000):
	}
	require.NoError(t, syscall.Kill(backend, syscall.SIGCONT))
	require.NoError(t, <-began)
	requireKept(t, s.URL())
	require.NoError(t, s.Stop())
}

func TestAProcessThatIsDeadButListedIsWaitedFor(t *testing.T) {
	t.Parallel()
	dir := readyDir(t)
	zombie := exec.Command("sleep", "600")
	require.NoError(t, zombie.Start())
	pid := strconv.Itoa(zombie.Process.Pid)
	require.NoError(t, zombie.Process.Kill())
	eventually(t, "it is dead", func() bool { return pg.IsZombie(zombie.Process.Pid) })
	name := filepath.Join(dir, "data", "postmaster.pid")
	require.NoError(t, os.WriteFile(name, []byte(pid+"\n"+dir+"/data\n"), 0o600))
	info, err := os.Stat(filepath.Join(dir, "data"))
	require.NoError(t, err)
	st := info.Sys().(*syscall.Stat_t)
	require.NoError(t, os.Chown(name, int(st.Uid), int(st.Gid)))

	stopped := make(chan error, 1)
	go func() { stopped <- pg.StopLeftover(t.Context(), dir) }()
	select {
	case err := <-stopped:
		t.Fatalf("a zombie is taken for gone, which PostgreSQL does not: %v", err)
	case <-timeAfter(300):
	}
	_ = zombie.Wait() // reaps it
	require.NoError(t, <-stopped)
	require.FileExists(t, name, "only PostgreSQL itself may remove it")
	require.NoError(t, start(t, pg.Config{Dir: dir}).Stop())
}

func TestAServerThatDiesIsStartedAgainAtTheSameAddress(t *testing.T) {
	t.Parallel()
	var lines logged
	s := start(t, pg.Config{Dir: readyDir(t), Log: lines.add})
	keep(t, s.URL())
	url := s.URL()
	for range 2 {
		before := s.PID()
		require.NoError(t, syscall.Kill(before, syscall.SIGKILL))
		eventually(t, "the server answers again", func() bool {
			pid := s.PID()
			if pid == 0 || pid == before {
				return false
			}
			conn, err := pgx.Connect(t.Context(), url)
			return err == nil && conn.Close(t.Context()) == nil
		})
		require.Equal(t, url, s.URL())
		requireKept(t, url)
	}
	require.Contains(t, lines.String(), "PostgreSQL ended by itself (signal: killed)")
	require.Contains(t, lines.String(), "answers again")
	require.NotContains(t, lines.String(), passwordOf(t, url))
	select {
	case <-s.Done():
		t.Fatal("done, but it runs")
	default:
	}
}

func TestStopInTheMiddleOfARestartLeavesNothingRunning(t *testing.T) {
	t.Parallel()
	s := start(t, pg.Config{Dir: readyDir(t)})
	for _, pause := range []int{0, 120, 200} {
		before := s.PID()
		require.NoError(t, syscall.Kill(before, syscall.SIGKILL))
		<-timeAfter(pause)
		require.NoError(t, s.Stop())
		eventually(t, "no server has the folder open", func() bool { return !anyServes(t, filepath.Join(s.Dir(), "data")) })
		s = start(t, pg.Config{Dir: s.Dir()})
	}
}

// anyServes looks through all processes for a server of the data folder.
func anyServes(t *testing.T, data string) bool {
	t.Helper()
	out, err := exec.Command("ps", "-ww", "-e", "-o", "command=").Output()
	require.NoError(t, err)
	for line := range strings.Lines(string(out)) {
		if _, _, serves := pg.Serves("S "+line, data); serves {
			return true
		}
	}
	return false
}

func TestAServerWhoseDataHasGoneEndsForGood(t *testing.T) {
	t.Parallel()
	var lines logged
	s, err := pg.Start(t.Context(), pg.Config{Dir: readyDir(t), Log: lines.add})
	require.NoError(t, err)
	data := filepath.Join(s.Dir(), "data")
	require.NoError(t, os.Rename(data, data+".away"))
	require.NoError(t, syscall.Kill(s.PID(), syscall.SIGKILL))
	<-s.Done()
	require.ErrorContains(t, s.Err(), "gone or was replaced")
	require.ErrorContains(t, s.Stop(), "gone or was replaced")
	require.NoDirExists(t, data, "nothing is made in its place")

	// Also clears up the shared memory of the killed server.
	require.NoError(t, os.Rename(data+".away", data))
	require.NoError(t, start(t, pg.Config{Dir: s.Dir()}).Stop())
}

func TestTheServerEndsWithItsLauncherWhenAsked(t *testing.T) {
	t.Parallel()
	if runtime.GOOS != "linux" {
		t.Skip("SKIPPED: only Linux can do that")
	}
	cmd, first := launchChild(t, readyDir(t), func(cmd *exec.Cmd) {
		cmd.Env = append(cmd.Env, "CHAIRBLOCK_TEST_FOLLOW=1")
	})
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	eventually(t, "the server is gone", func() bool { return gone(first.Server) })
}

func TestAnInterruptedLauncherStopsItsServer(t *testing.T) {
	t.Parallel()
	dir := readyDir(t)
	cmd, first := launchChild(t, dir, nil)
	require.NoError(t, cmd.Process.Signal(syscall.SIGTERM))
	require.NoError(t, cmd.Wait())
	require.True(t, gone(first.Server))
	require.NoFileExists(t, filepath.Join(dir, "data", "postmaster.pid"))
}

func TestAnAccountWithoutRightsRunsItsOwnServer(t *testing.T) {
	t.Parallel()
	if os.Geteuid() != 0 {
		t.Skip("SKIPPED: needs root to become another account; the other tests run as one already")
	}
	nobody, err := user.Lookup("nobody")
	require.NoError(t, err)
	uid, err := strconv.Atoi(nobody.Uid)
	require.NoError(t, err)
	gid, err := strconv.Atoi(nobody.Gid)
	require.NoError(t, err)
	home := filepath.Join(tempDir(t), "home")
	require.NoError(t, os.Mkdir(home, 0o700))
	require.NoError(t, os.Chown(home, uid, gid))
	dir := filepath.Join(home, ".local", "share", "chairblock") // the default of that account
	self, err := os.Executable()
	require.NoError(t, err)
	program := filepath.Join(tempDir(t), "launcher") // the test's own folder is closed
	out, err := exec.Command("cp", self, program).CombinedOutput()
	require.NoError(t, err, string(out))

	as := func(cmd *exec.Cmd) {
		cmd.Path, cmd.Args = program, []string{program}
		cmd.Dir = home
		cmd.Env = append(cmd.Env, "HOME="+home, "XDG_DATA_HOME=")
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	}
	cmd, first := launchChild(t, dir, as)
	keep(t, first.URL)
	for _, name := range []string{"", "data", "app.password"} {
		info, err := os.Stat(filepath.Join(dir, name))
		require.NoError(t, err)
		require.Equal(t, uid, int(info.Sys().(*syscall.Stat_t).Uid), name)
	}
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()
	_, second := launchChild(t, dir, as)
	requireKept(t, second.URL)
}
