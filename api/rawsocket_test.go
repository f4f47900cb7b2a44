package api_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// raw serves s with short limits and returns its address.
func (s *salon) raw() string {
	s.t.Helper()
	server := s.server.HTTPServer()
	require.LessOrEqual(s.t, server.ReadHeaderTimeout, 5*time.Second)
	require.LessOrEqual(s.t, server.ReadTimeout, 15*time.Second)
	require.LessOrEqual(s.t, server.MaxHeaderBytes, 16<<10)
	server.ReadHeaderTimeout, server.ReadTimeout, server.IdleTimeout = 200*time.Millisecond, 400*time.Millisecond, 200*time.Millisecond
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(s.t, err)
	go func() { _ = server.Serve(l) }()
	s.t.Cleanup(func() { _ = server.Close() })
	return l.Addr().String()
}

// says sends octets, and returns the status lines of all answers until the connection
// is closed; slowly goes on sending one octet at a time.
func says(t *testing.T, address, octets string, slowly bool) (answers []string) {
	t.Helper()
	c, err := net.Dial("tcp", address)
	require.NoError(t, err)
	defer c.Close()
	require.NoError(t, c.SetDeadline(time.Now().Add(10*time.Second)))
	_, err = io.WriteString(c, octets)
	require.NoError(t, err)
	if slowly {
		go func() {
			for {
				if _, err := io.WriteString(c, "x"); err != nil {
					return
				}
				time.Sleep(50 * time.Millisecond)
			}
		}()
	}
	all, err := io.ReadAll(bufio.NewReader(c))
	if slowly && err != nil { // closed while octets were on their way
		require.False(t, err.(net.Error).Timeout(), "it is cut") //nolint:errorlint,forcetypeassert // of this connection
	}
	for line := range strings.Lines(string(all)) {
		if strings.HasPrefix(line, "HTTP/1.1 ") {
			answers = append(answers, strings.TrimSpace(line))
		}
	}
	return answers
}

func TestWhoSendsSlowlyIsCutOff(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	at := s.raw()
	begun := time.Now()
	says(t, at, "GET /healthz HTTP/1.1\r\nHost: x\r\nX-Slow: ", true)
	says(t, at, "POST /v1/clients HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer "+s.token+"\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{", true)
	require.Less(t, time.Since(begun), 9*time.Second, "not by the test's own patience")
	var list struct{ Items []any }
	s.call("GET", "/v1/clients", nil).is(http.StatusOK, &list)
	require.Empty(t, list.Items)
}

func TestNoRequestHidesInAnother(t *testing.T) {
	t.Parallel()
	s := emptySalon(t, "Europe/Berlin")
	at := s.raw()
	const hidden = "GET /v1/salon HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\n\r\n"
	inner := fmt.Sprintf(hidden, s.token)
	post := "POST /v1/clients HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
	for name, x := range map[string]struct {
		octets string
		most   int    // answers
		first  string // of them
	}{
		"two lengths":           {post + "Content-Length: 0\r\nContent-Length: 40\r\n\r\n" + inner, 1, "400"},
		"a length that is none": {post + "Content-Length: +5\r\n\r\n" + inner, 1, "400"},
		"an unknown coding":     {post + "Transfer-Encoding: xchunked\r\n\r\n" + inner, 1, "501"},
		"two codings":           {post + "Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n\r\n0\r\n\r\n" + inner, 1, "501"},
		"a space before colon":  {"GET /healthz HTTP/1.1\r\nHost: x\r\nContent-Length : 5\r\n\r\n" + inner, 1, "400"},
		// Read as chunks, and what follows them not at all.
		"length and chunks": {post + "Content-Length: 4\r\nTransfer-Encoding: chunked\r\nAuthorization: Bearer " + s.token + "\r\n\r\n5\r\n{\"a\":\r\n0\r\n\r\n" + inner, 1, "422"},
		"two hosts":         {"GET /healthz HTTP/1.1\r\nHost: x\r\nHost: y\r\n\r\n", 1, "400"},
	} {
		answers := says(t, at, x.octets, false)
		require.NotEmpty(t, answers, name)
		require.LessOrEqual(t, len(answers), x.most, "%s: %v", name, answers)
		require.True(t, strings.HasPrefix(answers[0], "HTTP/1.1 "+x.first), "%s: %v", name, answers)
	}
}
