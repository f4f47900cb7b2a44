package notify

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func openDir(t testing.TB, dir string) *Maildir {
	t.Helper()
	d, err := OpenMaildir(dir)
	require.NoError(t, err)
	return d
}

// files lists the names in one folder of a maildir.
func files(t testing.TB, dir, folder string) []string {
	t.Helper()
	entries, err := os.ReadDir(filepath.Join(dir, folder))
	require.NoError(t, err)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

func numbered(i int) Mail {
	m := sample()
	m.MessageID = MessageID("k", fmt.Sprint(i), Reminder, 1, "salon.example")
	m.Text = strings.Repeat(fmt.Sprintf("line of mail %d\n", i), 200)
	return m
}

func TestAMaildirGetsOneReadableFilePerMail(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "deep", "mail [x]*")
	d := openDir(t, dir)
	require.NoError(t, d.Send(t.Context(), sample()))

	names := files(t, dir, "new")
	require.Len(t, names, 1)
	require.Regexp(t, `^[0-9a-f]{40}\.eml$`, names[0])
	require.Empty(t, files(t, dir, "tmp"))
	path := filepath.Join(dir, "new", names[0])
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o600), info.Mode())
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	msg := parsed(t, raw)
	require.Equal(t, "<"+sample().MessageID+">", msg.Header.Get("Message-ID"))
	require.Equal(t, sample().Subject, decodedSubject(t, msg))
}

func TestARepeatedMailReplacesNothing(t *testing.T) {
	for _, name := range []string{"unread", "read", "read and renamed"} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			d := openDir(t, dir)
			require.NoError(t, d.Send(t.Context(), sample()))
			file := files(t, dir, "new")[0]
			path := filepath.Join(dir, "new", file)
			if name != "unread" {
				seen := filepath.Join(dir, "cur", file)
				if name != "read" {
					seen += ":2,RS"
				}
				require.NoError(t, os.Rename(path, seen))
				path = seen
			}
			before, err := os.ReadFile(path)
			require.NoError(t, err)

			again := sample()
			again.Text = "something else"
			require.NoError(t, openDir(t, dir).Send(t.Context(), again))
			require.Len(t, append(files(t, dir, "new"), files(t, dir, "cur")...), 1)
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, before, after)
			require.Empty(t, files(t, dir, "tmp"))
		})
	}
}

func TestManyWritersOfTheSameMailsLeaveOneFileEach(t *testing.T) {
	dir := t.TempDir()
	const writers, mails = 8, 20
	errs := make([]error, writers)
	var wg sync.WaitGroup
	for w := range writers {
		d := openDir(t, dir)
		wg.Go(func() {
			for i := range mails {
				errs[w] = errors.Join(errs[w], d.Send(t.Context(), numbered(i)))
			}
		})
	}
	wg.Wait()
	require.NoError(t, errors.Join(errs...))
	require.Len(t, files(t, dir, "new"), mails)
	require.Empty(t, files(t, dir, "tmp"))
	requireWhole(t, dir)
}

// requireWhole checks that every file in new is a whole mail.
func requireWhole(t *testing.T, dir string) {
	t.Helper()
	for _, name := range files(t, dir, "new") {
		raw, err := os.ReadFile(filepath.Join(dir, "new", name))
		require.NoError(t, err)
		id := strings.Trim(parsed(t, raw).Header.Get("Message-ID"), "<>")
		require.Equal(t, fileName(id), name)
		require.Equal(t, 200, bytes.Count(raw, []byte("line of mail ")))
	}
}

// TestChild is no test: it is what the tests below start as another process.
func TestChild(t *testing.T) {
	dir := os.Getenv("NOTIFY_CHILD_DIR")
	if dir == "" {
		t.Skip("only as a child of other tests")
	}
	d := openDir(t, dir)
	if os.Getenv("NOTIFY_CHILD_LIMIT") != "" {
		// A file that may not grow stands for a full disk.
		signal.Ignore(syscall.SIGXFSZ)
		var limit syscall.Rlimit
		require.NoError(t, syscall.Getrlimit(syscall.RLIMIT_FSIZE, &limit))
		limit.Cur = 1000
		require.NoError(t, syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit))
		err := d.Send(t.Context(), numbered(1))
		require.ErrorIs(t, err, syscall.EFBIG)
		requireTemporary(t, err)
		return
	}
	for i := 0; ; i++ {
		if err := d.Send(context.Background(), numbered(i)); err != nil {
			fmt.Println("failed", err)
			return
		}
		fmt.Println("done", i)
	}
}

func child(t *testing.T, env ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestChild$", "-test.v")
	cmd.Env = append(os.Environ(), env...)
	return cmd
}

func TestWhatWasAcknowledgedSurvivesAKill(t *testing.T) {
	dir := t.TempDir()
	for range 3 {
		cmd := child(t, "NOTIFY_CHILD_DIR="+dir)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		acked := -1
		for s := bufio.NewScanner(out); s.Scan(); {
			if _, err := fmt.Sscanf(s.Text(), "done %d", &acked); err != nil {
				require.NotContains(t, s.Text(), "failed")
				continue
			}
			if acked == 40 {
				require.NoError(t, cmd.Process.Kill())
			}
		}
		require.Error(t, cmd.Wait(), "the child was to be killed")
		require.GreaterOrEqual(t, acked, 40)
		for i := range acked + 1 {
			require.FileExists(t, filepath.Join(dir, "new", fileName(numbered(i).MessageID)))
		}
		requireWhole(t, dir)
	}
}

func TestAFullDiskIsTemporaryAndLeavesNothingBehind(t *testing.T) {
	dir := t.TempDir()
	out, err := child(t, "NOTIFY_CHILD_DIR="+dir, "NOTIFY_CHILD_LIMIT=1").CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Empty(t, files(t, dir, "new"))
	require.Empty(t, files(t, dir, "tmp"))
	require.NoError(t, openDir(t, dir).Send(t.Context(), numbered(1)), "and the next try works")
}

func TestAMissingFolderIsTemporary(t *testing.T) {
	dir := t.TempDir()
	d := openDir(t, dir)
	require.NoError(t, os.RemoveAll(filepath.Join(dir, "tmp")))
	requireTemporary(t, d.Send(t.Context(), sample()))
	require.NoError(t, os.RemoveAll(dir))
	requireTemporary(t, d.Send(t.Context(), sample()))
}

func TestAMaildirRefusesWhatASMTPServerWouldNotGet(t *testing.T) {
	dir := t.TempDir()
	m := sample()
	m.To.Address = "mara"
	err := openDir(t, dir).Send(t.Context(), m)
	requireDiscreet(t, err)
	_, permanent := errors.AsType[*PermanentError](err)
	require.True(t, permanent)
	require.Empty(t, files(t, dir, "new"))
}

func TestACancelledContextWritesNothing(t *testing.T) {
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, openDir(t, dir).Send(ctx, sample()), context.Canceled)
	require.Empty(t, files(t, dir, "new"))
}

func TestAFileIsNoMaildir(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	s, err := Open("", path)
	require.Nil(t, s)
	var invalid *scheduling.InvalidError
	require.ErrorAs(t, err, &invalid)
	require.Equal(t, "maildir", invalid.Field)
}

func TestOpeningSweepsOnlyWhatIsAbandoned(t *testing.T) {
	dir := t.TempDir()
	openDir(t, dir)
	for name, age := range map[string]time.Duration{"old": abandoned + time.Minute, "young": abandoned - time.Minute} {
		path := filepath.Join(dir, "tmp", name)
		require.NoError(t, os.WriteFile(path, nil, 0o600))
		when := time.Now().Add(-age)
		require.NoError(t, os.Chtimes(path, when, when))
	}
	openDir(t, dir)
	require.Equal(t, []string{"young"}, files(t, dir, "tmp"))
}

func BenchmarkMaildirSend(b *testing.B) {
	d := openDir(b, b.TempDir())
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		if err := d.Send(b.Context(), numbered(i)); err != nil {
			b.Fatal(err)
		}
	}
}
