package api

import (
	"context"
	"errors"
	"math"
	"net/http"
	"slices"
	"strings"
	"time"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// What a client says of her hair before she looks for a time, and how much is then
// taken as cut (judgement: as much as a trim of the ends takes).
const (
	nothing    = "nothing"
	cutEnds    = "ends"
	sureNot    = "more"
	cutEndsCM  = 2.0
	freshFor   = 400 * 24 * time.Hour // how old a measurement may be that a visit is worked out from
	leastNewCM = 3.0                  // of new hair; below that the stylist looks first
)

// ownRetouch is what a client can do about coming again.
type ownRetouch struct {
	last store.Visit // her last treatment
	// why names the text that says why the salon has to be asked, "" when she can
	// look for a time.
	why     string
	service store.ServiceRow
	past    hairPast
	due     scheduling.Retouch
}

// retouch finds out whether a client can book a retouch by herself.
func (v *ownView) retouch(ctx context.Context) (ownRetouch, error) {
	var r ownRetouch
	list, err := v.t.VisitsInView(ctx, v.client.ID)
	if err != nil {
		return r, err
	}
	var treated bool
	if r.last, treated = lastTreated(list); !treated {
		r.why = "again_never"
		return r, nil
	}
	if r.past, err = loadHairPast(ctx, v.t, v.n, v.client.ID); err != nil {
		return r, err
	}
	if r.due, err = v.n.care.growth.Retouch(scheduling.CivilDate(realEnd(r.last), v.n.loc), r.past.growth(v.n)); err != nil {
		r.why = "again_ask"
		return r, nil
	}
	services, err := v.t.Services(ctx)
	if err != nil {
		return r, err
	}
	i := slices.IndexFunc(services, func(x store.ServiceRow) bool {
		return x.Active && x.Retouch && needsHair(x.Service) && slices.Contains(x.Families, scheduling.FamilyStraightening)
	})
	coming := slices.ContainsFunc(v.ahead(list), treats)
	seen := r.past.seen
	switch {
	case coming:
		r.why = "again_booked"
	case !needsAftercare(r.last):
		r.why = "again_ask"
	case i < 0:
		r.why = "again_ask"
	case len(seen) == 0 || v.now.Sub(wall(v.n.loc, seen[len(seen)-1].on, 0)) > freshFor:
		r.why = "again_old"
	default:
		r.service = services[i]
	}
	return r, nil
}

// window says when a retouch is due after a visit.
func (d *ownDoc) window(ctx context.Context, x store.Visit) error {
	if !needsAftercare(x) {
		return nil
	}
	past, err := loadHairPast(ctx, d.t, d.n, d.client.ID)
	if err != nil {
		return err
	}
	r, err := d.n.care.growth.Retouch(scheduling.CivilDate(realEnd(x), d.n.loc), past.growth(d.n))
	if err == nil {
		d.sayWindow(r)
	}
	return nil
}

func (d *ownDoc) sayWindow(r scheduling.Retouch) {
	says := notify.Says{"from": r.Earliest, "to": r.Latest, "due": r.Due}
	if r.Latest.After(r.Earliest) {
		d.say("", "retouch_between", says)
		return
	}
	d.say("", "retouch_from", says)
}

func ownAgain(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("/own/again", "title_again")
	r, err := v.retouch(ctx)
	if err != nil {
		return d.page, err
	}
	if r.last.ID != "" && r.past.client.ID != "" && r.why != "again_ask" {
		d.sayWindow(r.due)
		d.say("soft", "retouch_forecast", nil)
	}
	if err := d.askedAgain(ctx); err != nil {
		return d.page, err
	}
	if r.why != "" {
		return d.askAgain(r.why), nil
	}
	cut, done := v.field("cut"), v.field("done_since")
	if cut == "" || done == "" {
		d.askHair(r, cut, done)
		return d.end(), nil
	}
	if cut == sureNot || done != nothing {
		return d.askAgain("again_changed"), nil
	}
	c, err := v.composeAgain(ctx, r, cut, v.againOn(r))
	if _, refused := errors.AsType[*Problem](err); refused || isFaulty(err) {
		return d.askAgain("again_ask"), nil
	}
	if err != nil {
		return d.page, err
	}
	return d.offerAgain(ctx, r, c)
}

// againOn is the first day that a retouch is looked for on: the one that it is due
// on at the soonest and before which a skin test can be put on, or another that the
// client asks for.
func (v *ownView) againOn(r ownRetouch) time.Time {
	from := wall(v.n.loc, r.due.Earliest, 0)
	ahead := 1 + int(math.Ceil(v.n.time.PatchTestHours/24)) // time for a skin test
	if first := wall(v.n.loc, v.n.today(v.now).AddDate(0, 0, ahead), 0); from.Before(first) {
		from = first
	}
	for _, name := range []string{"start", "from"} {
		if t := v.from(name); t != nil {
			return *t
		}
	}
	return from
}

// askHair asks what has to be known of the hair before a time can be looked for.
func (d *ownDoc) askHair(r ownRetouch, cut, done string) {
	d.head("find_time")
	d.say("", "again_questions", notify.Says{"on": r.past.seen[len(r.past.seen)-1].on})
	cuts := []pages.Option{{ID: nothing, Name: d.label("cut_nothing")}, {ID: cutEnds, Name: d.label("cut_ends")}, {ID: sureNot, Name: d.label("cut_more")}}
	dones := []pages.Option{{ID: nothing, Name: d.label("done_nothing")}, {ID: sureNot, Name: d.label("done_something")}}
	f := d.makeForm("/own/again", "look_for_times",
		pages.Select("cut", d.label("cut_since"), "", cut, cuts, d.label("choose_one")), pages.Select("done_since", d.label("done_since"), "", done, dones, d.label("choose_one")))
	f.Method, f.Main = "get", true
	d.add(pages.OwnBlock{Form: f})
}

// askAgain says why the salon has to be asked, and how.
func (d *ownDoc) askAgain(why string) pages.OwnPage {
	d.say("", why, notify.Says{"phone": reach(d.n.row)})
	if why == "again_booked" {
		d.link("/own", "title_visits", false)
		return d.end()
	}
	f := d.makeForm("/own/again/ask", "ask_retouch", pages.Area("words", d.label("ask_words"), d.label("ask_words_hint"), d.ownView.form.Get("words")).AtMost(askMost))
	f.Main = true
	d.add(pages.OwnBlock{Form: f})
	d.call()
	return d.end()
}

// askedAgain says that she has asked for a call, where she has.
func (d *ownDoc) askedAgain(ctx context.Context) error {
	list, err := d.t.RequestsOf(ctx, d.client.ID)
	if i := slices.IndexFunc(list, func(r store.ClientRequest) bool { return r.Kind == store.AskRetouch && r.Settled == nil }); i >= 0 {
		d.say("care", "asked_retouch", notify.Says{"on": list[i].Made})
	}
	return err
}

// againRequest is the retouch as the desk would book it: hair as it should be on
// the day, with whom it was last if she likes.
func (v *ownView) againRequest(r ownRetouch, cut string, on time.Time) (ServiceRequest, error) {
	cm := 0.0
	if cut == cutEnds {
		cm = cutEndsCM
	}
	e, err := r.past.expect(v.n, scheduling.CivilDate(on, v.n.loc), &cm)
	if err != nil {
		return ServiceRequest{}, err
	}
	if e.Hair == nil || e.Hair.RegrowthCM < leastNewCM {
		return ServiceRequest{}, forbidden("again_soon")
	}
	h := *e.Hair
	h.NewClient = false
	q := ServiceRequest{ServiceID: r.service.ID, Hair: &h}
	if v.field("any") != "true" {
		q.LeadID = r.last.Lead()
	}
	return q, nil
}

// composeAgain works the retouch out for a day. A *Problem says that the salon has
// to be asked; nothing is ever approved here.
func (v *ownView) composeAgain(ctx context.Context, r ownRetouch, cut string, on time.Time) (*composed, error) {
	q, err := v.againRequest(r, cut, on)
	if err != nil {
		return nil, err
	}
	c, err := compose(ctx, v.t, v.n, []ServiceRequest{q})
	if isFaulty(err) && q.LeadID != "" { // who does not work here any more
		q.LeadID = ""
		c, err = compose(ctx, v.t, v.n, []ServiceRequest{q})
	}
	if err != nil {
		return nil, err
	}
	if err := c.consult(ctx, v.t, v.n, v.client.ID, on); err != nil {
		return nil, err
	}
	if err := c.prove(ctx, v.t, v.n, v.client.ID, on); err != nil {
		return nil, err
	}
	if err := c.guarded(); err != nil {
		return nil, err
	}
	if err := c.guard(v.n, v.now, on, "", nil); err != nil {
		return nil, err
	}
	open, err := v.needsAgain(ctx, c, on)
	if err != nil {
		return nil, err
	}
	if slices.ContainsFunc(open, func(x needs.Need) bool { return x.Kind == needs.Consultation }) {
		return nil, newProblem(http.StatusConflict, "refused", "a consultation is needed first")
	}
	return c, nil
}

// needsAgain lists what a visit at start would still need.
func (v *ownView) needsAgain(ctx context.Context, c *composed, start time.Time) ([]needs.Need, error) {
	r, err := v.t.NeedRecords(ctx, []store.Visit{{Client: v.client.ID}})
	if err != nil {
		return nil, err
	}
	used, err := c.solutions(ctx, v.t, nil)
	if err != nil {
		return nil, err
	}
	x := needs.Visit{Start: start}
	for i, s := range c.services {
		row, err := v.t.ServiceVersion(ctx, s.Service, s.Version)
		if err != nil {
			return nil, err
		}
		x.Services = append(x.Services, needs.Service{Chemical: row.Chemical, Aftercare: row.Aftercare, Retouch: row.Retouch, Families: row.Families, Products: used[i]})
	}
	if err := v.n.readTreated(ctx, v.t, &r, map[string][]needs.Service{v.client.ID: x.Services}); err != nil {
		return nil, err
	}
	return needs.FirstOpen(needs.List(x, v.n.onRecord(v.client.ID, start, r), v.n.needRules(), v.n.loc)), nil
}

// offerAgain shows the times for a retouch, or what follows from one of them.
func (d *ownDoc) offerAgain(ctx context.Context, r ownRetouch, c *composed) (pages.OwnPage, error) {
	ask := OpeningsRequest{ClientID: d.client.ID, NotBefore: new(d.againOn(r))}
	at := "/own/again?cut=" + d.field("cut") + "&done_since=" + d.field("done_since")
	if d.field("any") == "true" {
		at += "&any=true"
	}
	if start := d.from("start"); start != nil {
		o, ok, err := d.offerAt(ctx, c, ask, "", *start)
		if err != nil {
			return d.page, err
		}
		if ok {
			return d.confirmAgain(ctx, c, o, at)
		}
		if len(d.wrong) == 0 {
			d.page.Wrong = []pages.FieldError{{Text: d.label("wrong_taken")}}
		}
	}
	a, err := d.offers(ctx, c, ask, "")
	if err != nil {
		return d.page, err
	}
	f := d.makeForm("/own/again", "look_again", pages.Tick("any", d.label("anybody"), "", d.field("any") == "true"))
	f.Method = "get"
	f.Hidden = []pages.OwnHidden{{Name: "cut", Value: d.field("cut")}, {Name: "done_since", Value: d.field("done_since")}}
	d.add(pages.OwnBlock{Form: f})
	d.choices(a, func(name, value string) string { return at + "&" + name + "=" + value })
	return d.end(), nil
}

// confirmAgain says what follows from a time for a retouch, and what is still
// needed for it, before it is booked.
func (d *ownDoc) confirmAgain(ctx context.Context, c *composed, o OpeningBody, back string) (pages.OwnPage, error) {
	d.head("then_is")
	d.consequences(o)
	d.add(pages.OwnBlock{Facts: []pages.OwnFact{d.fact("what", pages.Plain(c.services[0].Name)), d.fact("price", pages.Plain(d.n.amount(c.price)))}})
	dep, err := d.n.depositFor(ctx, d.t, c.price, c.chemical, d.client.ID)
	if err != nil {
		return d.page, err
	}
	if dep.Cents > 0 {
		d.say("", "deposit_will", notify.Says{"amount": d.n.amount(dep.Cents), "by": d.n.depositDue(o.Start, d.now)})
	}
	if d.n.rules.ClientCancels.set && !d.n.rules.ClientCancels.ask {
		d.say("soft", "cancel_until", notify.Says{"hours": time.Duration(d.n.rules.ClientCancels.hours) * time.Hour})
	}
	open, err := d.needsAgain(ctx, c, o.Start)
	if err != nil {
		return d.page, err
	}
	var list []pages.OwnText
	for _, x := range open {
		if !x.Hidden() && x.Owner != needs.Licensed {
			list = append(list, d.text("need_"+string(x.Kind), notify.Says{"by": x.Latest, "phone": reach(d.n.row)}))
		}
	}
	if len(list) > 0 {
		d.sub("still_needed")
		d.add(pages.OwnBlock{Items: list})
	}
	d.say("soft", "again_firm", nil)
	f := d.makeForm("/own/again", "book_now")
	f.Main = true
	f.Hidden = []pages.OwnHidden{{Name: "cut", Value: d.field("cut")}, {Name: "done_since", Value: d.field("done_since")}, {Name: "any", Value: d.field("any")},
		{Name: "lead", Value: o.LeadID}, {Name: "start", Value: o.Start.UTC().Format(time.RFC3339)}}
	d.add(pages.OwnBlock{Form: f})
	d.link(back, "other_times", false)
	return d.end(), nil
}

// doAgain books a retouch as the desk would, with nobody's yes. Sent twice, the
// second finds her booked already.
func doAgain(ctx context.Context, v *ownView) (string, error) {
	if err := v.t.LockClient(ctx, v.client.ID); err != nil {
		return "", err
	}
	r, err := v.retouch(ctx)
	if err != nil {
		return "", err
	}
	start := v.from("start")
	first, _ := scheduling.DayBounds(v.n.loc, v.n.today(v.now).AddDate(0, 0, 1))
	cut := v.form.Get("cut")
	switch {
	case r.why == "again_booked":
		return "/own?done=booked", nil
	case r.why != "":
		return "", forbidden(r.why)
	case start == nil || cut != nothing && cut != cutEnds || v.form.Get("done_since") != nothing:
		return "", wrongForm("", "wrong_other")
	case start.Before(first):
		return "", forbidden("wrong_soon")
	}
	enough, err := v.bookedEnough(ctx)
	if err != nil {
		return "", err
	}
	if enough {
		return "", forbidden("wrong_enough")
	}
	if _, err := v.composeAgain(ctx, r, cut, *start); err != nil {
		return "", err
	}
	q, err := v.againRequest(r, cut, *start)
	if err != nil {
		return "", err
	}
	q.LeadID = strings.TrimSpace(v.form.Get("lead"))
	x, err := v.s.book(ctx, v.t, v.n, VisitRequest{ClientID: v.client.ID, Start: *start, Services: []ServiceRequest{q}})
	if err != nil {
		return "", err
	}
	return "/own/visits/" + x.ID + "?done=booked", v.t.NoteByClient(ctx, x.ID, store.BookedByClient, v.now)
}

// doAskAgain asks the desk for a call about coming again.
func doAskAgain(ctx context.Context, v *ownView) (string, error) {
	words, err := askWords(v.form.Get("words"))
	if err != nil {
		return "", err
	}
	_, err = v.t.AddClientRequest(ctx, store.ClientRequest{Client: v.client.ID, Kind: store.AskRetouch, Words: words, Guardian: v.to.minor, Made: v.now})
	return "/own/again?done=asked", err
}
