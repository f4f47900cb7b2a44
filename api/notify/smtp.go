package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/textproto"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/wneessen/go-mail"
	"github.com/wneessen/go-mail/smtp"
)

// Errors of the connection, which say nothing against the mail itself: the
// same mail may go out once the set-up is mended.
var (
	// ErrNoTLS means that the server offers no encryption although it is
	// required. Nothing was sent, the password neither.
	ErrNoTLS = errors.New("server offers no STARTTLS, and sending without it was not allowed")
	// ErrLogin means that the server did not accept user and password, or
	// offers no way to log in that keeps the password safe.
	ErrLogin = errors.New("server did not accept the log-in")
)

// SMTP sends each mail over a connection of its own. Make one with ParseSMTP.
type SMTP struct {
	host           string
	port           int
	user, password string
	mode           tlsMode
	tls            *tls.Config
	timeout        time.Duration // until the server is ready for the mail
	answer         time.Duration // from then until it has taken it
	now            func() time.Time
}

// String names the server, never the user or the password.
func (s SMTP) String() string { return fmt.Sprintf("mail server %s port %d", s.host, s.port) }

// GoString is String.
func (s SMTP) GoString() string { return s.String() }

// Send implements Sender. It gives up when ctx ends, or after the timeouts of
// the URL however slowly the server talks. A refused log-in or certificate
// counts as temporary: it is no fault of the mail.
func (s *SMTP) Send(ctx context.Context, m Mail) error {
	msg, err := m.build(s.now())
	if err != nil {
		return &PermanentError{Stage: "mail", Err: err}
	}
	l := &line{s: s}
	defer l.close()
	client, err := s.client(l)
	if err != nil {
		return fmt.Errorf("notify: send: %w", err)
	}
	peer, err := s.dial(ctx, l, client)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, s.answer)
	defer cancel()
	defer context.AfterFunc(ctx, l.close)()
	if err := client.SendWithSMTPClient(peer, msg); err != nil {
		return s.sendError(ctx, err)
	}
	s.quit(peer)
	return nil
}

// dial connects and logs in.
func (s *SMTP) dial(ctx context.Context, l *line, client *mail.Client) (*smtp.Client, error) {
	ctx, cancel := context.WithTimeout(ctx, s.timeout)
	defer cancel()
	// The library watches ctx only while it connects.
	defer context.AfterFunc(ctx, l.close)()
	peer, err := client.DialToSMTPClientWithContext(ctx)
	if err != nil {
		return nil, s.connectError(ctx, err)
	}
	return peer, nil
}

// client returns a library client for one hand-over on line l.
func (s *SMTP) client(l *line) (*mail.Client, error) {
	opts := []mail.Option{
		mail.WithPort(s.port),
		mail.WithTLSConfig(s.tls),
		// ctx ends sooner; this is only what the library puts on the socket.
		mail.WithTimeout(2 * max(s.timeout, s.answer)),
		mail.WithDialContextFunc(l.dial),
		mail.WithoutNoop(),
		// A reset that fails after the server's yes would send the mail twice.
		mail.WithoutRset(),
		mail.WithoutSMTPUTF8(), // our addresses are ASCII
	}
	plain, login := mail.SMTPAuthPlain, mail.SMTPAuthLogin
	switch s.mode {
	case tlsStart:
		opts = append(opts, mail.WithTLSPolicy(mail.TLSMandatory))
	case tlsImplicit:
		opts = append(opts, mail.WithSSL())
	case tlsNone:
		opts = append(opts, mail.WithTLSPolicy(mail.NoTLS))
		// Only to a loopback host: see parseSMTP.
		plain, login = mail.SMTPAuthPlainNoEnc, mail.SMTPAuthLoginNoEnc
	}
	if s.user != "" {
		opts = append(opts, mail.WithUsername(s.user), mail.WithPassword(s.password),
			mail.WithOpportunisticSMTPAuth(mail.SMTPAuthSCRAMSHA256, plain, login))
	}
	return mail.NewClient(s.host, opts...)
}

// quit says good-bye. The mail is the server's by now, so a server that does
// not answer is left alone after a second.
func (s *SMTP) quit(peer *smtp.Client) {
	if peer.UpdateDeadline(time.Second) == nil {
		_ = peer.Quit()
	}
}

// line is the connection of one hand-over. The library does not close it when
// the greeting, the encryption or the log-in fails, so we keep hold of it.
type line struct {
	s      *SMTP
	mu     sync.Mutex
	conn   net.Conn
	closed bool
}

// dial connects, with TLS from the start where the URL asks for it.
// The library's own address has no brackets round an IPv6 host.
func (l *line) dial(ctx context.Context, network, _ string) (net.Conn, error) {
	var d net.Dialer
	conn, err := d.DialContext(ctx, network, net.JoinHostPort(l.s.host, strconv.Itoa(l.s.port)))
	if err != nil {
		return nil, err
	}
	if err := l.keep(conn); err != nil {
		return nil, err
	}
	conn = &bounded{Conn: conn, left: maxAnswers}
	if l.s.mode != tlsImplicit {
		return conn, nil
	}
	secure := tls.Client(conn, l.s.tls)
	if err := secure.HandshakeContext(ctx); err != nil {
		return nil, err
	}
	return secure, nil
}

// keep remembers conn, or closes it when the hand-over is over already.
func (l *line) keep(conn net.Conn) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed {
		_ = conn.Close()
		return net.ErrClosed
	}
	l.conn = conn
	return nil
}

func (l *line) close() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.closed = true
	if l.conn != nil {
		_ = l.conn.Close()
	}
}

// maxAnswers is how much a server may say during one hand-over, in octets:
// some hundred times what a certificate and a dozen answers need (judgement).
const maxAnswers = 1 << 20

// bounded is a connection that ends after left octets were read, so that a
// server that never ends its line does not fill the memory.
type bounded struct {
	net.Conn
	left int
}

func (b *bounded) Read(p []byte) (int, error) {
	if b.left <= 0 {
		return 0, io.ErrUnexpectedEOF
	}
	n, err := b.Conn.Read(p[:min(len(p), b.left)])
	b.left -= n
	return n, err
}

// connectError turns a failure before the mail was offered into one that is
// safe to log. Words of the server are left out, since they may repeat what
// was sent to it.
func (s *SMTP) connectError(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return s.gaveUp(ctx)
	}
	text := err.Error()
	answer, answered := errors.AsType[*textproto.Error](err)
	switch {
	case strings.HasPrefix(text, "STARTTLS mode set to"):
		return fmt.Errorf("notify: send: %w", ErrNoTLS)
	case strings.HasPrefix(text, "SMTP AUTH failed") && answered:
		return fmt.Errorf("notify: send: %w: %s", ErrLogin, reply(answer.Code, enhanced(answer.Msg)))
	case answered:
		return fmt.Errorf("notify: send: server answered %s before the mail was offered", reply(answer.Code, enhanced(answer.Msg)))
	}
	if cause := plainCause(err); cause != nil {
		return fmt.Errorf("notify: send: %w", cause)
	}
	if s.user != "" && !errors.Is(err, io.EOF) && strings.Contains(strings.ToLower(text), "auth") {
		return fmt.Errorf("notify: send: %w: no way to log in that both sides know", ErrLogin)
	}
	return errors.New("notify: send: connection lost before the mail was offered")
}

// plainCause returns the part of err that names at most a host: a network
// error or an unverified certificate. It returns nil when there is none.
func plainCause(err error) error {
	if e, ok := errors.AsType[*tls.CertificateVerificationError](err); ok {
		return e
	}
	if e, ok := errors.AsType[*net.DNSError](err); ok {
		return e
	}
	if e, ok := errors.AsType[*net.OpError](err); ok {
		return e
	}
	return nil
}

// stages names the steps of the conversation in our own words.
var stages = map[mail.SendErrReason]string{
	mail.ErrGetSender:     "sender",
	mail.ErrSMTPMailFrom:  "sender",
	mail.ErrGetRcpts:      "recipient",
	mail.ErrSMTPRcptTo:    "recipient",
	mail.ErrSMTPData:      "content",
	mail.ErrSMTPDataClose: "content",
	mail.ErrWriteContent:  "content",
}

// sendError turns a failure while the mail was offered into a *PermanentError
// or into one that is safe to log.
func (s *SMTP) sendError(ctx context.Context, err error) error {
	e, ok := errors.AsType[*mail.SendError](err)
	if ok && e.ErrorCode() == 0 && e.Reason == mail.ErrSMTPDataClose {
		if ctx.Err() != nil {
			return fmt.Errorf("%w; %w", s.gaveUp(ctx), ErrAnswerLost)
		}
		return fmt.Errorf("notify: send: %w", ErrAnswerLost)
	}
	if !ok || e.ErrorCode() == 0 {
		if ctx.Err() != nil {
			return s.gaveUp(ctx)
		}
		return errors.New("notify: send: connection lost while the mail was handed over")
	}
	stage := stages[e.Reason]
	if e.ErrorCode() >= 500 && !wantsLogin(e.ErrorCode()) {
		return &PermanentError{Stage: stage, Code: e.ErrorCode(), Enhanced: e.EnhancedStatusCode()}
	}
	return fmt.Errorf("notify: send: server will not take the %s now: %s", stage, reply(e.ErrorCode(), e.EnhancedStatusCode()))
}

// wantsLogin tells whether a reply code is about the log-in (RFC 4954 6),
// which is no fault of the mail.
func wantsLogin(code int) bool { return code == 530 || code == 534 || code == 535 || code == 538 }

// gaveUp reports whose patience ended: errors.Is tells a cancelled context
// from a slow server.
func (s *SMTP) gaveUp(ctx context.Context) error {
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		return fmt.Errorf("notify: send: no answer from the server in time: %w", ctx.Err())
	}
	return fmt.Errorf("notify: send: %w", ctx.Err())
}

var enhancedCode = regexp.MustCompile(`^[245]\.\d{1,3}\.\d{1,3}\b`)

// enhanced returns the status code of RFC 3463 that begins a reply, or "".
func enhanced(words string) string { return enhancedCode.FindString(words) }
