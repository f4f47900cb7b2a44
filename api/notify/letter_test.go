package notify

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// answerICS is the answer of RFC 5546 section 4.2.2.
const answerICS = "BEGIN:VCALENDAR\r\nPRODID:-//Example/ExampleCalendarClient//EN\r\nMETHOD:REPLY\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\n" +
	"ATTENDEE;PARTSTAT=ACCEPTED:mailto:b@example.com\r\nORGANIZER:mailto:a@example.com\r\nUID:calsrv.example.com-873970198738777@example.com\r\n" +
	"SEQUENCE:0\r\nREQUEST-STATUS:2.0;Success\r\nDTSTAMP:19970612T190000Z\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"

// letterOf is a mail with a body of a content type, further headers, and the
// body itself.
func letterOf(contentType, headers, body string) string {
	return "From: \"B\" <B@Example.com>\r\nTo: replies+abc@salon.example\r\nSubject: Accepted\r\nMIME-Version: 1.0\r\n" + headers +
		"Content-Type: " + contentType + "\r\n\r\n" + body
}

func base64Lines(s string) string {
	e := base64.StdEncoding.EncodeToString([]byte(s))
	var b strings.Builder
	for len(e) > 76 {
		b.WriteString(e[:76] + "\r\n")
		e = e[76:]
	}
	return b.String() + e + "\r\n"
}

// multipart puts parts, each with its own headers, into one.
func multipartOf(boundary string, parts ...string) string {
	var b strings.Builder
	for _, p := range parts {
		b.WriteString("--" + boundary + "\r\n" + p + "\r\n")
	}
	return b.String() + "--" + boundary + "--\r\n"
}

func TestAnswersAreFoundInAllTheirWrappings(t *testing.T) {
	quoted := strings.ReplaceAll(answerICS, "=", "=3D")
	plainPart := "Content-Type: text/plain\r\n\r\nB has accepted.\r\n"
	calendarPart := "Content-Type: text/calendar; method=REPLY; charset=UTF-8\r\n\r\n" + answerICS
	filePart := "Content-Type: application/ics; name=reply.ics\r\nContent-Disposition: attachment\r\nContent-Transfer-Encoding: base64\r\n\r\n" + base64Lines(answerICS)
	alternative := "Content-Type: multipart/alternative; boundary=in\r\n\r\n" + multipartOf("in", plainPart, calendarPart)
	for name, mail := range map[string]string{
		"alone":             letterOf("text/calendar; method=REPLY; charset=UTF-8", "", answerICS),
		"in base64":         letterOf("text/calendar; method=reply", "Content-Transfer-Encoding: base64\r\n", base64Lines(answerICS)),
		"quoted printable":  letterOf("text/calendar", "Content-Transfer-Encoding: quoted-printable\r\n", quoted),
		"as an alternative": letterOf("multipart/alternative; boundary=in", "", multipartOf("in", plainPart, calendarPart)),
		"and as a file":     letterOf(`multipart/mixed; boundary="o u t"`, "", multipartOf("o u t", alternative, filePart)),
		"a file alone":      letterOf("multipart/mixed; boundary=out", "", multipartOf("out", plainPart, filePart)),
		"no such charset":   letterOf("text/calendar; method=REPLY; charset=klingon", "", answerICS),
		"in another case":   letterOf("TEXT/Calendar; METHOD=Reply", "", answerICS),
		"beside our own": letterOf("multipart/mixed; boundary=out", "", multipartOf("out", calendarPart,
			"Content-Type: text/calendar; method=REQUEST\r\n\r\n"+invitation)),
		"with other ends of lines": strings.ReplaceAll(letterOf("text/calendar", "", answerICS), "\r\n", "\n"),
	} {
		t.Run(name, func(t *testing.T) {
			l, err := ReadLetter(strings.NewReader(mail))
			require.NoError(t, err)
			require.Equal(t, "b@example.com", l.From)
			require.NotEmpty(t, l.Calendars)
			for _, c := range l.Calendars {
				require.Equal(t, strings.ReplaceAll(strings.TrimSpace(answerICS), "\r\n", "\n"), strings.ReplaceAll(strings.TrimSpace(string(c)), "\r\n", "\n"))
			}
		})
	}
}

// What follows a calendar, or stops in the middle of it, leaves what there is.
func TestABrokenEndLeavesWhatCameBeforeIt(t *testing.T) {
	l, err := ReadLetter(strings.NewReader(letterOf("text/calendar", "Content-Transfer-Encoding: base64\r\n", base64Lines(answerICS)+"-- \r\nlist, stop!\r\n")))
	require.NoError(t, err)
	require.Len(t, l.Calendars, 1)
	require.Contains(t, string(l.Calendars[0]), "UID:calsrv")
	l, err = ReadLetter(strings.NewReader(letterOf("multipart/mixed; boundary=out", "", "--out\r\nContent-Type: text/calendar\r\n\r\n"+answerICS)))
	require.NoError(t, err)
	require.Len(t, l.Calendars, 1)
}

func TestOrdinaryMailHoldsNoCalendar(t *testing.T) {
	for _, mail := range []string{
		letterOf("text/plain", "", "Yes, I come."),
		letterOf("multipart/mixed; boundary=out", "", ""),
		letterOf("multipart/mixed", "", answerICS),
		letterOf("message/rfc822", "", letterOf("text/calendar", "", answerICS)), // somebody else's mail
		letterOf("text/calendar; method=REQUEST", "", invitation),
		letterOf("text/calendar", "", ""),
	} {
		l, err := ReadLetter(strings.NewReader(mail))
		require.NoError(t, err)
		require.Empty(t, l.Calendars)
	}
}

func TestMailsWithoutOneSenderAreRefused(t *testing.T) {
	body := "Content-Type: text/calendar\r\n\r\n" + answerICS
	for name, head := range map[string]string{
		"none":           "To: x@y.example\r\n",
		"two fields":     "From: b@example.com\r\nFrom: eve@example.com\r\n",
		"two in one":     "From: b@example.com, eve@example.com\r\n",
		"no address":     "From: B\r\n",
		"an empty group": "From: b:;\r\n",
	} {
		_, err := ReadLetter(strings.NewReader(head + body))
		require.ErrorIs(t, err, ErrUnreadable, name)
	}
}

// hostile are mails that try to cost much or to break their reader.
func hostile() map[string]string {
	deep := answerICS
	for i := range 100 {
		b := fmt.Sprint("b", i)
		deep = "Content-Type: multipart/mixed; boundary=" + b + "\r\n\r\n" + multipartOf(b, deep)
	}
	many := strings.Repeat("--x\r\nContent-Type: text/plain\r\n\r\nx\r\n", 20000)
	prefixes := strings.Repeat("--"+strings.Repeat("x", 60)+"y\r\n", 8000)
	return map[string]string{
		"100 parts in each other":    "From: b@example.com\r\n" + deep,
		"20,000 parts":               letterOf("multipart/mixed; boundary=x", "", many),
		"a header without end":       "From: b@example.com\r\nX: " + strings.Repeat("x", 900<<10),
		"100,000 headers":            "From: b@example.com\r\n" + strings.Repeat("X: y\r\n", 100000) + "\r\n",
		"folds only":                 "From: b@example.com\r\n" + strings.Repeat(" \r\n", 200000),
		"a border that is a prefix":  letterOf("multipart/mixed; boundary="+strings.Repeat("x", 60), "", prefixes),
		"an empty border":            letterOf(`multipart/mixed; boundary=""`, "", strings.Repeat("--\r\n\r\n", 50000)),
		"a border of line breaks":    letterOf("multipart/mixed; boundary=\"a\r\n b\"", "", "--a\r\n b\r\n\r\n"),
		"bad parameters":             letterOf(`text/calendar; method="`, "", answerICS),
		"thousands of parameters":    letterOf("text/calendar"+strings.Repeat("; a=b", 5000), "", answerICS),
		"zeroes":                     strings.Repeat("\x00", 1<<20),
		"nothing":                    "",
		"one long line":              strings.Repeat("x", 1<<20),
		"an encoding of an encoding": letterOf("text/calendar", "Content-Transfer-Encoding: base64\r\n", strings.Repeat("=", 500<<10)),
		"colons":                     strings.Repeat(":\r\n", 300000),
	}
}

func TestHostileMailsDoNoHarm(t *testing.T) {
	for name, mail := range hostile() {
		t.Run(name, func(t *testing.T) {
			l, err := ReadLetter(strings.NewReader(mail))
			if err != nil {
				require.True(t, errors.Is(err, ErrUnreadable) || errors.Is(err, ErrTooLarge), "%v", err)
				return
			}
			require.LessOrEqual(t, len(l.Calendars), maxParts)
		})
	}
	_, err := ReadLetter(strings.NewReader(letterOf("text/calendar", "", answerICS+strings.Repeat("x", maxLetter))))
	require.ErrorIs(t, err, ErrTooLarge)
}

func FuzzReadLetter(f *testing.F) {
	for _, mail := range hostile() {
		if len(mail) < 64<<10 {
			f.Add([]byte(mail))
		}
	}
	f.Add([]byte(letterOf("multipart/alternative; boundary=in", "", multipartOf("in", "Content-Type: text/calendar\r\n\r\n"+answerICS))))
	f.Add([]byte(letterOf("text/calendar; charset=iso-8859-1", "Content-Transfer-Encoding: quoted-printable\r\n", answerICS)))
	f.Fuzz(func(t *testing.T, mail []byte) {
		l, err := ReadLetter(strings.NewReader(string(mail)))
		if err != nil {
			require.Empty(t, l.Calendars)
			return
		}
		require.NotEmpty(t, l.From)
		total := 0
		for _, c := range l.Calendars {
			total += len(c)
		}
		require.LessOrEqual(t, total, len(mail), "what is read is no more than what came in")
	})
}
