//go:build unix

package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The tests below run the real program, built once, as its users would.

// program is where the built program lies, in a folder that cleanUp removes.
var program = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "chairblock-program-")
	if err != nil {
		return "", err
	}
	cleanUp = func() { _ = os.RemoveAll(dir) } // a leftover in the temporary folder harms nobody
	path := filepath.Join(dir, "chairblock")
	args := []string{"build", "-o", path}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "-race" && s.Value == "true" {
				args = append(args, "-race")
			}
		}
	}
	out, err := exec.Command("go", append(args, ".")...).CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return path, os.Chmod(dir, 0o755) // for the account that some tests run it as
})

// How long a test waits for the program, many times what it needs on a busy
// machine.
const patience = 3 * time.Minute

// process is one run of the program.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	mu   sync.Mutex
	text bytes.Buffer
	done chan struct{}
}

// Write keeps what the program says on both of its outputs.
func (p *process) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.Write(b)
}

func (p *process) said() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}

// launch starts the program in a group of its own, as a terminal does, under
// the account as unless that is nil.
func launch(t *testing.T, as *syscall.Credential, args ...string) *process {
	t.Helper()
	path, err := program()
	require.NoError(t, err)
	p := &process{t: t, cmd: exec.Command(path, args...), done: make(chan struct{})}
	p.cmd.Dir = "/"
	p.cmd.Env = append(os.Environ(), "REQUESTS_PER_MINUTE=0") // tests ask more often than people
	p.cmd.Stdout, p.cmd.Stderr = p, p
	p.cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Credential: as}
	require.NoError(t, p.cmd.Start())
	go func() {
		_ = p.cmd.Wait() // the exit code is looked at
		close(p.done)
	}()
	t.Cleanup(func() {
		p.signal(syscall.SIGTERM)
		select {
		case <-p.done:
		case <-time.After(patience):
			p.signal(syscall.SIGKILL)
			<-p.done
		}
		if t.Failed() {
			t.Logf("chairblock %s said:\n%s", strings.Join(args, " "), p.said())
		}
	})
	return p
}

// signal reaches the whole group, as Ctrl-C in a terminal does. A process that
// has ended is left alone.
func (p *process) signal(s syscall.Signal) {
	select {
	case <-p.done:
	default:
		_ = syscall.Kill(-p.cmd.Process.Pid, s) // it may end at this moment
	}
}

// ended waits for the end and returns the exit code.
func (p *process) ended() int {
	p.t.Helper()
	select {
	case <-p.done:
	case <-time.After(patience):
		_ = p.cmd.Process.Signal(syscall.SIGQUIT) // it says what it waits for
		select {
		case <-p.done:
		case <-time.After(5 * time.Second):
		}
		require.FailNow(p.t, "the program does not end", p.said())
	}
	return p.cmd.ProcessState.ExitCode()
}

// waitFor waits until the program has said something that matches.
func (p *process) waitFor(pattern string) []string {
	p.t.Helper()
	re := regexp.MustCompile(pattern)
	var m []string
	eventually(p.t, "the program says "+pattern, func() bool {
		m = re.FindStringSubmatch(p.said())
		select {
		case <-p.done:
			if m == nil {
				require.FailNow(p.t, "the program ended", p.said())
			}
		default:
		}
		return m != nil
	})
	return m
}

// eventually waits until ok.
func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !ok(); time.Sleep(10 * time.Millisecond) {
		require.True(t, time.Now().Before(end), "waited in vain until %s", what)
	}
}

// runOnce runs the program to its end. It returns exit code, standard output
// and standard error.
func runOnce(t *testing.T, args ...string) (int, string, string) {
	t.Helper()
	path, err := program()
	require.NoError(t, err)
	var out, errs bytes.Buffer
	cmd := exec.Command(path, args...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		require.ErrorAs(t, err, new(*exec.ExitError))
	}
	return cmd.ProcessState.ExitCode(), out.String(), errs.String()
}

// folder is a fresh folder that every account may enter: as root, PostgreSQL
// runs under another one. It lies in memory where that has room, which spares
// waiting for the disk and makes no difference to a process that is killed.
func folder(t *testing.T) string {
	t.Helper()
	return folderIn(t, memory())
}

// folderIn is a fresh folder inside base, "" meaning the usual place.
func folderIn(t *testing.T, base string) string {
	t.Helper()
	dir, err := os.MkdirTemp(base, "chairblock-data-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return dir
}

// memory is a folder in memory with a gigabyte to spare, "" when there is none.
var memory = sync.OnceValue(func() string {
	const dir, need = "/dev/shm", 1 << 20 // kB
	out, err := exec.Command("df", "-Pk", dir).Output()
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	if f := strings.Fields(lines[len(lines)-1]); err == nil && len(f) == 6 && f[5] == dir {
		if free, err := strconv.Atoi(f[3]); err == nil && free >= need {
			return dir
		}
	}
	return ""
})

// processesOn lists the processes whose command line names a folder.
func processesOn(t *testing.T, dir string) []string {
	t.Helper()
	out, err := exec.Command("ps", "-A", "-o", "pid=,args=").Output()
	require.NoError(t, err)
	var found []string
	for line := range strings.Lines(string(out)) {
		if strings.Contains(line, dir) && !strings.Contains(line, "ps -A") {
			found = append(found, line)
		}
	}
	return found
}

// postgresOf is the number of the first process of the private server.
func postgresOf(t *testing.T, dir string) int {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
	require.NoError(t, err)
	first, _, _ := strings.Cut(string(text), "\n")
	pid, err := strconv.Atoi(first)
	require.NoError(t, err)
	return pid
}

func alive(pid int) bool { return !errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) }

// reply is an answer of the service.
type reply struct {
	t      *testing.T
	status int
	header http.Header
	body   string
}

var client = &http.Client{Timeout: 20 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}

// call sends a request; headers come in pairs. body is sent as JSON unless it
// is a reader.
func call(t *testing.T, method, url, token string, body any, headers ...string) reply {
	t.Helper()
	r, err := tryCall(t, method, url, token, body, headers...)
	require.NoError(t, err)
	return r
}

func tryCall(t *testing.T, method, url, token string, body any, headers ...string) (reply, error) {
	t.Helper()
	read, isReader := body.(io.Reader)
	if !isReader && body != nil {
		data, err := json.Marshal(body)
		require.NoError(t, err)
		read = bytes.NewReader(data)
	}
	req, err := http.NewRequestWithContext(t.Context(), method, url, read)
	require.NoError(t, err)
	if body != nil && !isReader {
		req.Header.Set("Content-Type", "application/json")
	}
	if token != "" {
		req.Header.Set("Authorization", "Bearer "+token)
	}
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	res, err := client.Do(req)
	if err != nil {
		return reply{}, err
	}
	defer res.Body.Close()
	data, err := io.ReadAll(res.Body)
	return reply{t, res.StatusCode, res.Header, string(data)}, err
}

// get is a call that must succeed.
func get(t *testing.T, url, token string) reply {
	t.Helper()
	r := call(t, http.MethodGet, url, token, nil)
	require.Equal(t, http.StatusOK, r.status, "%s: %s", url, r.body)
	return r
}

// into reads the body as JSON.
func into[T any](r reply) T {
	r.t.Helper()
	var v T
	require.NoError(r.t, json.Unmarshal([]byte(r.body), &v), r.body)
	return v
}

// needs is the path of a program. Without it the test is skipped, or fails
// where CI=true promises it.
func needs(t *testing.T, name, why string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	words := fmt.Sprintf("%s IS MISSING: install it, otherwise %s", strings.ToUpper(name), why)
	if os.Getenv("CI") == "true" {
		t.Fatal(words)
	}
	t.Skip(words)
	return ""
}
