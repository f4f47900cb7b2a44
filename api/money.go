package api

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// MoneyRequest notes one money fact. Which fields belong to which kind stands
// with them; any other field is a fault.
type MoneyRequest struct {
	Kind    string     `json:"kind" enum:"deposit_asked,received,carried_over,returned,kept,waived,goodwill,voucher,price_changed,taken_back" doc:"What happened. Nothing is charged by noting it"`
	Amount  *int64     `json:"amount_cents,omitempty" minimum:"0" maximum:"100000000" doc:"In the currency's smallest unit: for all but waived and taken_back; goodwill may be minutes instead, a voucher may have none; with price_changed the new price"`
	How     string     `json:"how,omitempty" enum:"cash,card,transfer,voucher,other" doc:"With received; may be said with returned"`
	By      *time.Time `json:"by,omitempty" doc:"With deposit_asked: the latest time for it; left out: by the rules of booking"`
	ToVisit string     `json:"to_visit_id,omitempty" maxLength:"64" doc:"With carried_over: another visit of the same client"`
	Minutes int        `json:"minutes,omitempty" minimum:"0" maximum:"600" doc:"With goodwill, instead of an amount; never part of anybody's pace"`
	Service *int       `json:"service_index,omitempty" minimum:"0" maximum:"7" doc:"With price_changed: which service; left out where there is one"`
	Agreed  bool       `json:"client_agreed,omitempty" doc:"With price_changed: she agreed, without which no price changes"`
	Who     string     `json:"who,omitempty" doc:"With waived: who waived it"`
	EntryID string     `json:"entry_id,omitempty" maxLength:"64" doc:"With taken_back: the entry that was wrong"`
	Note    string     `json:"note,omitempty" doc:"Reason or text; needed for goodwill and voucher"`
}

// MoneyEntryBody is one money fact.
type MoneyEntryBody struct {
	ID        string     `json:"id"`
	VisitID   string     `json:"visit_id" doc:"The visit that it was noted of; another one where money was carried over to this"`
	Kind      string     `json:"kind" enum:"deposit_asked,received,carried_over,returned,kept,waived,goodwill,voucher,price_changed,taken_back"`
	Amount    int64      `json:"amount_cents"`
	Was       *int64     `json:"was_cents,omitempty" doc:"The price before it was changed"`
	Minutes   int        `json:"minutes,omitempty"`
	Service   *int       `json:"service_index,omitempty"`
	How       string     `json:"how,omitempty" enum:"cash,card,transfer,voucher,other"`
	By        *time.Time `json:"by,omitempty"`
	ToVisit   string     `json:"to_visit_id,omitempty"`
	EntryID   string     `json:"entry_id,omitempty" doc:"The entry that was taken back by this one"`
	Who       string     `json:"who,omitempty"`
	Note      string     `json:"note"`
	TakenBack bool       `json:"taken_back" doc:"It does not count any more"`
	NotedAt   time.Time  `json:"noted_at"`
	NotedBy   string     `json:"noted_by"`
	Words     string     `json:"words" example:"50.00 EUR received, card"`
}

// MoneyDepositBody is what was asked ahead of a visit.
type MoneyDepositBody struct {
	AskedCents int64      `json:"asked_cents"`
	By         *time.Time `json:"by,omitempty" doc:"The latest time for it"`
	Settled    bool       `json:"settled" doc:"It is there or was waived"`
}

// MoneyBody is what was noted of the money of a visit, and what it comes to.
type MoneyBody struct {
	VisitID    string            `json:"visit_id"`
	Currency   string            `json:"currency"`
	PriceCents int64             `json:"price_cents"`
	FromCents  int64             `json:"price_from_cents,omitempty" doc:"With price_to_cents: what was said on the telephone; left out once the price is firm"`
	ToCents    int64             `json:"price_to_cents,omitempty"`
	Deposit    *MoneyDepositBody `json:"deposit,omitempty" doc:"Left out when none is asked"`
	InCents    int64             `json:"in_cents" doc:"Received, or carried over from other visits"`
	OutCents   int64             `json:"out_cents" doc:"Returned, or carried over to other visits"`
	KeptCents  int64             `json:"kept_cents"`
	LeftCents  int64             `json:"left_cents" doc:"What is in and was neither returned, carried over nor kept"`
	Entries    []MoneyEntryBody  `json:"entries" nullable:"false" doc:"In the order in which they were noted"`
}

// DepositQuestionBody asks what becomes of what was paid for a visit that does
// not take place.
type DepositQuestionBody struct {
	LeftCents    int64    `json:"left_cents" doc:"What is there"`
	InsideNotice bool     `json:"inside_notice" doc:"Cancelled later than the rules of booking let, or nobody came"`
	Choices      []string `json:"choices" nullable:"false" enum:"returned,carried_over,kept" doc:"Kinds of money facts, to be noted by POST /visits/{id}/money; the program decides nothing"`
	Words        string   `json:"words"`
}

type moneyInput struct {
	ByID
	Repeatable
	Body MoneyRequest
}

func (s *Server) moneyRoutes() {
	route(s, huma.Operation{OperationID: "list-money", Method: http.MethodGet, Path: "/visits/{id}/money", Summary: "What was noted of the money of a visit"}, s.listMoney)
	route(s, huma.Operation{OperationID: "note-money", Method: http.MethodPost, Path: "/visits/{id}/money", Summary: "Note a money fact of a visit; nothing is charged by it",
		DefaultStatus: http.StatusCreated, Errors: []int{http.StatusConflict}}, s.noteMoney)
}

func (n salonDay) amount(cents int64) string { return quoting.Amount(cents, n.row.Currency) }

func (n salonDay) writeMoney(v store.Visit, list []store.MoneyEntry) MoneyBody {
	b := store.NewBalance(v.ID, list)
	out := MoneyBody{VisitID: v.ID, Currency: n.row.Currency, PriceCents: v.PriceCents, InCents: b.In, OutCents: b.Out, KeptCents: b.Forfeit,
		LeftCents: b.Left(), Entries: []MoneyEntryBody{}, Deposit: writeDeposit(b.Deposit(), n.loc)}
	if from, to := v.PriceRange(); from < to {
		out.FromCents, out.ToCents = from, to
	}
	back := map[string]bool{}
	for _, e := range list {
		if e.Reverses != nil {
			back[*e.Reverses] = true
		}
	}
	for _, e := range list {
		x := MoneyEntryBody{ID: e.ID, VisitID: e.Visit, Kind: string(e.Kind), Amount: e.Amount, Minutes: e.Minutes, Service: e.Service, How: e.How,
			By: localTime(e.By, n.loc), Who: e.Who, Note: e.Note, TakenBack: back[e.ID], NotedAt: e.Noted.In(n.loc), NotedBy: e.NotedBy, Words: n.entryWords(v.ID, e)}
		if e.Kind == store.PriceChanged {
			x.Was = &e.Was
		}
		if e.ToVisit != nil {
			x.ToVisit = *e.ToVisit
		}
		if e.Reverses != nil {
			x.EntryID = *e.Reverses
		}
		out.Entries = append(out.Entries, x)
	}
	return out
}

// writeDeposit is nil when none is asked.
func writeDeposit(d store.Deposit, loc *time.Location) *MoneyDepositBody {
	if d.AskedCents == 0 {
		return nil
	}
	return &MoneyDepositBody{d.AskedCents, localTime(d.By, loc), d.Settled}
}

// entryWords says a money fact of a visit in a line.
func (n salonDay) entryWords(visit string, e store.MoneyEntry) string {
	sum := n.amount(e.Amount)
	switch e.Kind {
	case store.DepositAsked:
		if e.By == nil {
			return sum + " deposit asked"
		}
		return sum + " deposit asked by " + e.By.In(n.loc).Format("Mon 2 January 15:04")
	case store.Received, store.Returned:
		if e.How == "" {
			return sum + " " + string(e.Kind)
		}
		return sum + " " + string(e.Kind) + ", " + e.How
	case store.CarriedOver:
		if e.Visit != visit {
			return sum + " carried over from another visit"
		}
		return sum + " carried over to another visit"
	case store.Kept:
		return sum + " kept"
	case store.Waived:
		return "deposit waived by " + e.Who
	case store.Goodwill:
		if e.Minutes > 0 {
			return fmt.Sprintf("goodwill: %d minutes", e.Minutes)
		}
		return "goodwill: " + sum
	case store.Voucher:
		if e.Amount == 0 {
			return "voucher"
		}
		return "voucher for " + sum
	case store.PriceChanged:
		return fmt.Sprintf("price changed from %s to %s, client agreed", n.amount(e.Was), sum)
	case store.TakenBack:
	}
	return "an entry taken back"
}

func (s *Server) listMoney(ctx context.Context, in *ByID) (*found[MoneyBody], error) {
	var out found[MoneyBody]
	err := s.read(ctx, func(t *store.Tx) (err error) {
		out.Body, err = moneyBody(ctx, t, in.ID)
		return err
	})
	return &out, err
}

func moneyBody(ctx context.Context, t *store.Tx, visit string) (MoneyBody, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return MoneyBody{}, err
	}
	v, err := t.VisitByID(ctx, visit)
	if err != nil {
		return MoneyBody{}, err
	}
	list, err := t.MoneyOf(ctx, visit)
	return n.writeMoney(v, list), err
}

func (s *Server) noteMoney(ctx context.Context, in *moneyInput) (*created[MoneyBody], error) {
	return once(s, ctx, in.Repeatable, "/visits/"+in.ID+"/money", in.Body, func(t *store.Tx) (*created[MoneyBody], error) {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return nil, err
		}
		v, err := lockMoney(ctx, t, in.ID, in.Body.ToVisit)
		if err != nil {
			return nil, err
		}
		if err := s.noteFact(ctx, t, n, &v, in.Body); err != nil {
			return nil, err
		}
		b, err := moneyBody(ctx, t, in.ID)
		return &created[MoneyBody]{Location: "/v1/visits/" + in.ID + "/money", Body: b}, err
	})
}

// lockMoney locks a visit, and the one that money goes to when there is one,
// always in the order of their ids.
func lockMoney(ctx context.Context, t *store.Tx, id, to string) (store.Visit, error) {
	if to != "" && to < id {
		if _, err := t.LockVisit(ctx, to, 0); err != nil && !is(err, scheduling.ErrNotFound) {
			return store.Visit{}, err
		}
	}
	return t.LockVisit(ctx, id, 0)
}

// noteFact checks a money fact of a locked visit and writes it.
func (s *Server) noteFact(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, b MoneyRequest) error {
	if isKept(*v) {
		return nobodyComes()
	}
	e, err := b.entry(*v)
	if err != nil {
		return err
	}
	list, err := t.MoneyOf(ctx, v.ID)
	if err != nil {
		return err
	}
	if e.NotedBy, err = whoNotes(ctx, t); err != nil {
		return err
	}
	switch e.Kind {
	case store.DepositAsked:
		if e.By == nil {
			e.By = new(n.depositDue(v.Start, s.now()))
		}
	case store.CarriedOver:
		if err := mayCarry(ctx, t, *v, *e.ToVisit); err != nil {
			return err
		}
	case store.PriceChanged:
		return s.changePrice(ctx, t, n, v, e)
	case store.TakenBack:
		return s.takeBack(ctx, t, n, v, list, e)
	case store.Received, store.Returned, store.Kept, store.Waived, store.Goodwill, store.Voucher:
	}
	if err := n.fitsMoney(*v, store.NewBalance(v.ID, list), e); err != nil {
		return err
	}
	_, err = t.AddMoney(ctx, e, s.now())
	return err
}

// fitsMoney refuses what contradicts the facts that are known.
func (n salonDay) fitsMoney(v store.Visit, b store.Balance, e store.MoneyEntry) error {
	gone := v.State == store.Cancelled || v.State == store.Missed || v.State == store.Lapsed
	switch e.Kind {
	case store.DepositAsked:
		switch {
		case !v.State.Open() && v.State != store.Held:
			return conflict("the visit is " + words(v.State) + ": nothing is asked ahead of it any more")
		case b.Asked != nil:
			return conflict("a deposit of " + n.amount(b.Asked.Amount) + " is asked already: take that back first")
		case e.Amount > v.PriceCents:
			return conflict(n.amount(e.Amount) + " are more than the price of the visit, " + n.amount(v.PriceCents))
		}
	case store.Waived:
		switch {
		case b.Asked == nil:
			return conflict("no deposit is asked, so there is nothing to waive")
		case b.Deposit().Settled:
			return conflict("the deposit is there or was waived already")
		}
	case store.Kept:
		if !gone && v.State != store.StoppedEarly {
			return conflict("the visit is " + words(v.State) + ": money is kept of a visit that does not take place")
		}
		return n.enough(b, e)
	case store.Returned, store.CarriedOver:
		return n.enough(b, e)
	case store.Received, store.Goodwill, store.Voucher, store.PriceChanged, store.TakenBack:
	}
	return nil
}

// enough refuses to give away more than is there.
func (n salonDay) enough(b store.Balance, e store.MoneyEntry) error {
	if e.Amount <= b.Left() {
		return nil
	}
	return conflict(fmt.Sprintf("%s are more than is left: %s came in, %s went out and %s were kept", n.amount(e.Amount), n.amount(b.In), n.amount(b.Out), n.amount(b.Forfeit)))
}

// mayCarry refuses a visit that money cannot be carried over to.
func mayCarry(ctx context.Context, t *store.Tx, v store.Visit, to string) error {
	if to == v.ID {
		return &scheduling.InvalidError{Field: "to_visit_id", Problem: "is the visit itself", Want: "another visit of the client"}
	}
	other, err := t.LockVisit(ctx, to, 0)
	if is(err, scheduling.ErrNotFound) || err == nil && (v.Client == "" || other.Client != v.Client) {
		return &scheduling.InvalidError{Field: "to_visit_id", Problem: "is not a visit of the same client", Want: "the id of another visit of the client"}
	}
	if err != nil {
		return err
	}
	if !other.State.Open() && other.State != store.Held {
		return conflict("the other visit is " + words(other.State) + ": carry over to one that is to come")
	}
	return nil
}

// takeBack notes that an entry was wrong, unless others rest on it.
func (s *Server) takeBack(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, list []store.MoneyEntry, e store.MoneyEntry) error {
	var old *store.MoneyEntry
	for i, x := range list {
		if x.ID == *e.Reverses && x.Visit == v.ID {
			old = &list[i]
		}
		if x.Reverses != nil && *x.Reverses == *e.Reverses {
			return conflict("the entry was taken back already")
		}
	}
	if old == nil || old.Kind == store.TakenBack {
		return &scheduling.InvalidError{Field: "entry_id", Problem: "is not an entry of this visit that can be taken back", Want: "the id of an entry of GET /visits/{id}/money"}
	}
	e.Amount = old.Amount
	after := store.NewBalance(v.ID, append(list[:len(list):len(list)], e))
	switch {
	case after.Left() < 0:
		return conflict("without it more would have gone out than came in: take back first what went out")
	case after.Waived && after.Asked == nil:
		return conflict("the deposit was waived: take that back first")
	case old.Kind == store.CarriedOver:
		if err := s.mayTakeFrom(ctx, t, *old, e); err != nil {
			return err
		}
	case old.Kind == store.PriceChanged:
		return s.priceBack(ctx, t, n, v, list, *old, e)
	}
	_, err := t.AddMoney(ctx, e, s.now())
	return err
}

// mayTakeFrom refuses to take back what another visit has given away since.
func (s *Server) mayTakeFrom(ctx context.Context, t *store.Tx, old, e store.MoneyEntry) error {
	if _, err := t.LockVisit(ctx, *old.ToVisit, 0); err != nil {
		return err
	}
	there, err := t.MoneyOf(ctx, *old.ToVisit)
	if err == nil && store.NewBalance(*old.ToVisit, append(there, e)).Left() < 0 {
		err = conflict("the other visit has given it away since: take that back first")
	}
	return err
}
