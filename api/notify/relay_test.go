package notify

import (
	"bytes"
	"context"
	"io"
	netmail "net/mail"
	"net/smtp"
	"strings"
	"testing"
	"time"

	gosmtp "github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"
)

// relay is the back end of a mail server that hands every mail on to the next.
type relay struct{ next string }

func (r *relay) NewSession(*gosmtp.Conn) (gosmtp.Session, error) { return &relayed{r: r}, nil }

type relayed struct {
	r        *relay
	from, to string
}

func (s *relayed) Reset()                                        {}
func (s *relayed) Logout() error                                 { return nil }
func (s *relayed) Mail(from string, _ *gosmtp.MailOptions) error { s.from = from; return nil }
func (s *relayed) Rcpt(to string, _ *gosmtp.RcptOptions) error   { s.to = to; return nil }
func (s *relayed) Data(r io.Reader) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	return smtp.SendMail(s.r.next, nil, s.from, []string{s.to}, raw)
}

// trying are mails whose text and names try a relay in every way.
func trying() map[string]Mail {
	out := map[string]Mail{"plain": sample()}
	add := func(name string, change func(*Mail)) {
		m := sample()
		change(&m)
		out[name] = m
	}
	add("dots and long lines", func(m *Mail) {
		m.Text = ".\n..\n.dot first\n" + strings.Repeat("word ", 300) + "\n" + strings.Repeat("x", 2000) + "\ntrailing blank \t\n\n\n"
	})
	add("scripts", func(m *Mail) {
		m.Text = "Größe – 日本語 العربية \U0001F487\u200d♀️ = = =\n" + strings.Repeat("ü", 400)
		m.Subject = strings.Repeat("Ihr Termin für Glättung – ", 12)
		m.From.Name = "Café Löwenherz & Söhne, \"Am Kai\""
	})
	add("page", func(m *Mail) {
		m.HTML = "<html><body><p>" + strings.Repeat("Für Sie. ", 400) + "</p></body></html>"
	})
	return out
}

func TestAMailPassesARelayByteForByte(t *testing.T) {
	t.Parallel()
	for name, m := range trying() {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			direct, behind := &post{}, &post{}
			far := serve(t, behind, nil, nil)
			near := serve(t, &relay{next: far}, nil, nil)
			require.NoError(t, open(t, "smtp://"+near+"?tls=none").Send(t.Context(), m))
			require.NoError(t, open(t, "smtp://"+serve(t, direct, nil, nil)+"?tls=none").Send(t.Context(), m))
			got := behind.taken()
			require.Len(t, got, 1)
			requireSignable(t, got[0].raw)
			first, second := parsed(t, direct.taken()[0].raw), parsed(t, got[0].raw)
			require.Equal(t, first.Header.Get("Message-Id"), second.Header.Get("Message-Id"))
			body := func(msg *netmail.Message) string {
				raw, err := io.ReadAll(msg.Body)
				require.NoError(t, err)
				return string(raw)
			}
			if !strings.Contains(first.Header.Get("Content-Type"), "boundary") { // which is another in every mail
				require.Equal(t, body(first), body(second))
			}
		})
	}
}

// requireSignable demands what keeps a DKIM signature (RFC 6376) good on the way:
// nothing that a relay has a reason to change (5.3 of it, RFC 5322 2.1.1).
func requireSignable(t *testing.T, raw []byte) {
	t.Helper()
	head, body, ok := bytes.Cut(raw, []byte("\r\n\r\n"))
	require.True(t, ok)
	require.NotContains(t, strings.ReplaceAll(string(raw), "\r\n", ""), "\r", "no bare carriage return")
	require.NotContains(t, strings.ReplaceAll(string(raw), "\r\n", ""), "\n", "no bare line feed")
	for _, c := range raw {
		require.True(t, c < 0x80 && (c >= ' ' || c == '\r' || c == '\n' || c == '\t'), "octet %#x: seven bits pass everywhere", c)
	}
	count := map[string]int{}
	for line := range strings.SplitSeq(string(head), "\r\n") {
		require.LessOrEqual(t, len(line), 78, "%q", line)
		require.NotEmpty(t, strings.TrimSpace(line), "a folded line of blanks ends the header for some")
		require.Equal(t, strings.TrimRight(line, " \t"), line, "blanks at the end get lost")
		if line[0] != ' ' && line[0] != '\t' {
			name, _, _ := strings.Cut(line, ":")
			count[strings.ToLower(name)]++
		}
	}
	for _, name := range []string{"from", "to", "subject", "date", "message-id", "mime-version", "content-type", "auto-submitted"} {
		require.Equal(t, 1, count[name], name)
	}
	for name, n := range count {
		require.Equal(t, 1, n, name)
	}
	for line := range strings.SplitSeq(string(body), "\r\n") {
		require.LessOrEqual(t, len(line), 76)
		require.Equal(t, strings.TrimRight(line, " \t"), line, "blanks at the end get lost")
	}
	require.True(t, bytes.HasSuffix(raw, []byte("\r\n")))
}

func TestALostAnswerIsToldFromAMailThatNeverArrived(t *testing.T) {
	t.Parallel()
	lost := polite()
	lost.content = ""
	err := open(t, "smtp://"+lost.run(t, nil)+"?tls=none").Send(t.Context(), sample())
	require.ErrorIs(t, err, ErrAnswerLost)
	requireTemporary(t, err)
	requireDiscreet(t, err)
	_, contents := lost.heard()
	require.Len(t, contents, 1, "the mail was there as a whole")

	// The whole mail is there, and the answer does not come in time.
	mute := polite()
	mute.content = "250"
	for range 200 {
		mute.content += "-still thinking\r\n250"
	}
	quick := open(t, "smtp://"+mute.run(t, nil)+"?tls=none")
	mute.trickle, quick.answer = 2*time.Millisecond, time.Second
	err = quick.Send(t.Context(), sample())
	require.ErrorIs(t, err, ErrAnswerLost)
	require.ErrorIs(t, err, context.DeadlineExceeded)

	for _, word := range []string{"EHLO", "MAIL", "RCPT", "DATA"} {
		err := open(t, "smtp://"+polite().change(word, "").change("HELO", "").run(t, nil)+"?tls=none").Send(t.Context(), sample())
		requireTemporary(t, err)
		require.NotErrorIs(t, err, ErrAnswerLost, word)
	}
}
