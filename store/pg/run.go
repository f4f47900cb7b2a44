package pg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Waiting between restarts of a server that died: doubled each time up to the
// longest, from the start again after it had run for a while. Judgement: a killed
// server is back at once, and a full disk does not spin.
const (
	firstDelay  = 100 * time.Millisecond
	longDelay   = 10 * time.Second
	steadyTime  = time.Minute
	remainsTime = 15 * time.Second // for the rest of a killed server to go away
	logLimit    = 10 << 20         // bytes of postgres.log before a new one is begun
)

// run is one life of the server's first process.
type run struct {
	cmd   *exec.Cmd
	ended chan struct{} // closed when the process is gone and reaped
	err   error         // how it ended, set before ended closes
	from  int64         // where its lines begin in the log
}

// firstLaunch launches the server on a port that is free.
func (s *Server) firstLaunch(ctx context.Context) (*run, error) {
	if info, err := os.Stat(s.dir.log()); err == nil && info.Size() > logLimit {
		if err := os.Rename(s.dir.log(), s.dir.log()+".1"); err != nil {
			return nil, err
		}
	}
	const tries = 5 // judgement: a free port is seldom taken by somebody else within milliseconds
	for try := 1; ; try++ {
		var err error
		if s.port, err = freePort(); err != nil {
			return nil, err
		}
		r, err := s.launch(ctx)
		if err == nil || try == tries || !said(err, "could not bind", "could not create any TCP/IP sockets") {
			return r, err
		}
	}
}

// launch launches the server and waits until it takes connections. Backends of
// a killed server, and the killed process itself until it is reaped, may hinder
// the new one for a moment; launch tries again until they are gone.
func (s *Server) launch(ctx context.Context) (*run, error) {
	deadline := time.Now().Add(remainsTime)
	for {
		r, err := s.launchOnce(ctx)
		if !said(err, `lock file "postmaster.pid" already exists`, "pre-existing shared memory block") {
			return r, err
		}
		if time.Now().After(deadline) {
			pid, _ := readPIDFile(s.dir.data())
			return nil, fmt.Errorf("%w\npostmaster.pid in %s names process %d: end that process if it is a server on this folder; "+
				"if it is another program, the file is out of date and can be removed by hand", err, s.dir.data(), pid)
		}
		if err := sleep(ctx, 10*pollTime); err != nil {
			return nil, err
		}
	}
}

// said says whether a program ended with one of the texts among its last lines.
func said(err error, texts ...string) bool {
	var exit *ExitError
	return errors.As(err, &exit) && slices.ContainsFunc(texts, func(t string) bool {
		return strings.Contains(exit.Output, t)
	})
}

func (s *Server) launchOnce(ctx context.Context) (*run, error) {
	out, err := os.OpenFile(s.dir.log(), os.O_WRONLY|os.O_CREATE|os.O_APPEND|noFollow, 0o600)
	if err != nil {
		return nil, err
	}
	defer out.Close()
	if err := s.dir.own(out); err != nil {
		return nil, err
	}
	r := &run{ended: make(chan struct{})}
	if r.from, err = out.Seek(0, io.SeekEnd); err != nil {
		return nil, err
	}
	r.cmd = exec.Command(filepath.Join(s.bin.Dir, "postgres"), s.arguments()...)
	r.cmd.Stdout, r.cmd.Stderr = out, out
	s.outfit(r.cmd, s.c.EndWithParent)
	if err := r.start(); err != nil {
		return nil, err
	}
	if err := s.waitReady(ctx, r); err != nil {
		return nil, err
	}
	s.pid.Store(int64(r.cmd.Process.Pid))
	if err := s.writeState(r.cmd.Process.Pid); err != nil {
		return nil, errors.Join(err, s.end(r))
	}
	return r, nil
}

// start starts the process and keeps, until it ends, the thread that started it:
// the system may have been asked to end the process with that thread.
func (r *run) start() error {
	started := make(chan error)
	go func() {
		runtime.LockOSThread()
		defer runtime.UnlockOSThread()
		err := r.cmd.Start()
		started <- err
		if err != nil {
			return
		}
		r.err = r.cmd.Wait()
		if r.err == nil {
			r.err = errors.New("exit status 0")
		}
		close(r.ended)
	}()
	return <-started
}

// waitReady waits until the server takes connections. A recovery after a crash
// may take long, so only ctx limits the time.
func (s *Server) waitReady(ctx context.Context, r *run) error {
	slow := time.NewTimer(5 * time.Second) // judgement: starts take less unless there is something to recover
	defer slow.Stop()
	poll := time.NewTicker(pollTime)
	defer poll.Stop()
	for {
		select {
		case <-ctx.Done():
			return errors.Join(context.Cause(ctx), s.end(r))
		case <-r.ended:
			return &ExitError{Program: "postgres", Err: r.err, Output: s.logSince(r.from)}
		case <-slow.C:
			s.logf("PostgreSQL is still starting; after a crash it first reads its log")
		case <-poll.C:
			if pid, ready := readPIDFile(s.dir.data()); ready && pid == r.cmd.Process.Pid {
				return nil
			}
		}
	}
}

// logSince is the end of what the server wrote from that byte of its log on.
func (s *Server) logSince(from int64) string {
	f, err := os.Open(s.dir.log())
	if err != nil {
		return ""
	}
	defer f.Close()
	if size, err := f.Seek(0, io.SeekEnd); err == nil && size-from > 2000 {
		from = size - 2000
	}
	if _, err := f.Seek(from, io.SeekStart); err != nil {
		return ""
	}
	out, err := io.ReadAll(f)
	if err != nil {
		return ""
	}
	return lastLines(out)
}

// arguments are the server's. The data folder comes first: stopLeftover looks
// for it there.
func (s *Server) arguments() []string {
	settings := map[string]string{
		"listen_addresses":        "127.0.0.1",
		"port":                    strconv.Itoa(s.port),
		"unix_socket_directories": `"` + strings.ReplaceAll(s.sockets, `"`, `""`) + `"`,
		"unix_socket_permissions": "0700",
		"fsync":                   "on",
		"synchronous_commit":      "on",
		"full_page_writes":        "on",
		"timezone":                "UTC",
		"log_timezone":            "UTC",
		"log_destination":         "stderr",
		"logging_collector":       "off",
		// Messages about statements hold values of rows, among them health
		// answers and telephone numbers. The application gets them anyway; the
		// log keeps only what concerns the server as a whole.
		"log_min_messages":        "log",
		"log_min_error_statement": "panic",
		"log_error_verbosity":     "terse",
		"log_statement":           "none",
	}
	maps.Copy(settings, s.c.Settings)
	args := []string{"-D", s.dir.data()}
	for _, name := range slices.Sorted(maps.Keys(settings)) {
		args = append(args, "-c", name+"="+settings[name])
	}
	return args
}

// end ends the process: a fast stop, and an immediate one when that takes too
// long.
func (s *Server) end(r *run) error {
	for _, step := range []struct {
		signal os.Signal
		limit  time.Duration
	}{{syscall.SIGINT, stopTime}, {syscall.SIGQUIT, quitTime}} {
		if err := r.cmd.Process.Signal(step.signal); err != nil && !errors.Is(err, os.ErrProcessDone) {
			return fmt.Errorf("stopping PostgreSQL: %w", err)
		}
		select {
		case <-r.ended:
			s.pid.Store(0)
			return nil
		case <-time.After(step.limit):
			s.logf("PostgreSQL (pid %d) has not ended %v after %v", r.cmd.Process.Pid, step.limit, step.signal)
		}
	}
	return fmt.Errorf("PostgreSQL (pid %d) does not end", r.cmd.Process.Pid)
}

// supervise keeps the server running until Stop, and cleans up.
func (s *Server) supervise(r *run) {
	defer close(s.done)
	delay := firstDelay
	began := time.Now()
	for {
		select {
		case <-s.stopping.Done():
			s.err = errors.Join(s.end(r), s.close())
			return
		case <-r.ended:
		}
		s.pid.Store(0)
		if s.stopping.Err() == nil {
			s.logf("PostgreSQL ended by itself (%v) and is started again; its last lines:\n%s", r.err, s.logSince(r.from))
		}
		if time.Since(began) > steadyTime {
			delay = firstDelay
		}
		var err error
		if r, delay, err = s.relaunch(delay); r == nil {
			s.err = errors.Join(err, s.close())
			return
		}
		began = time.Now()
	}
}

// relaunch launches the server again until it runs. It gives up, with a nil run,
// when Stop was called or, with an error, when the data has gone.
func (s *Server) relaunch(delay time.Duration) (*run, time.Duration, error) {
	for {
		if sleep(s.stopping, delay) != nil {
			return nil, delay, nil
		}
		delay = min(2*delay, longDelay)
		if major, err := s.dir.major(); err != nil || major != s.bin.Major {
			err = errors.Join(fmt.Errorf("pg: the data in %s has gone or was replaced", s.dir), err)
			s.logf("%v; PostgreSQL is not started again", err)
			return nil, delay, err
		}
		r, err := s.launch(s.stopping)
		if err == nil {
			s.logf("PostgreSQL answers again on 127.0.0.1:%d", s.port)
			return r, delay, nil
		}
		if s.stopping.Err() == nil {
			s.logf("PostgreSQL could not be started again, next try in %v: %v", delay, err)
		}
	}
}
