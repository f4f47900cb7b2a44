package api

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/store"
)

// RetentionBody is after how many months what is on record of people is erased by
// age; null: never. What is about health has its term in PrivacyBody.
type RetentionBody struct {
	Clients     *int   `json:"clients_months" minimum:"0" maximum:"1200" nullable:"true" doc:"After the last sign of a client who has come before: she is erased, whole; null: never. 36 to begin with, 24 to 360 are possible: no less, since a retouch may be due two years after a visit"`
	Never       int    `json:"never_came_months" minimum:"0" maximum:"1200" doc:"After the last sign of a client who never came, and after a time that was pencilled for a caller and not taken; 12 to begin with, 1 to 120 are possible"`
	Visits      *int   `json:"visits_months" minimum:"0" maximum:"1200" nullable:"true" doc:"After a visit: it stays without the person and without its record card; null: never. 120 to begin with. The last visit of each client stays hers. 36 to 360 are possible: no less, since later work follows from what was done"`
	Messages    *int   `json:"messages_months" minimum:"0" maximum:"1200" nullable:"true" doc:"After a message was settled; null: never. 14 to begin with, 14 to 360 are possible: no less, since the links in messages hold for 400 days"`
	Requests    *int   `json:"requests_months" minimum:"0" maximum:"1200" nullable:"true" doc:"After a request on the waiting list, or one that a client made on her pages, is over; null: never. 12 to begin with, 1 to 120 are possible"`
	Invitations int    `json:"invitations_months" minimum:"0" maximum:"1200" doc:"After the visit to which a calendar was invited; 3 to begin with, 1 to 120 are possible"`
	Absences    *int   `json:"absences_months" minimum:"0" maximum:"1200" nullable:"true" doc:"After somebody of the staff was away: the reason goes, the time stays; null: never. 12 to begin with, 1 to 120 are possible"`
	Reads       int    `json:"health_reads_months" minimum:"0" maximum:"1200" doc:"After somebody read or wrote what is about health; 36 to begin with, 12 to 120 are possible: no less, so that who asks late gets an answer"`
	Unread      bool   `json:"unread,omitempty" readOnly:"true" required:"false" doc:"The program gave these terms, or holds everything back, and nobody of the salon has seen to them since: set them, changed or not. Until from_date it stands in list-to-do, too"`
	From        string `json:"from_date,omitempty" readOnly:"true" required:"false" format:"date" doc:"Nothing is erased by these terms before this day: two days after they were changed. Left out when they never were"`
}

// RetentionKindBody is a kind of data about people, its term, and what goes next.
type RetentionKindBody struct {
	Kind    string `json:"kind" enum:"health,clients,never_came,visits,messages,requests,invitations,absences,health_reads"`
	What    string `json:"what" doc:"What it is, in words"`
	Why     string `json:"why" doc:"Why it is kept so long and no longer"`
	Months  *int   `json:"months" doc:"Its term; null: never erased by age"`
	Usual   int    `json:"usual_months" doc:"To begin with"`
	Least   int    `json:"least_months"`
	Most    int    `json:"most_months"`
	ForEver bool   `json:"may_be_for_ever"`
	Goes    int    `json:"goes" doc:"How many that run erases by this term if nothing happens until then. What goes with a client or a visit is not counted beside them, and what the last run could not erase is taken to stay"`
	On      string `json:"on" format:"date" doc:"Day of the salon's calendar on which they are, from three in the morning"`
	LastOn  string `json:"last_on,omitempty" format:"date" doc:"Day of the last run; left out before the first"`
	Last    int    `json:"last_erased" doc:"How many that one erased"`
}

// RetentionPreviewBody says what the next run of the job erases.
type RetentionPreviewBody struct {
	NextOn string              `json:"next_on" format:"date" doc:"Day of the next run, from three in the morning by the salon's clock"`
	Kinds  []RetentionKindBody `json:"kinds" nullable:"false"`
	// Money is open with these, without which they would go.
	Staying int           `json:"staying_for_money" doc:"Clients who are older than these terms and stay until money with them is settled"`
	Stays   []StayingBody `json:"stays_for_money" nullable:"false" doc:"Their visits with open money, the clients longest on record first"`
}

// StayingBody is a visit whose money keeps its client on record.
type StayingBody struct {
	ClientID string    `json:"client_id"`
	Name     string    `json:"name"`
	VisitID  string    `json:"visit_id"`
	Start    time.Time `json:"start"`
	Why      string    `json:"why" enum:"paid,deposit_open" doc:"paid: she paid for a visit that was not finished, and it was neither returned, carried over nor kept; deposit_open: it was asked for, and is neither there nor waived"`
	Amount   int64     `json:"amount_cents" minimum:"0" doc:"In the currency's smallest unit"`
	Words    string    `json:"words" example:"50.00 EUR paid for 8 June 2026, which was not finished: neither returned, carried over nor kept"`
}

type retentionInput struct {
	Precondition
	Body RetentionBody
}

type retentionPreviewInput struct {
	Clients     int `query:"clients_months" minimum:"-1" maximum:"1200" default:"-1" doc:"0: never; -1 or left out, here and below: as it is set"`
	Health      int `query:"health_months" minimum:"-1" maximum:"1200" default:"-1" doc:"Of set-privacy"`
	Never       int `query:"never_came_months" minimum:"-1" maximum:"1200" default:"-1"`
	Visits      int `query:"visits_months" minimum:"-1" maximum:"1200" default:"-1"`
	Messages    int `query:"messages_months" minimum:"-1" maximum:"1200" default:"-1"`
	Requests    int `query:"requests_months" minimum:"-1" maximum:"1200" default:"-1"`
	Invitations int `query:"invitations_months" minimum:"-1" maximum:"1200" default:"-1"`
	Absences    int `query:"absences_months" minimum:"-1" maximum:"1200" default:"-1"`
	Reads       int `query:"health_reads_months" minimum:"-1" maximum:"1200" default:"-1"`
	Limit       int `query:"money_limit" minimum:"1" maximum:"200" default:"20" doc:"At most so many clients in stays_for_money"`
}

type retentionPreviewOutput struct{ Body RetentionPreviewBody }

func (s *Server) retentionRoutes() {
	route(s, huma.Operation{OperationID: "get-retention", Method: http.MethodGet, Path: "/retention", Summary: "After how long what is on record of people is erased"}, s.getRetention)
	route(s, huma.Operation{OperationID: "set-retention", Method: http.MethodPut, Path: "/retention", Summary: "Change after how long what is on record of people is erased",
		Description: "Erases nothing by itself: a job does, once a day, and by changed terms not before two days have passed. What it has erased nobody can bring back; backups made before still hold it. The terms are nobody's legal advice: local law or an accountant may demand longer."}, s.setRetention)
	route(s, huma.Operation{OperationID: "preview-retention", Method: http.MethodGet, Path: "/retention/preview", Summary: "What the next run of the job erases, by kind",
		Description: "By the terms that are set, or by others. Changes nothing."}, s.previewRetention)
}

// byKind are the terms of a body, 0 for never. A 0 that somebody
// sent could be meant either way; it is none that is allowed.
func (b RetentionBody) byKind() map[store.DataKind]int {
	orNever := func(n *int) int {
		switch {
		case n == nil:
			return 0
		case *n == 0:
			return -1
		}
		return *n
	}
	return map[store.DataKind]int{store.KeptClients: orNever(b.Clients), store.KeptNever: b.Never, store.KeptVisits: orNever(b.Visits), store.KeptMessages: orNever(b.Messages),
		store.KeptRequests: orNever(b.Requests), store.KeptInvitations: b.Invitations, store.KeptAbsences: orNever(b.Absences), store.KeptReads: b.Reads}
}

// Query asks what these terms would erase.
func (b RetentionBody) Query() url.Values {
	q := url.Values{}
	for kind, n := range b.byKind() {
		q.Set(string(kind)+"_months", strconv.Itoa(n))
	}
	return q
}

func writeRetention(r store.Retention) *found[RetentionBody] {
	m := r.Months
	b := RetentionBody{Clients: monthsOrNever(m[store.KeptClients]), Never: m[store.KeptNever], Visits: monthsOrNever(m[store.KeptVisits]), Messages: monthsOrNever(m[store.KeptMessages]),
		Requests: monthsOrNever(m[store.KeptRequests]), Invitations: m[store.KeptInvitations], Absences: monthsOrNever(m[store.KeptAbsences]), Reads: m[store.KeptReads]}
	b.Unread = r.Unread
	if !r.From.IsZero() {
		b.From = r.From.String()
	}
	return &found[RetentionBody]{etag(r.Version), b}
}

func monthsOrNever(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

// checkTerms says which terms are none that an owner may set; in is "query." where they
// stand there.
func checkTerms(in string, allowed []store.TermLimits, months map[store.DataKind]int) error {
	var f scheduling.Faults
	for _, l := range allowed {
		n := months[l.Kind]
		right := fmt.Sprintf("a whole number of months from %d to %d", l.Least, l.Most)
		if l.ForEver {
			right += ", or nothing for never"
		}
		switch field := in + string(l.Kind) + "_months"; {
		case n == 0 && l.ForEver, l.Least <= n && n <= l.Most:
		default:
			f.Addf(field, right, "is %d", max(n, 0))
		}
	}
	return f.Err()
}

func (s *Server) getRetention(ctx context.Context, _ *empty) (*found[RetentionBody], error) {
	var r store.Retention
	err := s.read(ctx, func(t *store.Tx) (err error) { r, err = t.Retention(ctx); return err })
	return writeRetention(r), err
}

func (s *Server) setRetention(ctx context.Context, in *retentionInput) (*found[RetentionBody], error) {
	version, err := in.version()
	if err != nil {
		return nil, err
	}
	months := in.Body.byKind()
	if err := checkTerms("", store.TermsAllowed, months); err != nil {
		return nil, err
	}
	var r store.Retention
	err = s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err == nil {
			r, err = t.SetRetention(ctx, store.Retention{Months: months, Version: version}, n.today(s.now()))
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return writeRetention(r), nil
}

// asked are the terms of the question, where they differ from those that are set.
func (in *retentionPreviewInput) asked(set map[store.DataKind]int) map[store.DataKind]int {
	out := maps.Clone(set)
	for kind, n := range map[store.DataKind]int{store.KeptClients: in.Clients, store.KeptNever: in.Never, store.KeptVisits: in.Visits, store.KeptMessages: in.Messages,
		store.KeptRequests: in.Requests, store.KeptInvitations: in.Invitations, store.KeptAbsences: in.Absences, store.KeptReads: in.Reads} {
		if n >= 0 {
			out[kind] = n
		}
	}
	return out
}

func (s *Server) previewRetention(ctx context.Context, in *retentionPreviewInput) (*retentionPreviewOutput, error) {
	var out retentionPreviewOutput
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		set, err := t.Retention(ctx)
		if err != nil {
			return err
		}
		health, _, err := t.HealthMonths(ctx)
		if err != nil {
			return err
		}
		healthFrom, err := t.HealthFrom(ctx)
		if err != nil {
			return err
		}
		months := in.asked(set.Months)
		terms := maps.Clone(months)
		if terms[store.KeptHealth] = health; in.Health >= 0 {
			terms[store.KeptHealth] = in.Health
		}
		limits := append([]store.TermLimits{store.HealthAllowed}, store.TermsAllowed...)
		if err := checkTerms("query.", limits, terms); err != nil {
			return err
		}
		runs, err := t.RetentionRuns(ctx)
		if err != nil {
			return err
		}
		now := s.now().In(n.loc)
		next := store.NextErasing(now, runs)
		from := set.StartsOn(months, n.today(now))
		healthFrom = store.StartsOn(healthFrom, terms[store.KeptHealth] != health, n.today(now))
		out.Body = RetentionPreviewBody{NextOn: next.String(), Kinds: []RetentionKindBody{}}
		on, healthOn := noSooner(next, from), noSooner(next, healthFrom)
		goes, err := t.ErasedOn(ctx, terms, on, healthOn)
		if err != nil {
			return err
		}
		if err := previewStaying(ctx, t, n, &out.Body, terms, on, in.Limit); err != nil {
			return err
		}
		for _, l := range limits {
			b := previewKind(l, terms[l.Kind], on, goes[l.Kind])
			if l.Kind == store.KeptHealth {
				b.On = healthOn.String()
			}
			for _, r := range runs {
				if r.Kind == l.Kind && r.Ended != nil {
					b.LastOn, b.Last = r.Day.String(), r.Erased
				}
			}
			out.Body.Kinds = append(out.Body.Kinds, b)
		}
		return nil
	})
	return &out, err
}

// noSooner is a day, or the day before which it cannot be.
func noSooner(a, b date.Date) date.Date {
	if a.Before(b) {
		return b
	}
	return a
}

// previewStaying adds who stays because of money.
func previewStaying(ctx context.Context, t *store.Tx, n salonDay, out *RetentionPreviewBody, months map[store.DataKind]int, on date.Date, limit int) error {
	list, all, err := t.HeldByMoney(ctx, months, on, limit)
	out.Staying, out.Stays = all, []StayingBody{}
	for _, x := range list {
		start := x.Start.In(n.loc)
		b := StayingBody{ClientID: x.Client, Name: strings.TrimSpace(x.GivenName + " " + x.FamilyName), VisitID: x.Visit, Start: start, Why: "deposit_open", Amount: x.Cents,
			Words: fmt.Sprintf("%s of the deposit for %s neither paid nor waived", n.amount(x.Cents), start.Format("2 January 2006"))}
		if x.Paid {
			b.Why, b.Words = "paid", fmt.Sprintf("%s paid for %s, which was not finished: neither returned, carried over nor kept", n.amount(x.Cents), start.Format("2 January 2006"))
		}
		out.Stays = append(out.Stays, b)
	}
	return err
}

func previewKind(l store.TermLimits, months int, on date.Date, goes int) RetentionKindBody {
	words := keptWords[l.Kind]
	return RetentionKindBody{Kind: string(l.Kind), What: words.what, Why: words.why, Months: monthsOrNever(months), Usual: l.Usual, Least: l.Least, Most: l.Most, ForEver: l.ForEver,
		Goes: goes, On: on.String()}
}

// keptWords say of each kind what it is, and why it is kept so long and no longer.
var keptWords = map[store.DataKind]struct{ what, why string }{
	store.KeptHealth: {"What is on record of health: answers of consultations, tests, reactions, and why something was let begin or stopped",
		"It is asked so that work is safe; when somebody has not come for so long, she is asked anew. Counted from her last visit."},
	store.KeptClients: {"Clients who have not been here for so long: erased whole, as by hand",
		"Hair and wishes of so long ago help nobody. Counted from the last sign of her: a visit, money, a message to or from her, a call that reached her, a change of what is noted about her, a consent, a quote as long as it is valid. Nobody goes with whom money is still to be settled. Her visits stay in the accounts without her."},
	store.KeptNever: {"Clients who never came, and times that were pencilled for a caller and not taken",
		"There is no visit for which their names and numbers are needed. Counted from the last sign of them; whoever paid something counts as having come."},
	store.KeptVisits: {"The person in visits: name, note, record card, messages. Time, services, price, money and who worked stay",
		"What was done to hair matters until it is cut off. The last visit of each client stays hers. Local law or your accountant may demand longer."},
	store.KeptMessages: {"Messages: to whom what kind was sent, and every try. Their text and address are not kept",
		"So that you can say what was sent to whom. Links in messages hold for 400 days, so that they cannot go sooner."},
	store.KeptRequests: {"Requests on the waiting list, and what clients asked on their pages, once they are over",
		"They help to answer when somebody asks what became of hers."},
	store.KeptInvitations: {"Mail addresses whose calendar holds a visit, and what they answered",
		"They are needed to take a visit out of that calendar again; once it is over, they are not."},
	store.KeptAbsences: {"Why one of your staff was away; that she was away stays",
		"The reason may be private. Working times stay: local law may demand them."},
	store.KeptReads: {"Who read or wrote what is about health, and when; never what it said",
		"A client may ask who has looked. It says where the staff was, too, and is not kept for ever."},
}
