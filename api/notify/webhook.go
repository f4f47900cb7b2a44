package notify

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptrace"
	"regexp"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
	"unicode"
	"unicode/utf8"

	"chairblock/api/outbound"
	"chairblock/scheduling"
)

// Text is one text message from the salon to one telephone.
type Text struct {
	// ID is the message's Message-ID, without angle brackets: the same for every
	// try, so that a gateway can tell that it has the message already.
	ID       string
	To       string // E.164, such as +4930901820
	Body     string // plain text, LF line ends, at most 1,000 characters
	Language string // BCP 47, such as en
}

// String names the text by its id only, so that one that ends up in a log by
// mistake shows nobody's number.
func (t Text) String() string { return "text message " + t.ID }

// GoString is String.
func (t Text) GoString() string { return t.String() }

// LogValue is String, for slog.
func (t Text) LogValue() slog.Value { return slog.StringValue(t.String()) }

// Bounds of the exchange with a gateway. Standard Webhooks 1.0.0 asks for
// payloads below 20 kB and for patience of 15 to 30 s; what a gateway answers
// beside its status counts for nothing. The
// shortest of that patience was taken.
const (
	webhookTimeout = 15 * time.Second
	maxTextLength  = 1000 // characters; beyond three parts of an SMS nobody reads (judgement)
	secretBytes    = 32   // Standard Webhooks 1.0.0: 24 to 64
	secretPrefix   = "whsec_"
)

var (
	// ErrGone means that the gateway wants no more messages, ever (HTTP status 410).
	ErrGone = errors.New("the gateway says that it is gone (410)")
	// ErrAnswerLost means that a message was handed over completely and the answer
	// got lost: it may have been accepted. Another try carries the same id.
	ErrAnswerLost = errors.New("the answer was lost: the message may have been accepted")
)

// BusyError means that a gateway did not take a message this time.
type BusyError struct {
	Status int           // of its answer
	After  time.Duration // how long it wants to be left alone, 0 when it did not say
}

// Error names the status.
func (e *BusyError) Error() string {
	if e.Status >= 300 && e.Status < 400 {
		return fmt.Sprintf("notify: send: the gateway sends on to another address (%d), which is not followed", e.Status)
	}
	return "notify: send: the gateway answered " + outbound.StatusWords(e.Status)
}

// NewSecret makes a secret for the signatures of a webhook: whsec_ and 32 random
// bytes in base64.
func NewSecret() string {
	key := make([]byte, secretBytes)
	rand.Read(key) // documented never to fail
	return secretPrefix + base64.StdEncoding.EncodeToString(key)
}

// Webhook hands text messages to a salon's gateway by HTTP POST, signed after
// Standard Webhooks 1.0.0. It is safe for use by several goroutines.
type Webhook struct {
	client  *outbound.Client
	address string
	keys    [][]byte
	now     func() time.Time
}

// NewWebhook makes a webhook to an address, signed with each of one or more
// secrets of NewSecret, the newest first: while secrets are being changed, the
// receiver may know either. It returns a *scheduling.InvalidError for an address
// or a secret that cannot be used.
func NewWebhook(client *outbound.Client, address string, now func() time.Time, secrets ...string) (*Webhook, error) {
	w := &Webhook{client: client, address: address, now: now}
	if err := client.Check(address); err != nil {
		return nil, &scheduling.InvalidError{Field: "address", Problem: "cannot be used: " + err.Error(), Want: "a public address that begins with https://"}
	}
	for _, s := range secrets {
		key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(s, secretPrefix))
		if err != nil || len(key) < 24 || !strings.HasPrefix(s, secretPrefix) {
			return nil, &scheduling.InvalidError{Field: "secret", Problem: "is no secret of a webhook", Want: "whsec_ and at least 24 bytes in base64"}
		}
		w.keys = append(w.keys, key)
	}
	if len(w.keys) == 0 {
		return nil, &scheduling.InvalidError{Field: "secret", Problem: "is missing", Want: "whsec_ and at least 24 bytes in base64"}
	}
	return w, nil
}

// String names no address.
func (w Webhook) String() string { return "webhook" }

// GoString is String.
func (w Webhook) GoString() string { return w.String() }

// payload is what is posted. It is thin: nothing about the visit but the words.
type payload struct {
	Type      string      `json:"type"`
	Timestamp time.Time   `json:"timestamp"`
	Data      payloadData `json:"data"`
}

type payloadData struct {
	MessageID string `json:"message_id"`
	To        string `json:"to,omitempty"`
	Text      string `json:"text,omitempty"`
	Language  string `json:"language,omitempty"`
}

// Types of payloads.
const (
	typeText = "message.text" // send this
	typeTest = "message.test" // send nothing, say whether you could
)

var (
	telephone = regexp.MustCompile(`^\+[1-9][0-9]{6,14}$`)
	// languageTag is a tag of letters, digits and hyphens; RFC 5646 4.4.1 advises room for 35.
	languageTag = regexp.MustCompile(`^[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8}){0,7}$`)
)

func (t Text) check() error {
	var faults scheduling.Faults
	if t.ID == "" || len(t.ID) > 300 {
		faults.Add("id", "is missing or too long", "a Message-ID")
	}
	if !telephone.MatchString(t.To) {
		faults.Add("to", "is not a telephone number", "E.164, such as +4930901820")
	}
	if !languageTag.MatchString(t.Language) {
		faults.Add("language", "is not a language", "a tag such as en")
	}
	n := utf8.RuneCountInString(t.Body)
	bad := func(r rune) bool { return unicode.IsControl(r) && r != '\n' }
	if n == 0 || n > maxTextLength || !utf8.ValidString(t.Body) || strings.ContainsFunc(t.Body, bad) {
		faults.Addf("body", "1 to 1000 characters without control characters", "has %d characters or some that cannot be sent", n)
	}
	return faults.Err()
}

// Send hands t to the gateway once. It returns a *PermanentError when the text
// can never go out: it is not usable as it is, or the gateway is gone (ErrGone).
// Anything else is worth another try: a *BusyError, ErrAnswerLost, or one that
// says why the gateway could not be reached. No error holds a number or words of
// the gateway.
func (w *Webhook) Send(ctx context.Context, t Text) error {
	if err := t.check(); err != nil {
		return &PermanentError{Stage: "text", Err: err}
	}
	id := webhookID(t.ID)
	return w.post(ctx, id, payload{typeText, w.now().UTC(), payloadData{id, t.To, t.Body, t.Language}})
}

// Test asks the gateway whether it hears and believes us, without sending
// anything to anybody. Errors are those of Send.
func (w *Webhook) Test(ctx context.Context) error {
	id := webhookID(rand.Text())
	return w.post(ctx, id, payload{typeTest, w.now().UTC(), payloadData{MessageID: id}})
}

// webhookID is the webhook-id of a message: a SHA-256 of its Message-ID cut to 160
// bits, since a dot, as in a host's name, would end the id where it is signed.
func webhookID(messageID string) string {
	sum := sha256.Sum256([]byte(messageID))
	return "msg_" + strings.ToLower(base32.StdEncoding.EncodeToString(sum[:20]))
}

func (w *Webhook) post(ctx context.Context, id string, p payload) error {
	body, err := json.Marshal(p)
	if err != nil {
		return &PermanentError{Stage: "text", Err: errors.New("it cannot be written as JSON")}
	}
	at := strconv.FormatInt(w.now().Unix(), 10)
	var written atomic.Bool
	ctx = httptrace.WithClientTrace(ctx, &httptrace.ClientTrace{
		WroteRequest: func(i httptrace.WroteRequestInfo) { written.Store(i.Err == nil) }})
	answer, err := w.client.Do(ctx, outbound.Request{
		Method: http.MethodPost, Address: w.address, Body: body, Timeout: webhookTimeout,
		Header: http.Header{"Content-Type": {"application/json"}, "Webhook-Id": {id}, "Webhook-Timestamp": {at},
			"Webhook-Signature": {w.signatures(id, at, body)}},
		MaxBytes: 1, Cut: true, // only the status counts
	})
	if err != nil {
		if written.Load() {
			return fmt.Errorf("notify: send: %w", ErrAnswerLost)
		}
		return fmt.Errorf("notify: send: gateway: %w", err)
	}
	switch s := answer.Status; {
	case s >= 200 && s < 300:
		return nil
	case s == http.StatusGone:
		return &PermanentError{Stage: "text", Err: ErrGone}
	default:
		return &BusyError{Status: s, After: retryAfter(answer.Header.Get("Retry-After"), w.now())}
	}
}

// signatures signs id, time and body with every key.
func (w *Webhook) signatures(id, at string, body []byte) string {
	list := make([]string, len(w.keys))
	for i, key := range w.keys {
		h := hmac.New(sha256.New, key)
		fmt.Fprintf(h, "%s.%s.%s", id, at, body)
		list[i] = "v1," + base64.StdEncoding.EncodeToString(h.Sum(nil))
	}
	return strings.Join(list, " ")
}

// longestRetryAfter is the longest time that a server is believed to want to be
// left alone (judgement).
const longestRetryAfter = 24 * time.Hour

// retryAfter reads the header of RFC 9110 10.2.3: seconds or a time; 0 when it is
// missing or nonsense.
func retryAfter(header string, now time.Time) time.Duration {
	var d time.Duration
	if n, err := strconv.ParseUint(header, 10, 31); err == nil {
		d = time.Duration(n) * time.Second
	} else if at, err := http.ParseTime(header); err == nil {
		d = at.Sub(now)
	}
	return min(max(d, 0), longestRetryAfter)
}
