package notify

import (
	"bytes"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"log/slog"
	netmail "net/mail"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"chairblock/scheduling"
)

// Mail is one message from the salon to one person.
type Mail struct {
	// From and To are a name and a plain ASCII address. Names are cleaned and
	// encoded; an address that could carry anything else is refused.
	From, To netmail.Address
	Subject  string
	// Text is plain text in UTF-8 with LF or CR LF line ends.
	Text string
	// MessageID is what MessageID returned, without angle brackets.
	MessageID string
	// ICS is a calendar object, or empty. One with a METHOD goes out as an
	// invitation that mail programs can act on, one without as a file.
	ICS []byte
}

// Bounds of one mail, judgement: a message of ours has a few kilobytes.
const (
	maxText = 256 << 10 // octets
	maxICS  = 1 << 20   // octets
	// RFC 5321 4.5.3.1.3: a path has at most 256 octets, angle brackets included.
	maxAddress = 254
)

// String names the mail by its Message-ID only, so that a mail that ends up
// in a log by mistake shows nobody's address.
func (m Mail) String() string { return "mail " + m.MessageID }

// GoString is String.
func (m Mail) GoString() string { return m.String() }

// LogValue is String, for slog.
func (m Mail) LogValue() slog.Value { return slog.StringValue(m.String()) }

// MessageID returns the Message-ID of message k about a visit, without angle
// brackets. The same arguments give the same id in every process, so that a
// mail sent twice can be told from two mails. Edition tells messages of one
// kind about one visit apart, for example the reminders before and after a
// move. Host is the domain of the salon's own address; keep it with the job,
// since another host is another id. What is no host name becomes
// chairblock.invalid.
//
// The id reveals nothing about the salon or the visit: it is a SHA-256 cut to
// 160 bits.
func MessageID(salonKey, visitID string, k Kind, edition int, host string) string {
	h := sha256.New()
	for _, s := range []string{salonKey, visitID, string(k), strconv.Itoa(edition)} {
		var n [8]byte
		binary.BigEndian.PutUint64(n[:], uint64(len(s)))
		h.Write(n[:])
		h.Write([]byte(s))
	}
	id := base32.StdEncoding.EncodeToString(h.Sum(nil)[:20])
	if !hostName.MatchString(host) {
		host = "chairblock.invalid"
	}
	return strings.ToLower(id + "@" + host)
}

var (
	hostName = regexp.MustCompile(`^[A-Za-z0-9]([A-Za-z0-9.-]{0,251}[A-Za-z0-9])?$`)
	// messageID is the dot-atom form of RFC 5322 3.6.4.
	messageID = regexp.MustCompile("^[A-Za-z0-9!#$%&'*+/=?^_`{|}~.-]{1,100}@[A-Za-z0-9.-]{1,140}$")
	icsMethod = regexp.MustCompile(`(?m)^METHOD:([A-Z-]{1,40})\r?$`)
)

// check returns scheduling.Faults naming every unusable field. No fault
// repeats what was in the field.
func (m Mail) check() error {
	var faults scheduling.Faults
	checkAddress(&faults, "from", m.From.Address)
	checkAddress(&faults, "to", m.To.Address)
	if clean(m.Subject) == "" {
		faults.Add("subject", "is empty", "a text")
	}
	if strings.TrimSpace(m.Text) == "" || len(m.Text) > maxText {
		faults.Addf("text", "1 to 262144 octets of text", "has %d octets", len(m.Text))
	}
	if !messageID.MatchString(m.MessageID) {
		faults.Add("message_id", "is not a Message-ID", "letters@host, without angle brackets")
	}
	if len(m.ICS) > maxICS {
		faults.Addf("ics", "at most 1048576 octets", "has %d octets", len(m.ICS))
	}
	if len(m.ICS) > 0 && !bytes.HasPrefix(m.ICS, []byte("BEGIN:VCALENDAR")) {
		faults.Add("ics", "is not a calendar object", "BEGIN:VCALENDAR first")
	}
	return faults.Err()
}

// checkAddress wants a bare ASCII address. Addresses in other scripts need an
// extension that few servers speak; a domain in another script has an ASCII
// form that begins with xn--.
func checkAddress(faults *scheduling.Faults, field, address string) {
	parsed, err := netmail.ParseAddress(address)
	ok := err == nil && parsed.Address == address && len(address) <= maxAddress
	for i := 0; ok && i < len(address); i++ {
		ok = address[i] > ' ' && address[i] <= '~'
	}
	if !ok {
		faults.Add(field, "is not a mail address", "name@host in plain ASCII, at most 254 octets")
	}
}

// build returns the message with its headers, dated at.
func (m Mail) build(at time.Time) (*mail.Msg, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	msg := mail.NewMsg(mail.WithNoDefaultUserAgent())
	msg.FromMailAddress(named(m.From))
	msg.ToMailAddress(named(m.To))
	msg.Subject(clean(m.Subject))
	msg.SetDateWithValue(at)
	msg.SetMessageIDWithValue(m.MessageID)
	// RFC 3834: no out-of-office program answers what says this.
	msg.SetGenHeader("Auto-Submitted", "auto-generated")
	msg.SetBodyString(mail.TypeTextPlain, cleanBody(m.Text))
	if len(m.ICS) > 0 {
		if err := m.addCalendar(msg); err != nil {
			return nil, err
		}
	}
	return msg, nil
}

// addCalendar puts the calendar object into the mail. One with a METHOD is an
// alternative to the text (RFC 6047 2.4), where mail programs look for
// invitations, and a file besides for those that do not.
func (m Mail) addCalendar(msg *mail.Msg) error {
	kind := mail.ContentType("text/calendar; charset=UTF-8")
	if method := icsMethod.FindSubmatch(m.ICS); method != nil {
		msg.AddAlternativeString(mail.ContentType("text/calendar; method="+string(method[1])), string(m.ICS),
			mail.WithPartEncoding(mail.EncodingB64))
		kind = "application/ics"
	}
	return msg.AttachReader("visit.ics", bytes.NewReader(m.ICS), mail.WithFileContentType(kind))
}

func named(a netmail.Address) *netmail.Address {
	return &netmail.Address{Name: displayName(a.Name), Address: a.Address}
}

// displayName cleans the name before an address. A backslash goes too: the
// standard library leaves one bare in an encoded word, where RFC 2047 5.3 does
// not allow it and readers lose the whole address over it.
func displayName(s string) string {
	return clean(strings.ReplaceAll(s, `\`, ""))
}
