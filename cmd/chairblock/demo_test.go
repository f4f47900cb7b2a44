//go:build unix

package main

import (
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"os/signal"
	"os/user"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// demo is a running demonstration.
type demo struct {
	*process
	dir, url              string
	open                  string // one-time link of the owner
	desk, stylist, own    string // of the others who enter
	ada, mara             string // calendars
	subscribe             string // page of the salon's calendar
	maildir, owner, token string
	tour                  []step
}

// step is one command of the printed tour.
type step struct{ about, command string }

func startDemo(t *testing.T, dir string, args ...string) *demo {
	t.Helper()
	return demoAs(t, nil, dir, args...)
}

// filledOnce is a folder in which the demonstration was started and ended, "" before.
var filledOnce struct {
	sync.Once
	dir string
}

// furnished is a folder with a copy of a demonstration that has been started before, for
// tests of something else than how it is filled, which takes longer than what they do.
func furnished(t *testing.T) string {
	t.Helper()
	filledOnce.Do(func() {
		dir, err := os.MkdirTemp(memory(), "chairblock-data-")
		require.NoError(t, err)
		require.NoError(t, os.Chmod(dir, 0o755))
		startDemo(t, dir).endBy(t, syscall.SIGINT)
		before := cleanUp
		cleanUp = func() { before(); _ = os.RemoveAll(dir) } // a leftover in the temporary folder harms nobody
		filledOnce.dir = dir
	})
	require.NotEmpty(t, filledOnce.dir, "another test could not fill it")
	dir := folder(t)
	out, err := exec.Command("cp", "-a", filledOnce.dir+"/.", dir).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return dir
}

func demoAs(t *testing.T, as *syscall.Credential, dir string, args ...string) *demo {
	t.Helper()
	began := time.Now()
	d := &demo{dir: dir, process: launch(t, as, append([]string{"demo", "--listen", "127.0.0.1:0", "--data", dir}, args...)...)}
	d.waitFor(`Ctrl-C ends everything`)
	t.Logf("ready after %.1f s", time.Since(began).Seconds())
	const secret = `[a-z]_[a-z0-9]+_[\w-]{43}`
	line := func(pattern string) string { return d.waitFor(`(?m)^  ` + pattern + `$`)[1] }
	d.open, d.desk = line(`enter as the owner +(http://\S+/open/`+secret+`)`), line(`as the front desk +(http://\S+/open/`+secret+`)`)
	d.stylist, d.own = line(`as a stylist, Ada Birch +(http://\S+/open/`+secret+`)`), line(`as a client, Mara +(http://\S+/c/`+secret+`)`)
	d.url = strings.TrimSuffix(line(`description of the API +(\S+)`), "/openapi.json")
	d.ada, d.mara = line(`Ada Birch's calendar +(\S+/cal/`+secret+`\.ics)`), line(`Mara's calendar +(\S+/cal/`+secret+`\.ics)`)
	d.subscribe = line(`all visits, to subscribe +(\S+/cal/` + secret + `)`)
	d.maildir = line(`messages as files +(\S+)`)
	d.owner, d.token = line(`owner's token +(`+secret+`)`), line(`desk's token +(`+secret+`)`)
	d.tour = readTour(d.waitFor(`(?s)(export TOKEN=.*)\n\nCtrl-C`)[1])
	return d
}

// readTour takes the printed tour apart: comments say what a command is for.
func readTour(text string) []step {
	var steps []step
	export, about, command := "", "", ""
	for line := range strings.Lines(text) {
		switch {
		case strings.HasPrefix(line, "export "):
			export = line
		case strings.HasPrefix(line, "# "):
			about = strings.TrimSpace(line)
		default:
			if command += line; !strings.HasSuffix(line, "\\\n") {
				steps = append(steps, step{about, export + command})
				command = ""
			}
		}
	}
	return steps
}

// run carries out a step in a shell, as printed.
func (s step) run(t *testing.T, bash string) reply {
	t.Helper()
	cmd := exec.Command(bash, "-euo", "pipefail", "-c", s.command)
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err, s.command)
	return reply{t: t, body: string(out)}
}

// bookTour carries out the step of the tour that books a visit.
func bookTour(t *testing.T, d *demo, bash string) api.VisitBody {
	t.Helper()
	visit := into[api.VisitBody](d.tour[2].run(t, bash))
	require.Equal(t, "booked", visit.State)
	return visit
}

// enterForm is the button of an address that lets somebody in.
var enterForm = regexp.MustCompile(`<form method="post" action="([^"]*)"[^>]*>\s*<p[^>]*><button class="main">(?:Sign in here|Open my pages)</button>`)

// enters opens an address as a browser with no past does, presses its button, and says
// where it led.
func enters(t *testing.T, address string) (path, body string, status int) {
	t.Helper()
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	client := http.Client{Jar: jar}
	a, err := client.Get(address)
	require.NoError(t, err)
	defer a.Body.Close()
	text, err := io.ReadAll(a.Body)
	require.NoError(t, err)
	if form := enterForm.FindSubmatch(text); form != nil {
		if a, err = client.Post("http://"+a.Request.URL.Host+string(form[1]), "application/x-www-form-urlencoded", nil); err == nil {
			defer a.Body.Close()
			text, err = io.ReadAll(a.Body)
		}
		require.NoError(t, err)
	}
	return a.Request.URL.Path, string(text), a.StatusCode
}

// hasAll says whether all words stand in a text.
func hasAll(text string, words ...string) bool {
	return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(text, w) })
}

func TestTheDemo(t *testing.T) {
	dir := folderIn(t, "") // on disk, so that the time to ready is what a user sees
	d := startDemo(t, dir)
	var visit api.VisitBody
	feed := ""

	t.Run("every line of the tour works as printed", func(t *testing.T) {
		bash := needs(t, "bash", "the printed tour is never tried")
		needs(t, "curl", "the printed tour is never tried")
		require.Len(t, d.tour, 4)
		estimate := into[api.EstimateAnswer](d.tour[0].run(t, bash))
		require.Positive(t, estimate.Estimate.BlockMinutes)
		openings := into[api.OpeningsAnswer](d.tour[1].run(t, bash))
		require.Len(t, openings.Openings, 3)
		visit = bookTour(t, d, bash)
		require.Contains(t, d.tour[2].command, visit.Start.UTC().Format(time.RFC3339))
		again := into[api.VisitBody](d.tour[2].run(t, bash))
		require.Equal(t, visit.ID, again.ID, "the same command again books nothing more")
		require.NotContains(t, d.tour[2].about, "Mara")
		feed = regexp.MustCompile(`curl -s (\S+)`).FindStringSubmatch(d.tour[3].command)[1]
		require.Contains(t, unfolded(d.tour[3].run(t, bash).body), "DTSTART;TZID=Europe/London:"+localStamp(t, visit.Start))
	})
	t.Run("what is printed leads somewhere", func(t *testing.T) {
		require.Contains(t, get(t, d.url+"/openapi.json", "").body, `"openapi"`)
		require.Contains(t, get(t, d.ada, "").body, "BEGIN:VEVENT")
		require.Contains(t, get(t, d.mara, "").body, "BEGIN:VEVENT")
		require.Contains(t, get(t, d.subscribe, "").body, `href="webcal://`)
		require.Contains(t, get(t, d.subscribe+".ics", "").body, "BEGIN:VEVENT")
		require.Equal(t, http.StatusOK, call(t, http.MethodGet, d.url+"/v1/tokens", d.owner, nil).status)
		require.Equal(t, http.StatusForbidden, call(t, http.MethodGet, d.url+"/v1/tokens", d.token, nil).status)
		london, err := time.LoadLocation(demoZone)
		require.NoError(t, err)
		start := visit.Start.In(london).Format("Monday 2 January, 15:04 to about")
		eventually(t, "the client's message is there", func() bool {
			files, err := filepath.Glob(filepath.Join(d.maildir, "new", "*"))
			require.NoError(t, err)
			for _, f := range files {
				text, err := os.ReadFile(f)
				require.NoError(t, err)
				if hasAll(string(text), `To: "Lena"`, "Your visit is booked", start) {
					return true // other clients have that name, too
				}
			}
			return false
		})
	})
	t.Run("each address leads to the pages of whom it is for", func(t *testing.T) {
		for _, x := range []struct{ link, path, words string }{
			{d.desk, "/", "Walked in"}, {d.stylist, "/my-day/", "My day"}, {d.own, "/own", "Your visits"},
		} {
			path, body, status := enters(t, x.link)
			require.Equal(t, http.StatusOK, status, x.path)
			require.Equal(t, x.path, path)
			require.Contains(t, body, x.words)
		}
	})
	t.Run("a second one on the same folder says who has it", func(t *testing.T) {
		code, _, errs := runOnce(t, "demo", "--listen", "127.0.0.1:0", "--data", dir)
		require.Equal(t, exitFailed, code)
		require.Contains(t, errs, strconv.Itoa(d.cmd.Process.Pid))
		require.Contains(t, errs, dir)
		require.Equal(t, 1, strings.Count(errs, "\n"), errs)
	})
	t.Run("a second one on the same port says so", func(t *testing.T) {
		other := folder(t)
		address := strings.TrimPrefix(d.url, "http://")
		code, _, errs := runOnce(t, "demo", "--listen", address, "--data", other)
		require.Equal(t, exitFailed, code)
		require.Equal(t, "chairblock: another program listens on "+address+": end it, or name another address with --listen\n", errs)
		require.Empty(t, processesOn(t, other))
	})
	t.Run("Ctrl-C ends everything", func(t *testing.T) {
		postgres := postgresOf(t, filepath.Join(dir, "postgres"))
		require.True(t, alive(postgres))
		d.endBy(t, syscall.SIGINT)
		require.False(t, alive(postgres))
		l, err := net.Listen("tcp", strings.TrimPrefix(d.url, "http://"))
		require.NoError(t, err)
		require.NoError(t, l.Close())
	})
	t.Run("it goes on where it ended", func(t *testing.T) {
		again := startDemo(t, dir)
		require.NotEqual(t, strings.TrimPrefix(d.own, d.url), strings.TrimPrefix(again.own, again.url), "the client's address is a new one")
		_, _, status := enters(t, again.url+strings.TrimPrefix(d.own, d.url))
		require.NotEqual(t, http.StatusOK, status)
		_, _, status = enters(t, again.own)
		require.Equal(t, http.StatusOK, status)
		require.Contains(t, again.waitFor(`(?s)is booked for Mara:\n[^\n]*`)[0], d.waitFor(`is booked for Mara:\n([^\n]*)`)[1],
			"the greeting shows the same visit")
		kept := into[api.VisitBody](get(t, again.url+"/v1/visits/"+visit.ID, d.token))
		require.Equal(t, visit.Start.UTC(), kept.Start.UTC())
		moved := again.url + strings.TrimPrefix(feed, d.url)
		require.Contains(t, unfolded(get(t, moved, "").body), localStamp(t, visit.Start), "a subscription from before still works")
		again.endBy(t, syscall.SIGTERM)
	})
	t.Run("--fresh forgets", func(t *testing.T) {
		fresh := startDemo(t, dir, "--fresh")
		require.Equal(t, http.StatusUnauthorized, call(t, http.MethodGet, fresh.url+"/v1/visits/"+visit.ID, d.token, nil).status)
		require.Equal(t, http.StatusNotFound, call(t, http.MethodGet, fresh.url+"/v1/visits/"+visit.ID, fresh.token, nil).status)
		require.Equal(t, http.StatusNotFound, call(t, http.MethodGet, fresh.url+strings.TrimPrefix(feed, d.url), "", nil).status)
		fresh.endBy(t, syscall.SIGINT)
	})
}

// ofBusyMachines is what is warned of, rightly, while nothing has time to answer.
var ofBusyMachines = []string{"not heard for a while", "changes cannot be read for those who watch"}

// endBy ends the demonstration by a signal and demands that nothing is left.
func (d *demo) endBy(t *testing.T, s syscall.Signal) {
	t.Helper()
	d.signal(s)
	require.Zero(t, d.ended(), d.said())
	require.Empty(t, processesOn(t, d.dir))
	for line := range strings.Lines(d.said()) {
		require.NotContains(t, line, "ERROR", "the log")
		if !slices.ContainsFunc(ofBusyMachines, func(words string) bool { return strings.Contains(line, words) }) {
			require.NotContains(t, line, "WARN", "the log")
		}
	}
}

// localStamp is an instant as calendars of the demo's salon write it.
func localStamp(t *testing.T, at time.Time) string {
	t.Helper()
	loc, err := time.LoadLocation(demoZone)
	require.NoError(t, err)
	return at.In(loc).Format("20060102T150405")
}

// unfolded joins the lines of a calendar that were broken for length.
func unfolded(ics string) string { return strings.ReplaceAll(ics, "\r\n ", "") }

func TestCtrlCEndsAStartAtAnyMoment(t *testing.T) {
	if signal.Ignored(syscall.SIGINT) {
		// So the shell has it that started this in the background, and children would ignore
		// Ctrl-C until they listen to it. What is listened to here is at its default there.
		heard := make(chan os.Signal, 1)
		signal.Notify(heard, syscall.SIGINT)
		defer signal.Stop(heard)
	}
	dir := folder(t)
	for _, after := range []time.Duration{20, 300, 700, 1200, 2000, 3000} {
		p := launch(t, nil, "demo", "--listen", "127.0.0.1:0", "--data", dir)
		select {
		case <-time.After(after * time.Millisecond):
		case <-p.done:
		}
		p.signal(syscall.SIGINT)
		code := p.ended()
		if code != -1 || p.said() != "" || after > 500 { // else it could not yet listen to signals
			require.Zero(t, code, "after %d ms: %s", after, p.said())
		}
		require.Empty(t, processesOn(t, dir), "after %d ms", after)
	}
	startDemo(t, dir).endBy(t, syscall.SIGINT)
}

func TestNothingIsLeftHoweverTheDemoEnds(t *testing.T) {
	dir := furnished(t)
	t.Run("its terminal is closed", func(t *testing.T) {
		startDemo(t, dir).endBy(t, syscall.SIGHUP)
	})
	t.Run("nobody reads what it prints", func(t *testing.T) {
		path, err := program()
		require.NoError(t, err)
		cmd := exec.Command(path, "demo", "--listen", "127.0.0.1:0", "--data", dir)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		t.Cleanup(func() { _ = cmd.Process.Kill() }) // it has ended unless the test fails
		require.NoError(t, out.Close())
		_ = cmd.Wait() // how it ends does not matter
		require.Empty(t, processesOn(t, dir))
	})
	t.Run("it is killed", func(t *testing.T) {
		if runtime.GOOS != "linux" {
			t.Skip("only Linux ends PostgreSQL with the program; elsewhere the next start does")
		}
		d := startDemo(t, dir)
		require.NotEmpty(t, processesOn(t, dir))
		d.signal(syscall.SIGKILL)
		eventually(t, "PostgreSQL ends", func() bool { return len(processesOn(t, dir)) == 0 })
	})
}

func TestTheDemoRunsUnderAnOrdinaryAccount(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("every test of this run does so")
	}
	nobody, err := user.Lookup("nobody")
	require.NoError(t, err)
	uid, err := strconv.Atoi(nobody.Uid)
	require.NoError(t, err)
	gid, err := strconv.Atoi(nobody.Gid)
	require.NoError(t, err)
	dir := folder(t)
	require.NoError(t, os.Chown(dir, uid, gid))
	d := demoAs(t, &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid), NoSetGroups: false}, dir)
	require.Contains(t, get(t, d.ada, "").body, "BEGIN:VEVENT")
	d.endBy(t, syscall.SIGINT)
}
