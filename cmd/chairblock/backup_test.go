//go:build unix

package main

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestABackupOfARunningSalonIsReadBackElsewhere(t *testing.T) {
	dir := furnished(t)
	d := startDemo(t, dir)
	days := "?first_date=" + time.Now().Format(time.DateOnly) + "&last_date=" + time.Now().AddDate(0, 0, 20).Format(time.DateOnly)
	visits := get(t, d.url+"/v1/visits"+days, d.token).body
	file := filepath.Join(dir, "kept.zip")
	code, out, errs := runOnce(t, "backup", "--data", filepath.Join(d.dir, "postgres"), file)
	require.Zero(t, code, errs)
	require.Regexp(t, `kept\.zip holds \d{4,} rows of \d+ tables as of \S+, [\d.]+ [kM]B\n`, out)
	require.Equal(t, visits, get(t, d.url+"/v1/visits"+days, d.token).body, "the service went on")
	code, _, errs = runOnce(t, "backup", "--data", filepath.Join(d.dir, "postgres"), file)
	require.Equal(t, exitUsage, code)
	require.Contains(t, errs, "FILE "+file+" exists already")

	code, _, errs = runOnce(t, "restore", "--data", filepath.Join(d.dir, "postgres"), file)
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs, "holds something already")
	code, out, errs = runOnce(t, "restore", "--look", file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "is whole")
	d.endBy(t, syscall.SIGINT)

	elsewhere := filepath.Join(dir, "elsewhere")
	code, out, errs = runOnce(t, "restore", "--data", elsewhere, file)
	require.Zero(t, code, errs)
	require.Contains(t, out, "read back and compared")
	require.Contains(t, out, "everybody is signed out")
	require.Contains(t, out, "nothing is erased for its age for two days")
	require.Empty(t, processesOn(t, elsewhere))

	// A client is erased after the backup; the list outside the database remembers.
	list := filepath.Join(dir, "erased.list")
	s := launch(t, nil, "serve", "--data", elsewhere, "--erasure-list", list, "--maildir", filepath.Join(dir, "mail"), "--listen", "127.0.0.1:0", "--health-key-file", filepath.Join(d.dir, "health.key"))
	url := s.waitFor(`listening on (http://127\.0\.0\.1:\d+)`)[1]
	require.Equal(t, strings.ReplaceAll(visits, d.url, url), get(t, url+"/v1/visits"+days, d.token).body, "the same visits, by the same token")
	require.Equal(t, "Lantern Street Hair", into[api.SalonBody](get(t, url+"/v1/salon", d.token)).Name)
	made := into[api.ClientBody](call(t, http.MethodPost, url+"/v1/clients", d.owner, strings.NewReader(`{"given_name":"Zqnobody"}`), "Content-Type", "application/json", "Idempotency-Key", "zq"))
	second := filepath.Join(dir, "second.zip")
	code, _, errs = runOnce(t, "backup", "--data", elsewhere, second)
	require.Zero(t, code, errs)
	gone := call(t, http.MethodPost, url+"/v1/clients/"+made.ID+"/erase", d.owner, nil, "If-Match", `"v1"`)
	require.Equal(t, http.StatusOK, gone.status, gone.body)
	require.Equal(t, http.StatusNotFound, call(t, http.MethodGet, url+"/v1/clients/"+made.ID, d.owner, nil).status)
	s.signal(syscall.SIGTERM)
	require.Zero(t, s.ended())
	noted, err := os.ReadFile(list)
	require.NoError(t, err)
	require.Contains(t, string(noted), made.ID)
	require.NotContains(t, string(noted), "Zqnobody")

	// A list that cannot be read is refused before anything is read back.
	damaged := filepath.Join(dir, "damaged.list")
	require.NoError(t, os.WriteFile(damaged, append([]byte("not a list\n"), noted...), 0o600))
	for name, problem := range map[string]string{filepath.Join(dir, "wrong.list"): "no such file", damaged: "line 1 of"} {
		code, out, errs = runOnce(t, "restore", "--data", filepath.Join(dir, "again"), "--erasure-list", name, second)
		require.Equal(t, exitUsage, code, errs)
		require.Contains(t, errs, "--erasure-list")
		require.Contains(t, errs, problem)
		require.Empty(t, out)
	}
	code, out, errs = runOnce(t, "restore", "--data", filepath.Join(dir, "again"), "--erasure-list", list, second)
	require.Zero(t, code, errs)
	require.Contains(t, out, "1 clients who were erased after the backup are erased again")

	require.NoError(t, os.Truncate(file, 5000))
	code, _, errs = runOnce(t, "restore", "--data", filepath.Join(dir, "third"), file)
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs, "no whole backup")
	require.Equal(t, 1, strings.Count(errs, "\n"), errs)
}
