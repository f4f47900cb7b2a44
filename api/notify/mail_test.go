package notify

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	netmail "net/mail"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// sample is a mail that every sender accepts.
func sample() Mail {
	return Mail{
		From:      netmail.Address{Name: "Corner Salon", Address: "desk@salon.example"},
		To:        netmail.Address{Name: "Mara", Address: "mara@client.example"},
		Subject:   "Your visit on Friday",
		Text:      "Hello Mara,\n\nsee you on Friday.\n",
		MessageID: MessageID("k1", "v1", Confirmation, 1, "salon.example"),
	}
}

func rendered(t testing.TB, m Mail) []byte {
	t.Helper()
	msg, err := m.build(time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC))
	require.NoError(t, err)
	var b bytes.Buffer
	_, err = msg.WriteTo(&b)
	require.NoError(t, err)
	return b.Bytes()
}

// parsed reads a mail back with the standard library.
func parsed(t testing.TB, raw []byte) *netmail.Message {
	t.Helper()
	msg, err := netmail.ReadMessage(bytes.NewReader(raw))
	require.NoError(t, err)
	return msg
}

func decodedSubject(t testing.TB, msg *netmail.Message) string {
	t.Helper()
	s, err := new(mime.WordDecoder).DecodeHeader(msg.Header.Get("Subject"))
	require.NoError(t, err)
	return s
}

func TestAMailCarriesTheHeadersOfAnAutomaticMessage(t *testing.T) {
	msg := parsed(t, rendered(t, sample()))
	require.Equal(t, "auto-generated", msg.Header.Get("Auto-Submitted"))
	require.Equal(t, "Mon, 01 Jun 2026 09:00:00 +0000", msg.Header.Get("Date"))
	require.Equal(t, "<"+sample().MessageID+">", msg.Header.Get("Message-ID"))
	require.Equal(t, "text/plain; charset=UTF-8", msg.Header.Get("Content-Type"))
	require.Equal(t, "1.0", msg.Header.Get("MIME-Version"))
	require.Empty(t, msg.Header.Get("User-Agent"))
	require.Empty(t, msg.Header.Get("X-Mailer"))
}

func TestTextInAnyScriptComesBackWhole(t *testing.T) {
	m := sample()
	m.Subject = "Термин am Samstag – 14:05 ✂ " + strings.Repeat("ünïcode ", 15)
	m.From.Name, m.To.Name = "Salon Käthe, an der Brücke", `Zoë "Z" O'Neil 李`
	m.Text = "Grüße\r\n.\nFrom here on\n" + strings.Repeat("sehr lang ", 300) + "\nend"
	raw := rendered(t, m)
	for line := range bytes.Lines(raw) {
		require.LessOrEqual(t, len(line), 78+2, "line longer than RFC 5322 2.1.1 recommends: %q", line)
	}
	msg := parsed(t, raw)
	require.Equal(t, strings.TrimSpace(m.Subject), decodedSubject(t, msg))
	for header, want := range map[string]netmail.Address{"From": m.From, "To": m.To} {
		got, err := msg.Header.AddressList(header)
		require.NoError(t, err)
		require.Equal(t, []*netmail.Address{&want}, got)
	}
	body, err := io.ReadAll(quotedprintable.NewReader(msg.Body))
	require.NoError(t, err)
	want := strings.ReplaceAll(strings.ReplaceAll(m.Text, "\r\n", "\n"), "\n", "\r\n")
	require.Equal(t, want, string(body))
}

func TestMailsThatCannotBeSentNameTheFieldAndNotItsContent(t *testing.T) {
	for _, tt := range []struct {
		name, field string
		change      func(*Mail)
	}{
		{"a line break in the address", "to", func(m *Mail) { m.To.Address = "secret@client.example\r\nBcc: x@y.example" }},
		{"two addresses", "to", func(m *Mail) { m.To.Address = "secret@client.example, x@y.example" }},
		{"a name in the address", "to", func(m *Mail) { m.To.Address = "M <secret@client.example>" }},
		{"angle brackets round the address", "to", func(m *Mail) { m.To.Address = "<secret@client.example>" }},
		{"a quoted address", "to", func(m *Mail) { m.To.Address = `"secret"@client.example` }},
		{"a comment in the address", "to", func(m *Mail) { m.To.Address = "secret(x)@client.example" }},
		{"an address in another script", "to", func(m *Mail) { m.To.Address = "secret@bücher.example" }},
		{"no address", "to", func(m *Mail) { m.To.Address = "" }},
		{"an endless address", "to", func(m *Mail) { m.To.Address = strings.Repeat("secret", 50) + "@client.example" }},
		{"no sender", "from", func(m *Mail) { m.From.Address = "secret" }},
		{"an empty subject", "subject", func(m *Mail) { m.Subject = "\r\n" }},
		{"no text", "text", func(m *Mail) { m.Text = " \n" }},
		{"an endless text", "text", func(m *Mail) { m.Text = strings.Repeat("x", maxText+1) }},
		{"an empty message id", "message_id", func(m *Mail) { m.MessageID = "" }},
		{"a message id with a header in it", "message_id", func(m *Mail) { m.MessageID = "secret@x\r\nBcc: y@z.example" }},
		{"a message id in angle brackets", "message_id", func(m *Mail) { m.MessageID = "<secret@x>" }},
		{"something else than a calendar", "invitation.ics", func(m *Mail) {
			m.Invitation = &Invitation{ICS: []byte("secret\r\nMETHOD:REQUEST\r\n"), Method: "REQUEST"}
		}},
		{"an endless calendar", "invitation.ics", func(m *Mail) {
			m.Invitation = &Invitation{ICS: append([]byte(invitation), make([]byte, maxICS)...), Method: "REQUEST"}
		}},
		{"another method than the calendar's", "invitation.method", func(m *Mail) {
			m.Invitation = &Invitation{ICS: []byte(invitation), Method: "CANCEL"}
		}},
		{"two methods", "invitation.method", func(m *Mail) {
			m.Invitation = &Invitation{ICS: []byte(invitation + invitation), Method: "REQUEST"}
		}},
		{"an organizer with a header in the address", "invitation.organizer", func(m *Mail) {
			m.Invitation = &Invitation{ICS: []byte(invitation), Method: "REQUEST", Organizer: netmail.Address{Address: "secret@x.example\r\nBcc: y@z.example"}}
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			m := sample()
			tt.change(&m)
			_, err := m.build(time.Now())
			var faults scheduling.Faults
			require.ErrorAs(t, err, &faults)
			require.Len(t, faults, 1)
			require.Equal(t, tt.field, faults[0].Field)
			require.NotContains(t, err.Error(), "secret")
		})
	}
}

func TestAMailInALogShowsNobody(t *testing.T) {
	m := sample()
	var b bytes.Buffer
	slog.New(slog.NewTextHandler(&b, nil)).Info("sent", "mail", m)
	fmt.Fprintf(&b, "%v %+v %#v %s", m, m, m, m)
	require.NotContains(t, b.String(), "mara")
	require.NotContains(t, b.String(), "desk@")
	require.Contains(t, b.String(), m.MessageID)
}

func TestMessageIDsAreStableAndTellMessagesApart(t *testing.T) {
	// Worked out by a second program; another value here would send mails twice after an upgrade.
	const want = "b2qysew56b4rxwohmtvtmr56e3o7zjlq@salon.example"
	require.Equal(t, want, MessageID("k1", "v1", Reminder, 2, "Salon.example"))
	seen := map[string]bool{}
	for _, id := range []string{
		MessageID("k1", "v1", Reminder, 2, "salon.example"),
		MessageID("k2", "v1", Reminder, 2, "salon.example"),
		MessageID("k1", "v2", Reminder, 2, "salon.example"),
		MessageID("k1", "v1", Moved, 2, "salon.example"),
		MessageID("k1", "v1", Reminder, 3, "salon.example"),
		MessageID("k1v", "1", Reminder, 2, "salon.example"),
		MessageID("k1", "v1", Reminder, 2, "x\r\nBcc: y"),
	} {
		require.False(t, seen[id], "%s twice", id)
		require.Regexp(t, messageID, id)
		seen[id] = true
	}
}

const invitation = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//y//EN\r\nMETHOD:REQUEST\r\nEND:VCALENDAR\r\n"

// parts flattens a multipart body into "content type" and decoded content.
func parts(t *testing.T, contentType string, body io.Reader) (types []string, contents [][]byte) {
	t.Helper()
	kind, params, err := mime.ParseMediaType(contentType)
	require.NoError(t, err)
	if !strings.HasPrefix(kind, "multipart/") {
		raw, err := io.ReadAll(body)
		require.NoError(t, err)
		return []string{contentType}, [][]byte{raw}
	}
	types, contents = []string{kind}, [][]byte{nil}
	for r := multipart.NewReader(body, params["boundary"]); ; {
		p, err := r.NextPart()
		if err == io.EOF {
			return types, contents
		}
		require.NoError(t, err)
		var content io.Reader = p
		if p.Header.Get("Content-Transfer-Encoding") == "base64" {
			content = base64.NewDecoder(base64.StdEncoding, p)
		}
		inner, innerContents := parts(t, p.Header.Get("Content-Type"), content)
		types, contents = append(types, inner...), append(contents, innerContents...)
	}
}

func TestAnInvitationStandsBesideTheTextAndAsAFile(t *testing.T) {
	m := sample()
	m.Invitation = &Invitation{ICS: []byte(invitation), Method: "REQUEST", Organizer: m.From}
	msg := parsed(t, rendered(t, m))
	types, contents := parts(t, msg.Header.Get("Content-Type"), msg.Body)
	require.Equal(t, []string{
		"multipart/mixed", "multipart/alternative", "text/plain; charset=UTF-8",
		"text/calendar; method=REQUEST; charset=UTF-8", `application/ics; name="visit.ics"`,
	}, types)
	require.Equal(t, invitation, string(contents[3]), "every octet as it was given")
	require.Equal(t, invitation, string(contents[4]))
	require.Empty(t, msg.Header.Get("Reply-To"))
}

func TestAnswersByHandStillReachTheSalon(t *testing.T) {
	m := sample()
	m.Invitation = &Invitation{ICS: []byte(invitation), Method: "REQUEST", Organizer: netmail.Address{Name: "Corner Salon", Address: "replies+abc@salon.example"}}
	list, err := parsed(t, rendered(t, m)).Header.AddressList("Reply-To")
	require.NoError(t, err)
	require.Equal(t, []*netmail.Address{&m.From, &m.Invitation.Organizer}, list)
}

func FuzzNoNameOrSubjectAddsAHeader(f *testing.F) {
	for _, s := range []string{
		"Mara", "a\r\nBcc: b@c.example", "a\nb", "a\rb", "=?utf-8?b?DQpCY2M6IGE=?=", "=?=?utf-8?q?x?=", `"`, `\`, `ü\`, `a" <x@y.example>, "b`,
		"\x00", "\xff", "\u2028\u0085", strings.Repeat("x", 3000), strings.Repeat("ü ", 1500), "<>", ",;:@", "\u202e", "a\tb", "(c)",
	} {
		f.Add(s, s)
	}
	want := map[string]bool{}
	for name := range parsed(f, rendered(f, sample())).Header {
		want[name] = true
	}
	f.Fuzz(func(t *testing.T, name, subject string) {
		m := sample()
		m.From.Name, m.To.Name, m.Subject, m.Text = name, name, "s"+subject, "t"+name+"\n"+subject
		raw := rendered(t, m)
		for line := range bytes.Lines(raw) {
			require.True(t, bytes.HasSuffix(line, []byte("\r\n")) || line[len(line)-1] != '\n', "bare LF")
			require.LessOrEqual(t, len(line), 1000, "longer than RFC 5322 2.1.1 allows")
			require.NotContains(t, strings.TrimSuffix(string(line), "\r\n"), "\r")
		}
		msg := parsed(t, raw)
		require.Len(t, msg.Header, len(want))
		for header, values := range msg.Header {
			require.True(t, want[header], "header %s was added", header)
			require.Len(t, values, 1)
		}
		require.Equal(t, clean(m.Subject), decodedSubject(t, msg))
		for header, address := range map[string]string{"From": m.From.Address, "To": m.To.Address} {
			list, err := msg.Header.AddressList(header)
			require.NoError(t, err)
			require.Len(t, list, 1)
			require.Equal(t, address, list[0].Address)
			require.Equal(t, displayName(name), list[0].Name)
		}
	})
}
