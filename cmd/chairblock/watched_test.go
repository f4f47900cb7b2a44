//go:build unix

package main

import (
	"io"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCountersAndSpansTellNothingAboutAnybody(t *testing.T) {
	var mu sync.Mutex
	var spans strings.Builder
	collector := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		mu.Lock()
		defer mu.Unlock()
		_, _ = io.Copy(&spans, r.Body) // what is missing is found below
		w.Header().Set("Content-Type", "application/x-protobuf")
	}))
	defer collector.Close()
	dir := folder(t)
	code, out, errs := runOnce(t, "salon", "add", "--data", filepath.Join(dir, "data"), "--name", "Quay Lane", "--zone", "Europe/Lisbon")
	require.Zero(t, code, errs)
	_, rest, _ := strings.Cut(out, "token   ")
	token, _, _ := strings.Cut(rest, "\n")
	s := launch(t, nil, "serve", "--data", filepath.Join(dir, "data"), "--maildir", filepath.Join(dir, "mail"), "--listen", "127.0.0.1:0",
		"--metrics-listen", "127.0.0.1:0", "--otlp-endpoint", collector.URL, "--database-connections", "7")
	numbers := s.waitFor(`metrics on (http://127\.0\.0\.1:\d+)`)[1]
	url := s.waitFor(`listening on (http://127\.0\.0\.1:\d+)`)[1]

	made := call(t, http.MethodPost, url+"/v1/clients", token, strings.NewReader(`{"given_name":"Zqgiven","phone":"+351210000000"}`), "Content-Type", "application/json", "Idempotency-Key", "zqkey")
	require.Equal(t, http.StatusCreated, made.status, made.body)
	secret := "f_abcdefghij_" + strings.Repeat("Zq", 21) + "A"
	require.Equal(t, http.StatusNotFound, call(t, http.MethodGet, url+"/cal/"+secret+".ics", "", nil).status)

	read := call(t, http.MethodGet, numbers, "", nil)
	require.Equal(t, http.StatusOK, read.status)
	require.Contains(t, read.body, `chairblock_requests_total{method="POST",route="/v1/clients",status="201"} 1`)
	require.Contains(t, read.body, `chairblock_calendar_reads_total{answer="unknown"} 1`)
	require.Contains(t, read.body, "go_goroutines")
	require.Contains(t, read.body, "chairblock_connections_most 7\n")
	require.Equal(t, http.StatusNotFound, call(t, http.MethodGet, url+"/metrics", "", nil).status, "not beside the service")
	s.signal(syscall.SIGTERM)
	require.Zero(t, s.ended(), s.said())

	mu.Lock()
	defer mu.Unlock()
	for _, words := range []string{"POST /v1/clients", "/cal/:file", "INSERT INTO client"} {
		require.Contains(t, spans.String(), words)
	}
	for _, words := range []string{"Zqgiven", "ZqZqZq", "zqkey", "+351210000000", strings.SplitN(token, "_", 3)[2]} {
		require.NotContains(t, spans.String(), words)
		require.NotContains(t, read.body, words)
		require.NotContains(t, s.said(), words)
	}
}
