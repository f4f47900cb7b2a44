package api_test

import (
	"bytes"
	"context"
	"io"
	"log"
	"mime/quotedprintable"
	"net"
	"net/mail"
	"sync"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"chairblock/api/notify"
	"chairblock/store"
)

// post is a mail server in this process. refuse is asked for each mail and
// may say no.
type post struct {
	refuse func(to string) error

	mu    sync.Mutex
	mails []letter
	asked int
}

// letter is a mail that the server took.
type letter struct {
	to, from, subject, id, text string
}

// NewSession begins a conversation.
func (p *post) NewSession(*smtp.Conn) (smtp.Session, error) { return &session{p: p}, nil }

func (p *post) taken() []letter {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]letter(nil), p.mails...)
}

type session struct {
	p        *post
	from, to string
}

// Reset forgets nothing that is used again.
func (s *session) Reset() {}

// Logout ends a conversation.
func (s *session) Logout() error { return nil }

// Mail notes who sends.
func (s *session) Mail(from string, _ *smtp.MailOptions) error { s.from = from; return nil }

// Rcpt notes for whom, and may refuse.
func (s *session) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.to = to
	s.p.mu.Lock()
	defer s.p.mu.Unlock()
	s.p.asked++
	if s.p.refuse != nil {
		return s.p.refuse(to)
	}
	return nil
}

// Data takes the mail in.
func (s *session) Data(r io.Reader) error {
	m, err := mail.ReadMessage(r)
	if err != nil {
		return err
	}
	raw, err := io.ReadAll(m.Body)
	if err != nil {
		return err
	}
	text, err := io.ReadAll(quotedprintable.NewReader(bytes.NewReader(raw)))
	if err != nil || m.Header.Get("Content-Transfer-Encoding") != "quoted-printable" {
		text = raw
	}
	s.p.mu.Lock()
	defer s.p.mu.Unlock()
	s.p.mails = append(s.p.mails, letter{s.to, s.from, m.Header.Get("Subject"), m.Header.Get("Message-ID"), string(text)})
	return nil
}

// soon are waits between tries that a test can wait for.
var soon = []time.Duration{time.Second, time.Second, time.Second, time.Second}

// mailServer runs a mail server until the test ends and returns what sends to it.
func (s *salon) mailServer(p *post) notify.Sender {
	s.t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(s.t, err)
	server := smtp.NewServer(p)
	server.Domain, server.ErrorLog = "mail.example", log.New(io.Discard, "", 0)
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	s.t.Cleanup(func() {
		require.NoError(s.t, server.Close())
		require.NoError(s.t, <-ended)
	})
	sender, err := notify.Open("smtp://"+l.Addr().String()+"?tls=none", "")
	require.NoError(s.t, err)
	return sender
}

// deliver sends what is due through a mail server until the test ends.
func (s *salon) deliver(refuse func(to string) error) *post {
	s.t.Helper()
	p := &post{refuse: refuse}
	sender := s.mailServer(p)
	s.keepsAll()
	s.store.WorkWith(store.JobSettings{Mail: soon, Texts: soon})
	jobs, err := s.store.StartJobs(s.t.Context(), s.server.Deliver(sender), s.server.Refit)
	require.NoError(s.t, err)
	s.t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
		defer cancel()
		require.NoError(s.t, jobs.Stop(ctx))
	})
	return p
}
