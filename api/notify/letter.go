package notify

import (
	"bufio"
	"errors"
	"io"
	netmail "net/mail"
	"strings"

	"github.com/emersion/go-message"
)

// Limits of one mail's structure, judgement: answers have three parts on two
// levels.
const (
	maxParts      = 20
	maxPartDepth  = 5
	maxHeaderSize = 64 << 10 // octets
)

// ReadLetter reads one mail. Its parts may be encoded in any way that RFC 2045
// knows; a character set that is not known is read as it stands, since all that
// counts of a calendar object is ASCII. Of a mail with more parts than the limits
// allow the first ones are read.
//
// ReadLetter returns ErrTooLarge for more than a megabyte and ErrUnreadable for
// what is no mail or has no single sender. No error holds words of the mail.
func ReadLetter(r io.Reader) (Letter, error) {
	limited := &io.LimitedReader{R: r, N: maxLetter + 1}
	e, err := message.ReadWithOptions(bufio.NewReader(limited), &message.ReadOptions{MaxHeaderBytes: maxHeaderSize})
	if err != nil && (e == nil || !decodable(err)) {
		return Letter{}, ErrUnreadable
	}
	var l Letter
	if l.From, err = sender(e.Header); err != nil {
		return Letter{}, err
	}
	parts := 0
	l.take(e, 1, &parts)
	// What follows the parts counts, too.
	if _, err := io.Copy(io.Discard, limited); err != nil {
		return Letter{}, ErrUnreadable
	}
	if limited.N <= 0 {
		return Letter{}, ErrTooLarge
	}
	return l, nil
}

// decodable reports an error that leaves an entity that can still be read.
func decodable(err error) bool {
	return message.IsUnknownCharset(err) || message.IsUnknownEncoding(err)
}

// sender is the address of the mail's only From. With two of them, or two
// addresses in one, nobody can say who has answered.
func sender(h message.Header) (string, error) {
	fields := h.FieldsByKey("From")
	if !fields.Next() {
		return "", ErrUnreadable
	}
	list, err := netmail.ParseAddressList(fields.Value())
	if err != nil || len(list) != 1 || fields.Next() {
		return "", ErrUnreadable
	}
	return strings.ToLower(list[0].Address), nil
}

// take collects the calendar objects of an entity. A part that is broken is left
// out, and so is all that follows a broken border between parts.
func (l *Letter) take(e *message.Entity, depth int, parts *int) {
	if *parts++; *parts > maxParts {
		return
	}
	kind, params, err := e.Header.ContentType()
	if err != nil {
		return
	}
	if strings.HasPrefix(kind, "multipart/") {
		if depth < maxPartDepth {
			l.takeParts(e, depth, parts)
		}
		return
	}
	if kind != "text/calendar" && kind != "application/ics" {
		return
	}
	if m := params["method"]; m != "" && !strings.EqualFold(m, "REPLY") && !strings.EqualFold(m, "COUNTER") {
		return // such as our own invitation, quoted
	}
	// What ends in the middle, or has a mailing list's last words behind it, may
	// still hold a whole answer.
	if body, _ := io.ReadAll(e.Body); len(body) > 0 && !l.has(body) {
		l.Calendars = append(l.Calendars, body)
	}
}

func (l *Letter) takeParts(e *message.Entity, depth int, parts *int) {
	r := e.MultipartReader()
	if r == nil {
		return
	}
	for *parts <= maxParts {
		part, err := r.NextPart()
		if errors.Is(err, io.EOF) || part == nil || err != nil && !decodable(err) {
			return
		}
		l.take(part, depth+1, parts)
	}
}
