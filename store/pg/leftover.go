package pg

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// Times for ending a server (judgement). A fast stop writes everything out; 20 s are
// taken to be enough for that on a slow disk, and an immediate stop afterwards costs a
// recovery but no data. A server ends its own children 5 s after that (from memory).
// zombieTime is for whoever has to reap a server that has died.
const (
	stopTime   = 20 * time.Second
	quitTime   = 10 * time.Second
	zombieTime = 15 * time.Second
	pollTime   = 10 * time.Millisecond
)

// StopLeftover stops the server of dir if a process that was killed left it
// running, and says nothing when there is none. It returns *[InUseError] when
// the server's process is alive.
func StopLeftover(ctx context.Context, dir string) error {
	f := folder(dir)
	if _, err := os.Stat(f.lock()); err != nil {
		return nil
	}
	held, err := TakeLock(f.lock(), false)
	if errors.Is(err, ErrLocked) {
		return &InUseError{Dir: dir, PID: lockHolder(f.lock())}
	}
	if err != nil {
		return err
	}
	err = stopLeftover(ctx, f.data(), func(string, ...any) {})
	removeSockets(f.readState().Sockets)
	return errors.Join(err, held.Release())
}

// stopLeftover ends a server that still runs on the data folder although nobody
// holds its lock, and waits until nothing of it hinders a new one.
//
// It never removes postmaster.pid: the new server's own look at that file is
// what protects the data from backends that are still alive.
func stopLeftover(ctx context.Context, data string, log func(string, ...any)) error {
	pid, _ := readPIDFile(data)
	if pid <= 1 {
		return nil
	}
	var asked, quit bool
	began := time.Now()
	for {
		p := lookAt(pid)
		named, _ := readPIDFile(data)
		since := time.Since(began)
		switch {
		case p.gone, p.zombie && named != pid:
			return nil
		case p.zombie && since > zombieTime:
			return fmt.Errorf("process %d, an earlier server on %s, is dead but its parent process does not take note of it; "+
				"end that parent (in a container: run with an init process)", pid, data)
		case p.zombie: // as long as it is listed, a new server takes it for alive
		case !p.serves(data):
			return nil // the number belongs to another program by now
		case !asked:
			log("a server of an earlier run (pid %d) still uses %s: stopping it", pid, data)
			interrupt(pid)
			asked = true
		case since > stopTime && !quit:
			quitNow(pid)
			quit = true
		case since > stopTime+quitTime:
			return fmt.Errorf("the server of an earlier run (pid %d) on %s does not end", pid, data)
		}
		if err := sleep(ctx, 2*pollTime); err != nil {
			return err
		}
	}
}

// readPIDFile gives the process number that the server on the data folder wrote,
// 0 when there is none, and whether it takes connections. Line 1 is the number,
// line 8 the state.
func readPIDFile(data string) (pid int, ready bool) {
	text, err := os.ReadFile(filepath.Join(data, "postmaster.pid"))
	if err != nil {
		return 0, false
	}
	lines := strings.Split(string(text), "\n")
	pid, err = strconv.Atoi(strings.TrimSpace(lines[0]))
	if err != nil {
		return 0, false
	}
	return pid, len(lines) >= 8 && strings.TrimSpace(lines[7]) == "ready"
}

// process is what the system says about a process.
type process struct {
	gone, zombie bool
	args         []string // when the system gives them one by one
	line         string   // otherwise the command line as one text
}

// lookAt asks the system about a process.
func lookAt(pid int) process {
	if !alive(pid) {
		return process{gone: true}
	}
	if _, err := os.Stat("/proc/self/stat"); err == nil {
		return lookInProc(pid)
	}
	out, err := exec.Command("ps", "-ww", "-o", "stat=", "-o", "command=", "-p", strconv.Itoa(pid)).Output()
	return fromPS(string(out), err)
}

// lookInProc reads Linux's files about a process.
func lookInProc(pid int) process {
	dir := filepath.Join("/proc", strconv.Itoa(pid))
	stat, err := os.ReadFile(filepath.Join(dir, "stat"))
	if err != nil {
		return process{gone: true}
	}
	// The state follows the program's name, which may hold anything, in brackets.
	_, state, _ := cutLast(string(stat), ") ")
	if strings.HasPrefix(state, "Z") || strings.HasPrefix(state, "X") {
		return process{zombie: true}
	}
	text, err := os.ReadFile(filepath.Join(dir, "cmdline"))
	if err != nil {
		return process{gone: errors.Is(err, os.ErrNotExist)}
	}
	return process{args: strings.Split(strings.TrimSuffix(string(text), "\x00"), "\x00")}
}

// fromPS reads the answer of ps: the state and the command line.
func fromPS(out string, err error) process {
	state, line, _ := strings.Cut(strings.TrimSpace(out), " ")
	if err != nil || state == "" {
		return process{gone: true}
	}
	return process{zombie: strings.HasPrefix(state, "Z"), line: strings.TrimSpace(line)}
}

func cutLast(s, sep string) (before, after string, found bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// serves says whether the process is a server started by this package on the
// data folder: the folder is its first option.
func (p process) serves(data string) bool {
	if p.line != "" {
		program, rest, found := strings.Cut(p.line, " -D "+data)
		return found && filepath.Base(program) == "postgres" && (rest == "" || rest[0] == ' ')
	}
	if len(p.args) < 3 || filepath.Base(p.args[0]) != "postgres" || p.args[1] != "-D" {
		return false
	}
	if p.args[2] == data {
		return true
	}
	a, errA := os.Stat(p.args[2])
	b, errB := os.Stat(data)
	return errA == nil && errB == nil && os.SameFile(a, b)
}

// sleep waits, or returns why ctx ended.
func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-t.C:
		return nil
	}
}
