package api

import (
	"bytes"
	"cmp"
	"context"
	"log/slog"
	"slices"
	"strings"
	"time"

	"chairblock/api/ics/read"
	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// ReplyBody is what a client's calendar answered to an invitation. Nothing but
// the mail's word says that it was she; a visit is moved and cancelled by people.
type ReplyBody struct {
	ID       string    `json:"id"`
	VisitID  string    `json:"visit_id"`
	ClientID string    `json:"client_id"`
	Start    time.Time `json:"start" doc:"Of the visit, as it is booked now"`
	ReplyWords
	Received time.Time `json:"received_at"`
	Former   bool      `json:"former_address" doc:"It came from an address that was invited and is not that of the client, or of who speaks for her, any more"`
}

// ReplyWords is an answer to an invitation.
type ReplyWords struct {
	Reply    string    `json:"reply" enum:"accepted,declined,tentative"`
	At       time.Time `json:"at" doc:"When the calendar wrote it"`
	Outdated bool      `json:"outdated" doc:"It answers an invitation that was changed since"`
}

// refusal says why nothing is kept of a mail or of an answer in it.
type refusal string

const (
	tooLarge     refusal = "too_large"
	badMail      refusal = "unreadable"
	crashed      refusal = "crashed"
	noAnswer     refusal = "no_answer"
	unknownVisit refusal = "unknown_visit"
	notInvited   refusal = "not_invited"
	otherSender  refusal = "other_sender"
	otherAddress refusal = "other_address"
	ofSeries     refusal = "of_series"
	otherTime    refusal = "other_time"
	noSuchAnswer refusal = "no_such_answer"
	neverSent    refusal = "never_sent"
	badTime      refusal = "bad_time"
	olderAnswer  refusal = "older"
)

var refusalWords = map[refusal]string{
	tooLarge:     "larger than 1 MB",
	badMail:      "not a mail that can be read, or not from one sender",
	crashed:      "stopped the program that read it",
	noAnswer:     "holds no answer to an invitation",
	unknownVisit: "about a visit that nobody was invited to",
	notInvited:   "from an address that was not invited to the visit",
	otherSender:  "sent by somebody else than who answers in it",
	otherAddress: "without the visit's own address for answers",
	ofSeries:     "about one of several dates, of which a visit has none",
	otherTime:    "asks for another time",
	noSuchAnswer: "neither yes, no nor perhaps",
	neverSent:    "answers an invitation that was never sent",
	badTime:      "does not say when it was written, or a time to come",
	olderAnswer:  "no newer than the answer that is there",
}

func (r refusal) words() string { return cmp.Or(refusalWords[r], string(r)) }

// clockSkew is how far ahead of ours the clock of a client's machine may be;
// judgement.
const clockSkew = 24 * time.Hour

// TakeReplies reads new mails of an inbox every so often until ctx ends. Mails
// are never lost: what cannot be kept now is read again later.
func (s *Server) TakeReplies(ctx context.Context, inbox *notify.Inbox, every time.Duration) {
	for tick := time.NewTicker(every); ; {
		if err := inbox.Each(ctx, s.takeLetter); err != nil && ctx.Err() == nil {
			slog.ErrorContext(ctx, "answers to invitations not read", "err", err)
		}
		select {
		case <-ctx.Done():
			tick.Stop()
			return
		case <-tick.C:
		}
	}
}

// takeLetter keeps what a mail answers, or counts why it does not. It returns an
// error only when the mail has to be read again.
func (s *Server) takeLetter(ctx context.Context, l notify.Letter, problem error) error {
	if problem != nil {
		return s.refuse(ctx, "", refusedMail(problem))
	}
	var salon string // of a visit that it speaks of
	why := noAnswer
	for _, e := range answersIn(l.Calendars) {
		of, refused, err := s.takeAnswer(ctx, l.From, e)
		if err != nil {
			return err
		}
		if refused == "" {
			return nil // the others are the same once more: one object in one mail
		}
		salon, why = cmp.Or(of, salon), refused
	}
	return s.refuse(ctx, salon, why)
}

func refusedMail(problem error) refusal {
	switch {
	case is(problem, notify.ErrTooLarge):
		return tooLarge
	case is(problem, notify.ErrCrashed):
		return crashed
	}
	return badMail
}

// refuse counts a mail that was refused. Only the reason is logged.
func (s *Server) refuse(ctx context.Context, salon string, why refusal) error {
	slog.WarnContext(ctx, "answer to an invitation refused", "reason", why, "salon", salon)
	return s.store.CountRefusal(ctx, salon, string(why), s.now())
}

// answer is one event of a mail's calendars.
type answer struct {
	read.Event
	method string
}

// replyLimits are far beyond any answer; judgement.
var replyLimits = read.Options{Limits: read.Limits{Bytes: 1 << 20, Components: 500, Properties: 5000, Zones: 20, Problems: 1}}

// answersIn are the events of calendars that answer, in the order in which
// answers count (RFC 5546 section 2.1.5), the one that counts first.
func answersIn(calendars [][]byte) []answer {
	var out []answer
	for _, c := range calendars {
		cal, _, err := read.Parse(bytes.NewReader(c), replyLimits)
		if err != nil || cal.Method != "REPLY" && cal.Method != "COUNTER" {
			continue
		}
		for _, e := range cal.Events {
			out = append(out, answer{e, cal.Method})
		}
	}
	slices.SortStableFunc(out, func(a, b answer) int {
		return cmp.Or(strings.Compare(a.UID, b.UID), a.RecurrenceID.Compare(b.RecurrenceID), cmp.Compare(b.Sequence, a.Sequence), b.Stamp.Compare(a.Stamp))
	})
	// More than one is a mistake, a lot of them an attack.
	return out[:min(len(out), maxAnswers)]
}

// maxAnswers is how many answers of one mail are looked at (judgement).
const maxAnswers = 10

// takeAnswer keeps an answer that came from an address, or says why not. The
// salon is that of the invitation, if there is one: what else the mail says of
// salons and visits counts for nothing.
func (s *Server) takeAnswer(ctx context.Context, from string, a answer) (salon string, why refusal, err error) {
	var list []store.InvitedTo
	if a.UID != "" && len(a.UID) <= 255 && plain(a.UID) {
		if list, err = s.store.InvitationsByUID(ctx, a.UID); err != nil {
			return "", "", err
		}
	}
	if len(list) == 0 {
		return "", unknownVisit, nil
	}
	salon = list[0].Salon
	// Only who answers may send the answer (RFC 6047 section 2.2.1).
	i := slices.IndexFunc(a.Attendees, func(x read.Attendee) bool { return strings.EqualFold(x.Address, from) })
	if i < 0 {
		return salon, otherSender, nil
	}
	k := slices.IndexFunc(list, func(x store.InvitedTo) bool { return x.Attendee == from })
	if k < 0 {
		return salon, notInvited, nil
	}
	reply := store.Reply{Visit: list[k].Visit, Attendee: from, Sequence: a.Sequence, Stamp: a.Stamp, Received: s.now()}
	if why = s.checkAnswer(a, list[k].Invitation, &reply, a.Attendees[i].PartStat); why != "" {
		return salon, why, nil
	}
	var kept bool
	err = s.store.InTx(ctx, salon, func(t *store.Tx) (err error) { kept, err = t.AddReply(ctx, reply); return err })
	switch {
	case is(err, scheduling.ErrNotFound): // deleted meanwhile
		return salon, unknownVisit, nil
	case err == nil && !kept:
		why = olderAnswer
	}
	return salon, why, err
}

// checkAnswer says what is wrong with an answer of somebody who was invited, and
// fills in what she says.
func (s *Server) checkAnswer(a answer, sent store.Invitation, r *store.Reply, partStat string) refusal {
	own := a.Organizer == "" && !strings.Contains(sent.Organizer, "+") // nothing secret to know
	switch {
	case a.method == "COUNTER":
		return otherTime
	case !own && !strings.EqualFold(a.Organizer, sent.Organizer):
		return otherAddress
	case !a.RecurrenceID.IsZero():
		return ofSeries
	case a.Sequence < 0 || a.Sequence > sent.Sequence:
		return neverSent
	case a.Stamp.IsZero() || a.Stamp.Year() < 2000 || a.Stamp.After(s.now().Add(clockSkew)):
		return badTime
	}
	r.Answer = map[string]string{"ACCEPTED": "accepted", "DECLINED": "declined", "TENTATIVE": "tentative"}[partStat]
	if r.Answer == "" {
		return noSuchAnswer
	}
	return ""
}

// writeReplies writes answers, and which of them came from an address that is not
// the client's any more.
func (s *Server) writeReplies(ctx context.Context, t *store.Tx, n salonDay, rows []store.Reply) ([]ReplyBody, error) {
	ids := make([]string, len(rows))
	for i, r := range rows {
		ids[i] = r.Client
	}
	clients, err := t.ClientsByID(ctx, ids...)
	if err != nil {
		return nil, err
	}
	minors, err := t.MinorsOf(ctx, ids...)
	if err != nil {
		return nil, err
	}
	out := make([]ReplyBody, len(rows))
	for i, r := range rows {
		out[i] = ReplyBody{ID: r.ID, VisitID: r.Visit, ClientID: r.Client, Start: r.Start.In(n.loc), ReplyWords: replyWords(r, n.loc),
			Received: r.Received.In(n.loc), Former: !strings.EqualFold(r.Attendee, s.spokenTo(n, clients[r.Client], minors).mail)}
	}
	return out, nil
}

func replyWords(r store.Reply, loc *time.Location) ReplyWords {
	return ReplyWords{Reply: r.Answer, At: r.Stamp.In(loc), Outdated: r.Earlier}
}

// replyTo is what the client of a visit, or who speaks for her, answered last to its
// invitation, nil when she did not. What came from an address that is not hers any
// more may be somebody else's word.
func (s *Server) replyTo(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (*ReplyWords, error) {
	list, err := t.RepliesTo(ctx, v.ID)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	to, err := s.recipient(ctx, t, n, v)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(list, func(r store.Reply) bool { return strings.EqualFold(r.Attendee, to.mail) })
	if i < 0 {
		return nil, nil
	}
	return new(replyWords(list[i], n.loc)), nil
}

func (s *Server) listReplies(ctx context.Context, in *reminderQuery) (*listBody[ReplyBody], error) {
	var f scheduling.Faults
	first, last := day(&f, "query.first_date", in.From), day(&f, "query.last_date", in.To)
	if len(f) == 0 && (last.Before(first) || last.Sub(first) > 400) {
		f.Add("query.last_date", "does not lie within 400 days from first_date", "first_date or a later day")
	}
	if err := f.Err(); err != nil {
		return nil, err
	}
	var bodies []ReplyBody
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		from, _ := scheduling.DayBounds(n.loc, first)
		_, to := scheduling.DayBounds(n.loc, last)
		rows, err := t.Replies(ctx, from, to)
		if err != nil {
			return err
		}
		bodies, err = s.writeReplies(ctx, t, n, rows)
		return err
	})
	return listOf(bodies, func(b ReplyBody) ReplyBody { return b }), err
}
