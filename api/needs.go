package api

import (
	"context"
	"maps"
	"slices"
	"time"

	"github.com/rickb777/date"

	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// NeedBody is one thing that a visit needs before it may begin.
type NeedBody struct {
	Kind         string     `json:"kind" enum:"consultation,patch_test,strand_test,deposit,guardian,consent"`
	State        string     `json:"state" enum:"missing,waiting,done,overridden,refused,ask" doc:"waiting: begun, somebody has to read it or to decide; refused: the visit cannot begin, whoever says yes; ask: the stylist in charge says more"`
	Words        string     `json:"words" doc:"What it is, for anybody" example:"a skin test"`
	Right        string     `json:"what_would_be_right,omitempty" doc:"What has to happen" example:"put on by Tue 9 June 10:00 and read before the visit begins"`
	Latest       time.Time  `json:"latest"`
	Owner        string     `json:"owner,omitempty" enum:"desk,stylist,licensed,client,guardian" doc:"Whose turn it is"`
	Overdue      bool       `json:"overdue"`
	Overridable  bool       `json:"may_be_overridden" doc:"The licensed person may let the visit begin without it"`
	OverriddenBy string     `json:"overridden_by,omitempty"`
	OverriddenAt *time.Time `json:"overridden_at,omitempty"`
	Why          string     `json:"why,omitempty" doc:"Where it stands; only for the stylist in charge and the owner"`
}

// needsOf works out what visits need, by visit. Kept time needs nothing.
func needsOf(ctx context.Context, t *store.Tx, n salonDay, visits ...store.Visit) (map[string][]needs.Need, error) {
	r, err := t.NeedRecords(ctx, visits)
	if err != nil {
		return nil, err
	}
	ends, err := correctedEnds(ctx, t, visits)
	if err != nil {
		return nil, err
	}
	of, services := map[string]needs.Visit{}, map[string][]needs.Service{}
	for _, v := range visits {
		need := neededBy(v, r)
		need.Corrects = ends[v.ID]
		of[v.ID] = need
		services[v.Client] = append(services[v.Client], need.Services...)
	}
	if err := n.readTreated(ctx, t, &r, services); err != nil {
		return nil, err
	}
	out := map[string][]needs.Need{}
	for _, v := range visits {
		out[v.ID] = needs.List(of[v.ID], n.onRecord(v.Client, v.Start, r), n.needRules(), n.loc)
	}
	return out, nil
}

// readTreated adds to r since when clients are treated with chemicals, where that
// changes what their services need. services are by client.
func (n salonDay) readTreated(ctx context.Context, t *store.Tx, r *store.NeedRecords, services map[string][]needs.Service) error {
	var clients []string
	for client, list := range services {
		if client != "" && n.needRules().AskTreated(list) {
			clients = append(clients, client)
		}
	}
	slices.Sort(clients)
	var err error
	r.Treated, err = t.FirstTreated(ctx, clients)
	return err
}

// correctedEnds is when the visits ended that others correct, by the correction.
func correctedEnds(ctx context.Context, t *store.Tx, visits []store.Visit) (map[string]time.Time, error) {
	parents := map[string]string{} // of a correction
	for _, v := range visits {
		if v.Parent != nil && *v.ParentAs == store.Correction {
			parents[v.ID] = *v.Parent
		}
	}
	if len(parents) == 0 {
		return nil, nil
	}
	list, err := t.VisitsByID(ctx, slices.Collect(maps.Values(parents)))
	if err != nil {
		return nil, err
	}
	out := map[string]time.Time{}
	for id, parent := range parents {
		for _, p := range list {
			if p.ID == parent {
				out[id] = realEnd(p)
			}
		}
	}
	return out, nil
}

// neededBy is what is on record of a visit.
func neededBy(v store.Visit, r store.NeedRecords) needs.Visit {
	out := needs.Visit{Start: v.Start}
	for _, x := range r.Services[v.ID] {
		k := needs.Service{Chemical: x.Chemical, Aftercare: x.Aftercare, Retouch: x.Retouch, Damaged: x.Damaged, Families: x.Families}
		for _, p := range x.Solutions {
			k.Products = append(k.Products, needs.Product(p))
		}
		out.Services = append(out.Services, k)
	}
	if d := r.Deposits[v.ID]; d.AskedCents > 0 && !d.Settled {
		out.DepositOpen, out.DepositBy = true, d.By
	}
	for _, c := range r.Consents[v.Client] {
		if c.Visit == v.ID && c.Withdrawn == nil {
			given := c.Given
			out.GuardianYes = &given
			if out.ApprovedBy == "" {
				out.ApprovedBy = c.ApprovedBy
			}
		}
	}
	for _, o := range r.Overrides[v.ID] {
		out.Overrides = append(out.Overrides, needs.Override{Kind: needs.Kind(o.Kind), By: o.SaidBy, At: o.Made, Basis: o.Basis})
	}
	return out
}

// onRecord is what is on record of a client for a visit at start.
func (n salonDay) onRecord(client string, start time.Time, r store.NeedRecords) needs.Client {
	var out needs.Client
	if client == "" {
		return out
	}
	first, treated := r.Treated[client]
	out.Treated = treated && first.Before(start)
	if m, ok := r.Minors[client]; ok {
		out.Minor, out.GuardianNamed = n.minorAt(m, start), m.Guardian != ""
	}
	if c, ok := r.Screenings[client]; ok {
		out.Consultation = &needs.Consulted{Made: c.Made, Outcome: needs.Outcome(c.Standing()), StrandTest: c.StrandTest, Earliest: c.Earliest}
	}
	for _, c := range r.Consents[client] {
		if c.Wording == r.Wording && c.Withdrawn == nil {
			given := c.Given
			out.Consent = &given
		}
	}
	addTests(&out, r.Tests[client])
	return out
}

// addTests adds what is noted of tests; of each skin test the last reading
// counts.
func addTests(c *needs.Client, list []store.TestNote) {
	at := map[string]int{} // of the skin test in c, by its note
	for _, x := range list {
		product := needs.Product{ID: x.ProductID, Name: x.Product, Strength: x.Strength}
		switch {
		case x.Unreadable != nil:
			c.Unreadable = true
		case x.What == store.PatchPutOn:
			at[x.ID] = len(c.PatchTests)
			c.PatchTests = append(c.PatchTests, needs.Patch{Family: x.Family, Product: product, PutOn: x.At})
		case x.What == store.PatchRead:
			if i, ok := at[x.Of]; ok {
				c.PatchTests[i].Result, c.PatchTests[i].Read = needs.Result(x.Result), x.At
			}
		case x.What == store.StrandMade:
			c.StrandTests = append(c.StrandTests, needs.Strand{Product: product, Made: x.At, Result: needs.Result(x.Result)})
		case x.What == store.Reaction:
			c.Reactions = append(c.Reactions, x.At)
		}
	}
}

// ofAge is the day on which a client reaches the salon's age of consent, which may
// have changed since it was written down.
func (n salonDay) ofAge(m store.Minor) date.Date {
	return m.Until.AddDate(n.consentAge()-m.Age, 0, 0)
}

// minorAt reports whether a client is below the salon's age of consent at t.
func (n salonDay) minorAt(m store.Minor, t time.Time) bool {
	return scheduling.CivilDate(t, n.loc).Before(n.ofAge(m))
}

// toCome reports whether the needs of a visit are of interest: it is pencilled or
// booked, or its client is here.
func toCome(v store.Visit) bool {
	return len(v.Services) > 0 && (v.State == store.Held || v.State.Open())
}

// stillNeeded writes what a visit needs for the caller and how much of it is not
// there, nil when that is of no interest any more.
func (s *Server) stillNeeded(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (list []NeedBody, open *int, err error) {
	if !toCome(v) {
		return nil, nil, nil
	}
	of, err := needsOf(ctx, t, n, v)
	if err != nil {
		return nil, nil, err
	}
	if ctx, err = healthOf(ctx, t, v.Client); err != nil {
		return nil, nil, err
	}
	return s.writeNeeds(ctx, n, of[v.ID]), new(len(needs.FirstOpen(of[v.ID]))), nil
}

func (s *Server) writeNeeds(ctx context.Context, n salonDay, list []needs.Need) []NeedBody {
	out := make([]NeedBody, len(list))
	for i, x := range list {
		out[i] = s.writeNeed(ctx, n, x)
	}
	return out
}

// leadOf is how many hours before a visit a need has to be met, 0 for those without
// such a time.
func (n salonDay) leadOf(k needs.Need) float64 {
	r := n.needRules()
	switch k.Kind {
	case needs.Consultation:
		return r.ConsultationHours
	case needs.PatchTest:
		return r.PatchTestHours
	case needs.StrandTest:
		return r.StrandTestHours
	case needs.Deposit, needs.Guardian, needs.Consent:
	}
	return 0
}

// atWords writes a time as the desk says it.
func (n salonDay) atWords(t time.Time) string { return t.In(n.loc).Format("Mon 2 January 15:04") }

// writeNeed writes a need for the caller, whose context is that of the client. Who does not see health hears of tests
// and consultations only that they are there or missing, or whom to ask.
func (s *Server) writeNeed(ctx context.Context, n salonDay, x needs.Need) NeedBody {
	b := NeedBody{Kind: string(x.Kind), State: string(x.State), Words: x.Words(), Latest: x.Latest.In(n.loc), Owner: string(x.Owner),
		Overdue: x.Overdue(s.now()), Overridable: x.Open() && !x.Final && x.State != needs.Refused, OverriddenBy: x.By}
	if x.Open() {
		b.Right = x.Right(n.atWords)
	}
	if x.State == needs.Overridden {
		b.OverriddenAt = localTime(&x.At, n.loc)
	}
	if seesHealth(ctx) {
		b.Why = x.Why
		return b
	}
	if x.Hidden() {
		b.State, b.Overridable, b.Owner = "ask", false, string(needs.Stylist)
		return b
	}
	if slices.Contains([]needs.Kind{needs.Consultation, needs.PatchTest, needs.StrandTest}, x.Kind) && x.State == needs.Waiting {
		b.State = string(needs.Missing)
	}
	return b
}

// openNeeds counts what is open of visits that are to come.
func (s *Server) openNeeds(ctx context.Context, t *store.Tx, n salonDay, visits []store.Visit) (map[string]int, error) {
	var list []store.Visit
	for _, v := range visits {
		if toCome(v) {
			list = append(list, v)
		}
	}
	of, err := needsOf(ctx, t, n, list...)
	out := map[string]int{}
	for id, all := range of {
		out[id] = len(needs.FirstOpen(all))
	}
	return out, err
}
