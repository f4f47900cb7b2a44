package notify

import (
	"bufio"
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"log"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
)

// authority is a certificate authority made for one test.
type authority struct {
	key  *ecdsa.PrivateKey
	cert *x509.Certificate
	file string // PEM, for ?ca=
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test authority"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "ca.pem")
	require.NoError(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	return &authority{key, cert, file}
}

// config returns the TLS set-up of a server known by ip.
func (a *authority) config(t *testing.T, ip string) *tls.Config {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(2), NotBefore: a.cert.NotBefore, NotAfter: a.cert.NotAfter,
		IPAddresses: []net.IP{net.ParseIP(ip)}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &key.PublicKey, a.key)
	require.NoError(t, err)
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
}

// received is what a server took in.
type received struct {
	from, to string
	secure   bool
	raw      []byte
}

// post is the back end of a real mail server. The errors are its answers to
// the steps of a conversation, nil meaning yes.
type post struct {
	mailErr, rcptErr, dataErr error
	wait                      func() // before it answers RCPT

	mu    sync.Mutex
	mails []received
}

func (p *post) NewSession(c *smtp.Conn) (smtp.Session, error) {
	_, secure := c.TLSConnectionState()
	return &session{p: p, m: received{secure: secure}}, nil
}

func (p *post) taken() []received {
	p.mu.Lock()
	defer p.mu.Unlock()
	return slices.Clone(p.mails)
}

type session struct {
	p *post
	m received
}

func (s *session) Reset()        {}
func (s *session) Logout() error { return nil }
func (s *session) Mail(from string, _ *smtp.MailOptions) error {
	s.m.from = from
	return s.p.mailErr
}

func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.m.to = to
	if s.p.wait != nil {
		s.p.wait()
	}
	return s.p.rcptErr
}

func (s *session) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	if s.p.dataErr != nil {
		return s.p.dataErr
	}
	s.p.mu.Lock()
	defer s.p.mu.Unlock()
	s.m.raw = raw
	s.p.mails = append(s.p.mails, s.m)
	return nil
}

// serve runs a mail server on loopback until the test ends and returns its
// host and port. With starttls it offers STARTTLS, with implicit it speaks
// TLS from the start.
func serve(t testing.TB, p smtp.Backend, starttls, implicit *tls.Config) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	if implicit != nil {
		l = tls.NewListener(l, implicit)
	}
	server := smtp.NewServer(p)
	server.Domain, server.TLSConfig, server.ErrorLog = "server.example", starttls, log.New(io.Discard, "", 0)
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	t.Cleanup(func() {
		require.NoError(t, server.Close())
		require.NoError(t, <-done)
	})
	return address
}

// script is a peer that misbehaves in ways that a real server library cannot:
// it answers each command by its first word, and hangs up after an answer
// that is empty.
type script struct {
	greeting string
	answers  map[string]string
	content  string        // the answer to the content
	trickle  time.Duration // between two octets

	mu       sync.Mutex
	contents [][]byte
	commands []string
	ended    chan struct{} // closed when the other side hung up first
}

func (s *script) run(t *testing.T, implicit *tls.Config) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	if implicit != nil {
		l = tls.NewListener(l, implicit)
	}
	return s.runOn(t, l)
}

// runOn is run on a listener that the script then owns.
func (s *script) runOn(t *testing.T, l net.Listener) string {
	t.Helper()
	address := l.Addr().String()
	s.ended = make(chan struct{}, 100)
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() { s.talk(conn) })
		}
	})
	t.Cleanup(func() {
		require.NoError(t, l.Close())
		wg.Wait()
	})
	return address
}

func (s *script) talk(conn net.Conn) {
	defer func() { _ = conn.Close() }()
	_ = conn.SetDeadline(time.Now().Add(time.Minute))
	if !s.say(conn, s.greeting) {
		return
	}
	r := bufio.NewReader(conn)
	for {
		text, err := r.ReadString('\n')
		if err != nil {
			s.ended <- struct{}{}
			return
		}
		s.mu.Lock()
		s.commands = append(s.commands, strings.TrimSpace(text))
		s.mu.Unlock()
		word, _, _ := strings.Cut(strings.TrimSpace(text), " ")
		if !s.say(conn, s.answers[word]) {
			return
		}
		if word == "DATA" {
			var content []byte
			for !bytes.HasSuffix(content, []byte("\r\n.\r\n")) {
				c, err := r.ReadByte()
				if err != nil {
					return
				}
				content = append(content, c)
			}
			s.mu.Lock()
			s.contents = append(s.contents, content)
			answer := s.content
			s.mu.Unlock()
			if !s.say(conn, answer) {
				return
			}
		}
	}
}

func (s *script) say(conn net.Conn, answer string) bool {
	if answer == "" {
		return false
	}
	if s.trickle == 0 {
		_, err := conn.Write([]byte(answer + "\r\n"))
		return err == nil
	}
	for _, c := range []byte(answer + "\r\n") {
		time.Sleep(s.trickle)
		if _, err := conn.Write([]byte{c}); err != nil {
			return false
		}
	}
	return true
}

// heard returns the commands and contents so far.
func (s *script) heard() (commands []string, contents [][]byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.commands), slices.Clone(s.contents)
}

// polite returns a script in which everything works.
func polite() *script {
	return &script{greeting: "220 server.example ready", content: "250 2.0.0 taken", answers: map[string]string{
		"EHLO": "250-server.example\r\n250-ENHANCEDSTATUSCODES\r\n250 AUTH PLAIN LOGIN", "MAIL": "250 ok", "RCPT": "250 ok",
		"DATA": "354 go on", "RSET": "250 ok", "QUIT": "221 bye", "*": "501 cancelled",
		"AUTH": "235 2.7.0 welcome",
	}}
}

func (s *script) change(word, answer string) *script {
	s.answers[word] = answer
	return s
}
