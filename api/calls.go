package api

import (
	"cmp"
	"context"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/api/notify"
	"chairblock/scheduling"
	"chairblock/store"
)

// CallBody is a client to be called: with what a message would have said, or
// because nobody knows whether she comes.
type CallBody struct {
	ID      string    `json:"id" doc:"Of the message"`
	Kind    string    `json:"kind" enum:"held,confirmation,prepare,reminder,moved,cancelled,running_late,aftercare,day_after,aftercare_end,first_wash,retouch,retouch_again"`
	Why     string    `json:"why" enum:"message,no_yes" doc:"message: it is said instead of being written; no_yes: the reminder went out and she has not said that she comes"`
	Because string    `json:"because,omitempty" doc:"Why it was not written; left out where a call is what she wishes"`
	Due     time.Time `json:"due_at" doc:"Since when the call is to be made"`
	AskYes  bool      `json:"ask_for_yes" doc:"Ask whether she comes"`
	Words   string    `json:"words" doc:"What to say, as a text message would"`
	Also    []AlsoSay `json:"also,omitempty" doc:"What else is to be said of the visit; a try that settles this call settles it, too"`

	VisitID  string    `json:"visit_id"`
	State    string    `json:"visit_state" enum:"held,booked,finished,stopped_early,cancelled"`
	Start    time.Time `json:"start"`
	Services []string  `json:"services" nullable:"false"`
	LeadName string    `json:"lead_name,omitempty"`

	ClientID  string `json:"client_id"`
	Name      string `json:"name" doc:"Of the client"`
	Minor     bool   `json:"minor,omitempty" doc:"The person to speak to is the guardian"`
	Contact   string `json:"contact" doc:"Whom to reach: the client, or a minor's guardian"`
	ContactBy string `json:"contact_by" enum:"mail,call,text,none,not_asked" doc:"The preferred way"`
	Phone     string `json:"phone,omitempty"`
	Voice     bool   `json:"voice_message_allowed" doc:"Word may be left on an answering machine"`

	Again *time.Time    `json:"again_at,omitempty" doc:"When to try again, as the last try said"`
	Tries []CallTryBody `json:"tries" nullable:"false" doc:"What was tried so far, oldest first"`
}

// AlsoSay is a further message that is said in one call.
type AlsoSay struct {
	ID    string `json:"id" doc:"Of the message"`
	Kind  string `json:"kind" enum:"held,confirmation,prepare,reminder,moved,cancelled,running_late,aftercare,day_after,aftercare_end,first_wash,retouch,retouch_again"`
	Words string `json:"words" doc:"What to say"`
}

// CallTryBody is one time that somebody tried.
type CallTryBody struct {
	Outcome string     `json:"outcome" enum:"reached,left_word,no_answer"`
	Note    string     `json:"note,omitempty"`
	Again   *time.Time `json:"again_at,omitempty"`
	SaidYes bool       `json:"said_yes,omitempty"`
	At      time.Time  `json:"at"`
	By      string     `json:"by" doc:"Who tried"`
}

// CallTryRequest notes a try.
type CallTryRequest struct {
	Outcome string     `json:"outcome" enum:"reached,left_word,no_answer"`
	Note    string     `json:"note,omitempty" doc:"At most 300 characters; nothing about health"`
	Again   *time.Time `json:"again_at,omitempty" doc:"When to try again; not with a try that settles the call"`
	SaidYes bool       `json:"said_yes,omitempty" doc:"She said that she comes; only when she was reached"`
}

// CallTryAnswer is what a try has come to.
type CallTryAnswer struct {
	CallTryBody
	Settled bool `json:"settled" doc:"The call is not on the list any more. Word that was left settles it only where she allows that"`
}

type callTryInput struct {
	Repeatable
	ByID
	Body CallTryRequest
}
type callQuery struct {
	Limit int `query:"limit" minimum:"1" maximum:"200" default:"100" doc:"At most so many calls, those that are due first"`
}
type callList struct {
	Body struct {
		AsOf  time.Time  `json:"as_of"`
		Open  int        `json:"open" doc:"How many calls there are to make, those beyond the limit included"`
		Items []CallBody `json:"items" nullable:"false" doc:"One for each visit: those about a visit of today first, then by when they are due, or to be tried again"`
	}
}

func (s *Server) callRoutes() {
	route(s, huma.Operation{OperationID: "list-calls", Method: http.MethodGet, Path: "/calls",
		Summary: "Clients to be called, because they wish it, cannot be written to or have not said that they come"}, s.listCalls)
	route(s, huma.Operation{OperationID: "add-call-try", Method: http.MethodPost, Path: "/calls/{id}/tries",
		Summary: "Note that a client was called", DefaultStatus: http.StatusCreated, Errors: []int{http.StatusConflict}}, s.addCallTry)
}

// call is a message that may have to be said, with what it is about now.
type call struct {
	row   store.Reminder
	tells tells
	visit store.Visit
	noYes bool
	due   time.Time
	to    person
	wish  store.MessageWish
	tries []store.CallTry
	also  []call // about the same visit, said in the same call
}

// again is when the call is to be tried again, nil for when it is due.
func (c call) again() *time.Time {
	if len(c.tries) == 0 {
		return nil
	}
	return c.tries[len(c.tries)-1].Again
}

// next is when somebody should pick up the telephone.
func (c call) next() time.Time {
	if at := c.again(); at != nil && at.After(c.due) {
		return *at
	}
	return c.due
}

// inOneCall makes one call of all that is to be said of a visit, led by what asks for
// a yes. Calls about a visit of the day of now come first: they are of no use tomorrow.
func inOneCall(list []call, now time.Time, loc *time.Location) []call {
	var out []call
	at := map[string]int{}
	for _, c := range list {
		i, known := at[c.visit.ID]
		switch {
		case !known:
			at[c.visit.ID] = len(out)
			out = append(out, c)
		case c.asksYes() && !out[i].asksYes():
			first := out[i]
			c.also, first.also = append(first.also, first), nil
			out[i] = c
		default:
			out[i].also = append(out[i].also, c)
		}
	}
	today := scheduling.CivilDate(now, loc)
	later := func(c call) int {
		if scheduling.CivilDate(c.visit.Start, loc) == today {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(out, func(a, b call) int {
		return cmp.Or(cmp.Compare(later(a), later(b)), a.next().Compare(b.next()))
	})
	return out
}

// asksYes reports whether the client is to be asked whether she comes.
func (c call) asksYes() bool {
	return c.visit.State == store.Booked && c.visit.SaidYesAt == nil && slices.Contains([]notify.Kind{notify.Reminder, notify.Moved}, notify.Kind(c.row.Kind))
}

// calls works out which of some messages are to be said now. What they are about
// may have changed since they were due: a call without a reason is none.
func (s *Server) calls(ctx context.Context, t *store.Tx, n salonDay, rows []store.Reminder) ([]call, error) {
	x, err := s.readCalls(ctx, t, n, rows)
	if err != nil {
		return nil, err
	}
	var out []call
	for _, r := range rows {
		c, err := x.call(ctx, r)
		if err != nil {
			return nil, err
		}
		if c != nil {
			out = append(out, *c)
		}
	}
	slices.SortStableFunc(out, func(a, b call) int { return a.next().Compare(b.next()) })
	return out, nil
}

// callReader is what several calls are judged by.
type callReader struct {
	s      *Server
	t      *store.Tx
	n      salonDay
	rules  MessageRules
	visits map[string]store.Visit
	said   map[string][]store.Reminder // by visit, messages that were not taken back
	tries  map[string][]store.CallTry
	wished map[string]bool // visits that fill a request of the waiting list
}

func (s *Server) readCalls(ctx context.Context, t *store.Tx, n salonDay, rows []store.Reminder) (*callReader, error) {
	x := &callReader{s: s, t: t, n: n, visits: map[string]store.Visit{}, said: map[string][]store.Reminder{}, tries: map[string][]store.CallTry{}}
	var err error
	if x.rules, err = messageRulesOf(n.row); err != nil {
		return nil, err
	}
	var visits, ids []string
	for _, r := range rows {
		visits, ids = append(visits, r.Visit), append(ids, r.ID)
	}
	slices.Sort(visits)
	visits = slices.Compact(visits)
	list, err := t.VisitsByID(ctx, visits)
	if err != nil {
		return nil, err
	}
	for _, v := range list {
		x.visits[v.ID] = v
	}
	all, err := t.MessagesOfVisits(ctx, visits)
	if err != nil {
		return nil, err
	}
	for _, r := range all {
		x.said[r.Visit] = append(x.said[r.Visit], r)
	}
	if x.wished, err = t.FillWishes(ctx, visits...); err != nil {
		return nil, err
	}
	tries, err := t.CallTries(ctx, ids)
	for _, c := range tries {
		x.tries[c.Reminder] = append(x.tries[c.Reminder], c)
	}
	return x, err
}

// call judges one message, and is nil when nobody has to call because of it.
func (x *callReader) call(ctx context.Context, r store.Reminder) (*call, error) {
	v, now := x.visits[r.Visit], x.s.now()
	c := &call{row: r, visit: v, due: r.Due, tries: x.tries[r.ID]}
	if slices.ContainsFunc(c.tries, func(y store.CallTry) bool { return y.Settles }) || v.Client == "" || x.outdated(r) || x.heard(r) {
		return nil, nil
	}
	if c.noYes = r.State == store.Sent; c.noYes {
		if r.Kind != string(notify.Reminder) || r.Done == nil || v.SaidYesAt != nil || !*x.rules.AsksYes {
			return nil, nil
		}
		if c.due = r.Done.Add(time.Duration(x.rules.YesWithinHours) * time.Hour); c.due.After(now) {
			return nil, nil
		}
	} else if r.State != store.ToCall {
		return nil, nil
	}
	var err error
	if c.tells, err = tellsOf(ctx, x.t, x.n, r, v); err != nil {
		return nil, err
	}
	if c.tells.pointless(now) != "" || c.tells.tooLate(now) {
		return nil, nil
	}
	if c.to, err = x.s.recipient(ctx, x.t, x.n, v); err != nil {
		return nil, err
	}
	if c.wish, err = x.t.MessageWishOf(ctx, v.Client); err != nil {
		return nil, err
	}
	if !c.noYes && x.rules.hears(r.Kind, c.to, c.wish, true).outcome == store.NotWanted {
		return nil, nil // she does not wish it any more
	}
	return c, nil
}

// heard reports whether r confirms a booking to somebody who was on the telephone or
// in the salon, or booked it on her own pages: whoever hears by calls alone has said
// when she comes. Somebody from the waiting list has not, nor has who was told that
// the visit was off; and once a call was tried it is to be made.
func (x *callReader) heard(r store.Reminder) bool {
	off := slices.ContainsFunc(x.said[r.Visit], func(o store.Reminder) bool { return o.Kind == string(notify.Cancelled) })
	return r.State == store.ToCall && kindIn(r, []notify.Kind{notify.Confirmation, notify.Held}) && len(x.tries[r.ID]) == 0 && !x.wished[r.Visit] && !off
}

// outdated reports whether a newer message says what r says, or r is about another
// start than the visit has now. When a visit is, is said by how to prepare for it and
// by the reminder, too: nobody has to call twice.
func (x *callReader) outdated(r store.Reminder) bool {
	news := []notify.Kind{notify.Confirmation, notify.Moved}
	for _, o := range x.said[r.Visit] {
		if o.Staff != "" || !o.Due.After(r.Due) && (o.ID <= r.ID || o.Due.Before(r.Due)) {
			continue
		}
		out := o.State == store.Sent || o.State == store.Sending || o.State == store.ToCall
		switch {
		case kindIn(r, news) && kindIn(o, news):
			return true
		case out && kindIn(r, news) && kindIn(o, []notify.Kind{notify.Prepare, notify.Reminder}), out && o.Kind == r.Kind:
			return true
		}
	}
	about, dated := strings.CutPrefix(r.Reason, "for ")
	return dated && about != x.visits[r.Visit].Start.In(x.n.loc).Format(time.RFC3339)
}

func (s *Server) listCalls(ctx context.Context, in *callQuery) (*callList, error) {
	out := &callList{}
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		now := s.now()
		out.Body.AsOf, out.Body.Items = now.In(n.loc), []CallBody{}
		ask := store.OpenCalls{Now: now, Asked: now.Add(-oldestQuestion), Useful: now.Add(-oldestCall)}
		for _, kind := range ofUseAhead {
			ask.Ahead = append(ask.Ahead, string(kind))
		}
		rows, err := t.Calls(ctx, ask)
		if err != nil {
			return err
		}
		list, err := s.calls(ctx, t, n, rows)
		if err != nil {
			return err
		}
		list = inOneCall(list, now, n.loc)
		out.Body.Open = len(list)
		for _, c := range list[:min(len(list), in.Limit)] {
			b, err := s.writeCall(ctx, t, n, c)
			if err != nil {
				return err
			}
			out.Body.Items = append(out.Body.Items, b)
		}
		return nil
	})
	return out, err
}

// oldestCall is how long ago a message can have been due, and the visit over, that is
// still of use: longer than tooLate has of any (judgement).
const oldestCall = 60 * 24 * time.Hour

// oldestQuestion is how long ago a reminder can have been due that still asks for
// a yes: reminders go out 14 days before a visit at the earliest (MessageRules), and a
// day more makes sure (derived).
const oldestQuestion = 15 * 24 * time.Hour

func (s *Server) writeCall(ctx context.Context, t *store.Tx, n salonDay, c call) (CallBody, error) {
	v := c.visit
	b := CallBody{ID: c.row.ID, Kind: c.row.Kind, Why: "message", Because: c.row.Problem, Due: c.due.In(n.loc), VisitID: v.ID, State: string(v.State),
		Start: v.Start.In(n.loc), Services: []string{}, ClientID: v.Client, Name: clientName(c.to.client), Minor: c.to.minor, Contact: c.to.name,
		ContactBy: c.to.by, Phone: c.to.phone, Voice: c.wish.Voice, Again: localTime(c.again(), n.loc), Tries: []CallTryBody{}}
	if c.noYes {
		b.Why, b.Because = "no_yes", ""
	}
	b.AskYes = c.asksYes()
	for _, x := range v.Services {
		b.Services = append(b.Services, x.Name)
	}
	for _, y := range c.tries {
		b.Tries = append(b.Tries, writeCallTry(y, n.loc))
	}
	d, err := t.DueOf(ctx, c.row)
	if err != nil {
		return b, err
	}
	b.LeadName = d.Stylist
	if b.Words, err = s.callWords(ctx, t, n, c, d); err != nil {
		return b, err
	}
	for _, x := range c.also {
		d, err := t.DueOf(ctx, x.row)
		if err != nil {
			return b, err
		}
		words, err := s.callWords(ctx, t, n, x, d)
		if err != nil {
			return b, err
		}
		b.Also = append(b.Also, AlsoSay{ID: x.row.ID, Kind: x.row.Kind, Words: words})
	}
	return b, nil
}

// callWords is what a text message would say, without links, in the language of
// whoever is called; a line of facts where no words are found.
func (s *Server) callWords(ctx context.Context, t *store.Tx, n salonDay, c call, d store.Due) (string, error) {
	m := &outgoing{tells: c.tells, due: d, to: c.to}
	var err error
	if m.rules, err = messageRulesOf(n.row); err != nil {
		return "", err
	}
	words, err := s.wordsFor(ctx, t, c.wish.Language, m.rules.Language)
	if err != nil {
		return "", err
	}
	facts, err := s.clientFacts(ctx, t, n, m)
	if err != nil {
		return "", err
	}
	said, err := words.Short(m.kind, facts)
	if err != nil {
		slog.WarnContext(ctx, "no words for a call", "kind", m.kind, "err", err)
		return strings.ReplaceAll(c.row.Kind, "_", " ") + ", visit of " + n.atWords(c.visit.Start), nil
	}
	return said, nil
}

func writeCallTry(y store.CallTry, loc *time.Location) CallTryBody {
	return CallTryBody{Outcome: y.Outcome, Note: y.Note, Again: localTime(y.Again, loc), SaidYes: y.SaidYes, At: y.At.In(loc), By: y.By}
}

// checkTry notes what is wrong with a try.
func (b *CallTryRequest) check(f *scheduling.Faults, now time.Time) {
	b.Note = text(f, "note", b.Note, 0, 300)
	if b.Again != nil {
		again := wholeMinute(f, "again_at", *b.Again)
		switch {
		case b.Outcome == store.Reached:
			f.Add("again_at", "is given, and she was reached", "nothing")
		case !again.After(now):
			f.Add("again_at", "lies in the past", "a time that is still to come")
		case again.Sub(now) > longestHold:
			f.Add("again_at", "is more than 30 days away", "at most 30 days from now")
		}
	}
	if b.SaidYes && b.Outcome != store.Reached {
		f.Add("said_yes", "is given, and she was not reached", "only with the outcome reached")
	}
}

func (s *Server) addCallTry(ctx context.Context, in *callTryInput) (*created[CallTryAnswer], error) {
	var f scheduling.Faults
	in.Body.check(&f, s.now())
	if err := f.Err(); err != nil {
		return nil, err
	}
	return once(s, ctx, in.Repeatable, "/calls/"+in.ID+"/tries", in.Body, func(t *store.Tx) (*created[CallTryAnswer], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		y, err := s.tryCall(ctx, t, n, in.ID, in.Body)
		return &created[CallTryAnswer]{Location: "/v1/calls", Body: CallTryAnswer{writeCallTry(y, n.loc), y.Settles}}, err
	})
}

// tryCall notes a try of a call that is still to be made.
func (s *Server) tryCall(ctx context.Context, t *store.Tx, n salonDay, id string, b CallTryRequest) (store.CallTry, error) {
	var y store.CallTry
	r, err := t.ReminderByID(ctx, id)
	if err != nil {
		return y, err
	}
	v, err := t.LockVisit(ctx, r.Visit, 0)
	if err != nil {
		return y, err
	}
	if r, err = t.ReminderByID(ctx, id); err != nil { // as it is now
		return y, err
	}
	list, err := s.calls(ctx, t, n, []store.Reminder{r})
	if err != nil {
		return y, err
	}
	if len(list) == 0 {
		return y, conflict("there is no call to make because of this message: it was settled, or what it was about has changed")
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return y, err
	}
	y = store.CallTry{Reminder: id, Outcome: b.Outcome, Note: b.Note, Again: b.Again, SaidYes: b.SaidYes, At: s.now(), By: by}
	y.Settles = b.Outcome == store.Reached || b.Outcome == store.LeftWord && list[0].wish.Voice && b.Again == nil
	if b.SaidYes {
		if err := s.saysYes(ctx, t, &v, "call", by); err != nil {
			return y, err
		}
	}
	if y.Settles {
		if err := s.saidToo(ctx, t, n, r, y); err != nil {
			return y, err
		}
	}
	return t.AddCallTry(ctx, y)
}

// saidToo settles what else was to be said of the visit of r in the call that y was.
func (s *Server) saidToo(ctx context.Context, t *store.Tx, n salonDay, r store.Reminder, y store.CallTry) error {
	all, err := t.MessagesOfVisits(ctx, []string{r.Visit})
	if err != nil {
		return err
	}
	rest, err := s.calls(ctx, t, n, slices.DeleteFunc(all, func(o store.Reminder) bool { return o.ID == r.ID || o.Staff != "" }))
	if err != nil {
		return err
	}
	for _, c := range rest {
		too := y
		too.Reminder, too.SaidYes, too.Note = c.row.ID, false, ""
		if _, err := t.AddCallTry(ctx, too); err != nil {
			return err
		}
	}
	return nil
}
