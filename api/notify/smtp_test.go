package notify

import (
	"context"
	"crypto/tls"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime/quotedprintable"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func open(t testing.TB, smtpURL string) *SMTP {
	t.Helper()
	s, err := ParseSMTP(smtpURL)
	require.NoError(t, err)
	return s
}

// requireDiscreet checks that an error shows nobody's address or password.
func requireDiscreet(t *testing.T, err error) {
	t.Helper()
	require.Error(t, err)
	for e := err; e != nil; e = errors.Unwrap(e) {
		for _, secret := range []string{"mara", "client.example", "salon.example", "hunter2", "someone"} {
			require.NotContains(t, strings.ToLower(e.Error()), secret)
		}
	}
}

func requireTemporary(t *testing.T, err error) {
	t.Helper()
	requireDiscreet(t, err)
	_, permanent := errors.AsType[*PermanentError](err)
	require.False(t, permanent, "permanent: %v", err)
}

func TestAMailArrivesWholeAndOnce(t *testing.T) {
	p := &post{}
	m := sample()
	m.Text = "Grüße\n.\n..\nFrom here\n" + strings.Repeat("x", 5000) + "\n"
	require.NoError(t, open(t, "smtp://"+serve(t, p, nil, nil)).Send(t.Context(), m))

	mails := p.taken()
	require.Len(t, mails, 1)
	require.Equal(t, "desk@salon.example", mails[0].from)
	require.Equal(t, "mara@client.example", mails[0].to)
	msg := parsed(t, mails[0].raw)
	require.Equal(t, "<"+m.MessageID+">", msg.Header.Get("Message-ID"))
	body, err := io.ReadAll(quotedprintable.NewReader(msg.Body))
	require.NoError(t, err)
	require.Equal(t, strings.ReplaceAll(m.Text, "\n", "\r\n"), strings.TrimSuffix(string(body), "\r\n")+"\r\n")
	date, err := msg.Header.Date()
	require.NoError(t, err)
	require.WithinDuration(t, time.Now(), date, time.Minute)
}

func TestMailsGoEncryptedToAVerifiedServer(t *testing.T) {
	ca := newAuthority(t)
	t.Run("by STARTTLS", func(t *testing.T) {
		p := &post{}
		s := open(t, "smtp://"+serve(t, p, ca.config(t, "127.0.0.1"), nil)+"?tls=required&ca="+ca.file)
		require.NoError(t, s.Send(t.Context(), sample()))
		require.Len(t, p.taken(), 1)
		require.True(t, p.taken()[0].secure)
	})
	t.Run("from the start", func(t *testing.T) {
		p := &post{}
		s := open(t, "smtps://"+serve(t, p, nil, ca.config(t, "127.0.0.1"))+"?ca="+ca.file)
		require.NoError(t, s.Send(t.Context(), sample()))
		require.Len(t, p.taken(), 1)
	})
}

func TestNothingGoesToAServerThatIsNotTrusted(t *testing.T) {
	ca, stranger := newAuthority(t), newAuthority(t)
	for _, tt := range []struct {
		name, ip, ca string
	}{
		{"certificate of another authority", "127.0.0.1", "&ca=" + stranger.file},
		{"certificate unknown to the system", "127.0.0.1", ""},
		{"certificate of another server", "127.0.0.9", "&ca=" + ca.file},
	} {
		for _, scheme := range []string{"smtp", "smtps"} {
			t.Run(tt.name+" over "+scheme, func(t *testing.T) {
				p, config := &post{}, ca.config(t, tt.ip)
				var address string
				if scheme == "smtp" {
					address = serve(t, p, config, nil)
				} else {
					address = serve(t, p, nil, config)
				}
				err := open(t, scheme+"://someone:hunter2@"+address+"?tls=required"+tt.ca).Send(t.Context(), sample())
				requireTemporary(t, err)
				_, unverified := errors.AsType[*tls.CertificateVerificationError](err)
				require.True(t, unverified, "%v", err)
				require.Empty(t, p.taken())
			})
		}
	}
}

func TestNothingGoesInTheClearWhenTLSIsRequired(t *testing.T) {
	p := &post{}
	err := open(t, "smtp://someone:hunter2@"+serve(t, p, nil, nil)+"?tls=required").Send(t.Context(), sample())
	require.ErrorIs(t, err, ErrNoTLS)
	requireTemporary(t, err)
	require.Empty(t, p.taken())
}

func TestRefusalsAreSortedIntoForNowAndForGood(t *testing.T) {
	says := func(code int, enhanced smtp.EnhancedCode) error {
		return &smtp.SMTPError{Code: code, EnhancedCode: enhanced, Message: "no <mara@client.example> from desk@salon.example"}
	}
	for _, tt := range []struct {
		name      string
		p         *post
		permanent *PermanentError // nil when another try may help
		text      string
	}{
		{"unknown recipient", &post{rcptErr: says(550, smtp.EnhancedCode{5, 1, 1})}, &PermanentError{Stage: "recipient", Code: 550, Enhanced: "5.1.1"}, "recipient for good: 550 5.1.1"},
		{"recipient greylisted", &post{rcptErr: says(451, smtp.EnhancedCode{4, 7, 1})}, nil, "recipient now: 451 4.7.1"},
		{"sender refused", &post{mailErr: says(553, smtp.EnhancedCode{5, 1, 8})}, &PermanentError{Stage: "sender", Code: 553, Enhanced: "5.1.8"}, "sender for good: 553 5.1.8"},
		{"too many mails", &post{mailErr: says(421, smtp.EnhancedCode{4, 3, 2})}, nil, "sender now: 421 4.3.2"},
		{"log-in wanted", &post{mailErr: says(530, smtp.EnhancedCode{5, 7, 0})}, nil, "sender now: 530 5.7.0"},
		{"content refused", &post{dataErr: says(554, smtp.EnhancedCode{5, 7, 1})}, &PermanentError{Stage: "content", Code: 554, Enhanced: "5.7.1"}, "content for good: 554 5.7.1"},
		{"disk full", &post{dataErr: says(452, smtp.EnhancedCode{4, 3, 1})}, nil, "content now: 452 4.3.1"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := open(t, "smtp://"+serve(t, tt.p, nil, nil)).Send(t.Context(), sample())
			requireDiscreet(t, err)
			require.ErrorContains(t, err, tt.text)
			got, _ := errors.AsType[*PermanentError](err)
			require.Equal(t, tt.permanent, got)
			require.Empty(t, tt.p.taken())
		})
	}
}

func TestARefusalWithoutEnhancedCodeKeepsItsCode(t *testing.T) {
	peer := polite().change("EHLO", "250 server.example").change("RCPT", "550 no mara@client.example here")
	err := open(t, "smtp://"+peer.run(t, nil)).Send(t.Context(), sample())
	requireDiscreet(t, err)
	got, _ := errors.AsType[*PermanentError](err)
	require.Equal(t, &PermanentError{Stage: "recipient", Code: 550}, got)
	require.ErrorContains(t, err, "the recipient for good: 550")
}

func TestAMailThatCannotBeSentIsRefusedForGoodBeforeAnybodyIsAsked(t *testing.T) {
	m := sample()
	m.To.Address = "mara@client.example\r\nRCPT TO:<x@y.example>"
	err := open(t, "smtp://127.0.0.1:9").Send(t.Context(), m)
	requireDiscreet(t, err)
	got, ok := errors.AsType[*PermanentError](err)
	require.True(t, ok)
	require.Equal(t, "mail", got.Stage)
}

func TestAMissingServerIsTemporary(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	require.NoError(t, l.Close())
	requireTemporary(t, open(t, "smtp://"+address).Send(t.Context(), sample()))
	requireTemporary(t, open(t, "smtp://nowhere.invalid?timeout=2s").Send(t.Context(), sample()))
}

func TestAServerMayHaveAnIPv6Address(t *testing.T) {
	l, err := net.Listen("tcp", "[::1]:0")
	if err != nil {
		t.Skip("no IPv6 on this machine")
	}
	peer := polite()
	require.NoError(t, open(t, "smtp://"+peer.runOn(t, l)).Send(t.Context(), sample()))
}

func TestASlowAnswerEndsInATemporaryError(t *testing.T) {
	release := make(chan struct{})
	p := &post{wait: func() { <-release }}
	s := open(t, "smtp://"+serve(t, p, nil, nil))
	defer close(release)
	s.answer = 200 * time.Millisecond
	err := s.Send(t.Context(), sample())
	requireTemporary(t, err)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Empty(t, p.taken())
}

func TestAServerThatLooksCloselyAtAMailIsWaitedForLonger(t *testing.T) {
	p := &post{wait: func() { time.Sleep(time.Second) }}
	s := open(t, "smtp://"+serve(t, p, nil, nil))
	require.Greater(t, s.answer, s.timeout)
	s.timeout = 500 * time.Millisecond
	require.NoError(t, s.Send(t.Context(), sample()))
	require.Len(t, p.taken(), 1)
}

func TestACallerThatLeavesIsNotHeldBack(t *testing.T) {
	asked, release := make(chan struct{}), make(chan struct{})
	p := &post{wait: func() { close(asked); <-release }}
	s := open(t, "smtp://"+serve(t, p, nil, nil)+"?timeout=10m")
	defer close(release)
	ctx, cancel := context.WithCancel(t.Context())
	go func() { <-asked; cancel() }()
	err := s.Send(ctx, sample())
	requireTemporary(t, err)
	require.ErrorIs(t, err, context.Canceled)
}

func TestManySendersAtOnceLoseNothing(t *testing.T) {
	p := &post{}
	s := open(t, "smtp://"+serve(t, p, nil, nil))
	const workers, each = 8, 10
	errs := make([]error, workers)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := range each {
				m := sample()
				m.MessageID = MessageID("k", fmt.Sprint(w), Reminder, i, "salon.example")
				errs[w] = errors.Join(errs[w], s.Send(t.Context(), m))
			}
		})
	}
	wg.Wait()
	require.NoError(t, errors.Join(errs...))
	ids := map[string]bool{}
	for _, m := range p.taken() {
		ids[parsed(t, m.raw).Header.Get("Message-ID")] = true
	}
	require.Len(t, ids, workers*each)
	require.Len(t, p.taken(), workers*each)
}

func TestATakenMailCountsWhateverHappensAtTheGoodbye(t *testing.T) {
	for _, answer := range []string{"", "421 4.0.0 going down", "garbage"} {
		peer := polite().change("QUIT", answer).change("RSET", answer)
		require.NoError(t, open(t, "smtp://"+peer.run(t, nil)).Send(t.Context(), sample()))
	}
}

// The answer to the content is lost: the second try carries the same id, so
// that the receiving side can drop it.
func TestALostAnswerIsRepeatedUnderTheSameID(t *testing.T) {
	peer := polite()
	peer.content = ""
	s := open(t, "smtp://"+peer.run(t, nil))
	requireTemporary(t, s.Send(t.Context(), sample()))
	peer.mu.Lock()
	peer.content = "250 taken"
	peer.mu.Unlock()
	require.NoError(t, s.Send(t.Context(), sample()))
	_, contents := peer.heard()
	require.Len(t, contents, 2)
	for _, c := range contents {
		require.Contains(t, string(c), "Message-ID: <"+sample().MessageID+">")
	}
}

func TestEveryBrokenConversationIsTemporaryAndClosesItsConnection(t *testing.T) {
	defer goleak.VerifyNone(t)
	refused := polite()
	refused.greeting = "554 5.3.2 no service for mara@client.example"
	silent := polite()
	silent.greeting, silent.trickle = "220 "+strings.Repeat("x", 500), 20*time.Millisecond
	for name, peer := range map[string]*script{
		"refused at the greeting":   refused,
		"one octet at a time":       silent,
		"hung up at the greeting":   {},
		"hung up at EHLO":           polite().change("EHLO", "").change("HELO", ""),
		"refused at EHLO":           polite().change("EHLO", "550 5.7.1 no").change("HELO", "550 5.7.1 no"),
		"hung up at MAIL":           polite().change("MAIL", ""),
		"hung up at RCPT":           polite().change("RCPT", ""),
		"garbage at RCPT":           polite().change("RCPT", "\x00\xff"),
		"an impossible code":        polite().change("RCPT", "999 mara@client.example"),
		"an endless line":           polite().change("MAIL", "250 "+strings.Repeat("x", 1<<21)),
		"hung up at DATA":           polite().change("DATA", ""),
		"content refused for now":   func() *script { p := polite(); p.content = "451 4.3.0 mara@client.example"; return p }(),
		"hung up after the content": func() *script { p := polite(); p.content = ""; return p }(),
	} {
		t.Run(name, func(t *testing.T) {
			s := open(t, "smtp://"+peer.run(t, nil))
			if peer.trickle > 0 {
				s.timeout, s.answer = 300*time.Millisecond, 300*time.Millisecond
			}
			err := s.Send(t.Context(), sample())
			requireTemporary(t, err)
		})
	}
}

func TestTheServerSeesTheEndOfAFailedLogin(t *testing.T) {
	peer := polite().change("AUTH", "535 5.7.8 wrong password hunter2 for someone")
	err := open(t, "smtp://someone:hunter2@"+peer.run(t, nil)).Send(t.Context(), sample())
	require.ErrorIs(t, err, ErrLogin)
	require.ErrorContains(t, err, "535 5.7.8")
	requireTemporary(t, err)
	<-peer.ended
	_, contents := peer.heard()
	require.Empty(t, contents)
}

func TestLoginsKeepThePasswordSafe(t *testing.T) {
	ca := newAuthority(t)
	t.Run("over TLS", func(t *testing.T) {
		peer := polite()
		s := open(t, "smtps://someone%40salon.example:hunter2@"+peer.run(t, ca.config(t, "127.0.0.1"))+"?ca="+ca.file)
		require.NoError(t, s.Send(t.Context(), sample()))
		want := "AUTH PLAIN " + base64.StdEncoding.EncodeToString([]byte("\x00someone@salon.example\x00hunter2"))
		commands, contents := peer.heard()
		require.Contains(t, commands, want)
		require.Len(t, contents, 1)
	})
	t.Run("on this machine", func(t *testing.T) {
		peer := polite()
		require.NoError(t, open(t, "smtp://someone:hunter2@"+peer.run(t, nil)).Send(t.Context(), sample()))
		commands, contents := peer.heard()
		require.Len(t, contents, 1)
		require.Contains(t, commands, "QUIT")
	})
	t.Run("server without log-in", func(t *testing.T) {
		peer := polite().change("EHLO", "250 server.example")
		err := open(t, "smtp://someone:hunter2@"+peer.run(t, nil)).Send(t.Context(), sample())
		require.ErrorIs(t, err, ErrLogin)
		requireTemporary(t, err)
		_, contents := peer.heard()
		require.Empty(t, contents)
	})
	t.Run("no way that both sides know", func(t *testing.T) {
		peer := polite().change("EHLO", "250-server.example\r\n250 AUTH X-OWN")
		err := open(t, "smtp://someone:hunter2@"+peer.run(t, nil)).Send(t.Context(), sample())
		require.ErrorIs(t, err, ErrLogin)
		requireTemporary(t, err)
		_, contents := peer.heard()
		require.Empty(t, contents)
	})
}

func BenchmarkSMTPSend(b *testing.B) {
	p := &post{}
	s := open(b, "smtp://"+serve(b, p, nil, nil))
	m := sample()
	b.ReportAllocs()
	for b.Loop() {
		if err := s.Send(b.Context(), m); err != nil {
			b.Fatal(err)
		}
	}
}
