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
	// HTML is the same message as a page of its own, or empty.
	HTML string
	// Unsubscribe is an https address where one POST stops messages like this
	// one (RFC 8058), or empty. That RFC wants a DKIM signature over both of
	// its headers, which the mail server of the salon adds.
	Unsubscribe string
	// MessageID is what MessageID returned, without angle brackets.
	MessageID string
	// Invitation is nil, or what mail programs offer to put into a calendar.
	Invitation *Invitation
}

// Invitation is a calendar object that mail programs act on (RFC 6047).
type Invitation struct {
	// ICS is the calendar object, whose METHOD is Method.
	ICS    []byte
	Method string
	// Organizer is where answers of calendars go. The zero value, and the
	// address that the mail comes from, mean that they go back to the sender.
	Organizer netmail.Address
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
	if len(m.HTML) > maxText {
		faults.Addf("html", "at most 262144 octets", "has %d octets", len(m.HTML))
	}
	if m.Unsubscribe != "" && !(plainLink(m.Unsubscribe) && strings.HasPrefix(m.Unsubscribe, "https://")) {
		faults.Add("unsubscribe", "is not a secure web address", "an https address of at most 500 characters")
	}
	if !messageID.MatchString(m.MessageID) {
		faults.Add("message_id", "is not a Message-ID", "letters@host, without angle brackets")
	}
	if m.Invitation != nil {
		m.Invitation.check(&faults)
	}
	return faults.Err()
}

func (v Invitation) check(faults *scheduling.Faults) {
	if len(v.ICS) > maxICS {
		faults.Addf("invitation.ics", "at most 1048576 octets", "has %d octets", len(v.ICS))
		return
	}
	if !bytes.HasPrefix(v.ICS, []byte("BEGIN:VCALENDAR\r\n")) {
		faults.Add("invitation.ics", "is not a calendar object", "BEGIN:VCALENDAR first")
	}
	// A method beside the object that is not the object's own gets the mail refused.
	if found := icsMethod.FindAllSubmatch(v.ICS, 2); len(found) != 1 || string(found[0][1]) != v.Method {
		faults.Add("invitation.method", "is not that of the calendar object", "the value of its METHOD")
	}
	if v.Organizer != (netmail.Address{}) {
		checkAddress(faults, "invitation.organizer", v.Organizer.Address)
	}
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
	if m.Unsubscribe != "" {
		msg.SetGenHeaderPreformatted("List-Unsubscribe", "<"+m.Unsubscribe+">")
		msg.SetGenHeader("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")
	}
	msg.SetBodyString(mail.TypeTextPlain, cleanBody(m.Text))
	if m.HTML != "" {
		msg.AddAlternativeString(mail.TypeTextHTML, cleanBody(m.HTML))
	}
	if m.Invitation != nil {
		if err := m.addInvitation(msg); err != nil {
			return nil, err
		}
	}
	return msg, nil
}

// addInvitation makes the calendar object the last alternative to the text
// (RFC 6047 2.4), where mail programs look for invitations, and a file besides
// for those that do not. Answers by hand still reach the salon where those of
// calendars have an address of their own.
func (m Mail) addInvitation(msg *mail.Msg) error {
	v := m.Invitation
	msg.AddAlternativeString(mail.ContentType("text/calendar; method="+v.Method), string(v.ICS),
		mail.WithPartEncoding(mail.EncodingB64))
	if o := v.Organizer; o.Address != "" && o.Address != m.From.Address {
		msg.ReplyToMailAddress(named(m.From), named(o))
	}
	return msg.AttachReader("visit.ics", bytes.NewReader(v.ICS), mail.WithFileContentType("application/ics"))
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
