package api

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/store"
)

// MessageRules say when a salon's messages go out and which of them. What is left
// out has the default of defaultMessageRules; as messageRulesOf returns them,
// nothing is left out.
type MessageRules struct {
	QuietFrom string `json:"quiet_from,omitempty" maxLength:"5" example:"20:00" doc:"Clock time of the salon from which nothing is sent; what falls due then waits, except what is about the next 12 hours. Left out: 20:00"`
	QuietTo   string `json:"quiet_to,omitempty" maxLength:"5" example:"08:00" doc:"Clock time until then; the same as quiet_from: no quiet hours. Left out: 08:00"`

	NotSent  []string `json:"not_sent" required:"false" nullable:"true" maxItems:"20" doc:"Kinds of messages that the salon does not send; left out or null: it sends all"`
	Language string   `json:"language,omitempty" maxLength:"35" example:"en" doc:"Language of messages to clients who have named none, and of those to staff, as a BCP 47 tag; left out: en"`

	DatedAt       string `json:"dated_at,omitempty" maxLength:"5" example:"10:00" doc:"Clock time at which messages go out that belong to a day, such as that a retouch is due; left out: 10:00"`
	PrepareHours  int    `json:"prepare_hours_before,omitempty" minimum:"0" maximum:"336" doc:"How long before the visit the client hears how to prepare, 1 to 336; left out: 72"`
	ReminderHours int    `json:"reminder_hours_before,omitempty" minimum:"0" maximum:"336" doc:"How long before the visit the client is reminded, 1 to 336; left out: 24"`
	// AsksYes is never nil once read.
	AsksYes           *bool `json:"reminder_asks_yes,omitempty" doc:"The reminder asks the client to say that she comes; left out: true"`
	YesWithinHours    int   `json:"yes_within_hours,omitempty" minimum:"0" maximum:"168" doc:"Hours after the reminder, 1 to 168, at which a client who has not said so stands on the list of calls; left out: 4"`
	RetouchAgainWeeks int   `json:"retouch_again_weeks,omitempty" minimum:"0" maximum:"26" doc:"Weeks, 1 to 26, until the one repetition of the message that a retouch is due; left out: 4"`
	LateMinutes       int   `json:"late_minutes,omitempty" minimum:"0" maximum:"120" doc:"Minutes, 5 to 120, by which a visit has to begin late for the client to be told; left out: 15"`
	// LateByItself and TellChecks are never nil once read.
	LateByItself *bool `json:"late_by_itself,omitempty" doc:"A client whose visit will begin late by late_minutes is told without anybody asking for it; left out: false, somebody has to"`
	TellChecks   *bool `json:"tell_checks,omitempty" doc:"Stylists in charge are told when hair has to be looked at (check_due); left out: false"`
	// InvitationsNeedYes is never nil once read.
	InvitationsNeedYes *bool `json:"invitations_need_yes,omitempty" doc:"Messages that ask a client to come again (first_wash, retouch, retouch_again) go only to clients who are noted to have agreed; left out: false, they go to every client who has not stopped them"`
}

// defaultMessageRules are judgement throughout. That a client is asked to come
// again without having agreed to that beforehand follows Directive 2002/58/EC
// article 13(2): own clients, services like those they had, and every message
// offers to stop; where local rules ask for more, invitations_need_yes does.
func defaultMessageRules() MessageRules {
	return MessageRules{QuietFrom: "20:00", QuietTo: "08:00", NotSent: []string{}, Language: "en", DatedAt: "10:00", PrepareHours: 72, ReminderHours: 24,
		AsksYes: new(true), YesWithinHours: 4, RetouchAgainWeeks: 4, LateMinutes: 15,
		LateByItself: new(false), TellChecks: new(false), InvitationsNeedYes: new(false)}
}

// filled lays b over the defaults.
func (b MessageRules) filled() MessageRules {
	d := defaultMessageRules()
	return MessageRules{
		QuietFrom: cmp.Or(b.QuietFrom, d.QuietFrom), QuietTo: cmp.Or(b.QuietTo, d.QuietTo), NotSent: append(d.NotSent, b.NotSent...),
		Language: cmp.Or(b.Language, d.Language), DatedAt: cmp.Or(b.DatedAt, d.DatedAt), PrepareHours: cmp.Or(b.PrepareHours, d.PrepareHours),
		ReminderHours: cmp.Or(b.ReminderHours, d.ReminderHours), AsksYes: cmp.Or(b.AsksYes, d.AsksYes), YesWithinHours: cmp.Or(b.YesWithinHours, d.YesWithinHours),
		RetouchAgainWeeks: cmp.Or(b.RetouchAgainWeeks, d.RetouchAgainWeeks), LateMinutes: cmp.Or(b.LateMinutes, d.LateMinutes),
		LateByItself: cmp.Or(b.LateByItself, d.LateByItself), TellChecks: cmp.Or(b.TellChecks, d.TellChecks),
		InvitationsNeedYes: cmp.Or(b.InvitationsNeedYes, d.InvitationsNeedYes),
	}
}

// languageTag is the form of a BCP 47 tag (RFC 5646 2.1) without private and
// grandfathered ones.
var languageTag = regexp.MustCompile(`^[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*$`)

// languageOf cleans a language tag: RFC 5646 2.1.1 reads all cases alike.
func languageOf(f *scheduling.Faults, field, tag string) string {
	tag = strings.TrimSpace(tag)
	if !languageTag.MatchString(tag) || len(tag) > 35 { // 35: RFC 5646 4.4.1
		f.Add(field, "is not a language tag", "a tag such as en or pt-BR, of at most 35 characters")
	}
	return strings.ToLower(tag)
}

// check adds the faults of b to f.
func (b *MessageRules) check(f *scheduling.Faults) {
	for _, x := range []struct{ field, clock string }{{"quiet_from", b.QuietFrom}, {"quiet_to", b.QuietTo}, {"dated_at", b.DatedAt}} {
		if x.clock == "24:00" {
			f.Add(x.field, "is 24:00", "00:00")
		} else if x.clock != "" {
			clockOf(f, x.field, x.clock)
		}
	}
	if b.Language != "" {
		b.Language = languageOf(f, "language", b.Language)
	}
	known := messageNames(clientKinds, staffKinds)
	for i, kind := range b.NotSent {
		if !slices.Contains(known, kind) {
			f.Add(index("not_sent", i), "is no kind of message", "one of "+strings.Join(known, ", "))
		}
	}
	for _, x := range []struct {
		field          string
		v, least, most int
		unit           string
	}{
		{"prepare_hours_before", b.PrepareHours, 1, 336, "hours"}, {"reminder_hours_before", b.ReminderHours, 1, 336, "hours"},
		{"yes_within_hours", b.YesWithinHours, 1, 168, "hours"}, {"retouch_again_weeks", b.RetouchAgainWeeks, 1, 26, "weeks"},
		{"late_minutes", b.LateMinutes, 5, 120, "minutes"},
	} {
		if x.v != 0 && (x.v < x.least || x.v > x.most) { // 0 is left out
			f.Addf(x.field, fmt.Sprintf("%d to %d %s, or nothing", x.least, x.most, x.unit), "is %d", x.v)
		}
	}
}

// sends reports whether the salon sends messages of kind at all.
func (b MessageRules) sends(kind string) bool { return !slices.Contains(b.NotSent, kind) }

// messageRulesOf reads the rules of a salon's row over the defaults.
func messageRulesOf(n store.Salon) (MessageRules, error) {
	var b MessageRules
	if len(n.Messages) > 0 {
		if err := json.Unmarshal(n.Messages, &b); err != nil {
			return b, fmt.Errorf("api: message rules of salon: %w", err)
		}
	}
	return b.filled(), nil
}

type messageRulesInput struct {
	Precondition
	Body MessageRules
}

func (s *Server) messageRuleRoutes() {
	route(s, huma.Operation{OperationID: "get-message-rules", Method: http.MethodGet, Path: "/message-rules",
		Summary: "When messages go out, which of them and in which language"}, s.getMessageRules)
	route(s, huma.Operation{OperationID: "set-message-rules", Method: http.MethodPut, Path: "/message-rules",
		Summary: "Replace these rules; an empty document sets all to their defaults"}, s.setMessageRules)
}

func writeMessageRules(n store.Salon) (*found[MessageRules], error) {
	b, err := messageRulesOf(n)
	return &found[MessageRules]{ETag: etag(n.Version), Body: b}, err
}

func (s *Server) getMessageRules(ctx context.Context, _ *empty) (*found[MessageRules], error) {
	var n store.Salon
	err := s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.SalonRow(ctx); return err })
	if err != nil {
		return nil, err
	}
	return writeMessageRules(n)
}

func (s *Server) setMessageRules(ctx context.Context, in *messageRulesInput) (*found[MessageRules], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	var f scheduling.Faults
	in.Body.check(&f)
	if err := f.Err(); err != nil {
		return nil, err
	}
	doc, err := json.Marshal(in.Body)
	if err != nil {
		return nil, fmt.Errorf("api: message rules: %w", err)
	}
	var n store.Salon
	err = s.inTx(ctx, func(t *store.Tx) (err error) { n, err = t.SetMessageRules(ctx, version, doc); return err })
	if err != nil {
		return nil, err
	}
	return writeMessageRules(n)
}
