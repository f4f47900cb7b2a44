package api

import (
	"context"
	"slices"
	"time"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// What a client chooses for what she paid.
const (
	depositBack  = "returned"
	depositStays = "carried_over"
)

// depositChoices is true when what was paid for x is returned or kept for another
// visit as she chooses, false when the salon decides or nothing is there.
func (v *ownView) depositChoices(ctx context.Context, x store.Visit) (left int64, chooses bool, err error) {
	list, err := v.t.MoneyOf(ctx, x.ID)
	if err != nil {
		return 0, false, err
	}
	left = store.NewBalance(x.ID, list).Left()
	return left, left > 0 && x.Start.Sub(v.now) >= v.n.notice(), nil
}

func ownCancel(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("", "title_cancel")
	x, err := v.visit(ctx)
	if err != nil {
		return d.page, err
	}
	if !d.canChange(x) {
		return d.end(), nil
	}
	facts, err := d.visitFacts(ctx, x)
	if err != nil {
		return d.page, err
	}
	d.add(pages.OwnBlock{Facts: facts[:4]}) // when, where, what, with whom
	if !v.n.mayCancel(x, v.now) {
		return d.ask(x, store.AskCancel), nil
	}
	left, chooses, err := v.depositChoices(ctx, x)
	if err != nil {
		return d.page, err
	}
	says := notify.Says{"amount": v.n.amount(left), "hours": v.n.notice()}
	var fields []pages.Field
	switch {
	case x.State == store.Held:
		d.say("", "cancel_held", nil)
	case left == 0:
		d.say("", "cancel_nothing_paid", nil)
	case chooses:
		d.say("", "cancel_choose", says)
		fields = append(fields, pages.Select("deposit", d.label("cancel_deposit"), "", v.form.Get("deposit"), []pages.Option{
			{ID: depositBack, Name: d.label("deposit_returned")}, {ID: depositStays, Name: d.label("deposit_carried_over")}}, ""))
	default:
		d.say("care", "cancel_salon_decides", says)
	}
	button := "cancel_now"
	if x.State == store.Held {
		button = "give_back_now"
	}
	f := d.makeForm("/own/visits/"+x.ID+"/cancel", button, fields...)
	f.Hidden = []pages.OwnHidden{{Name: "start", Value: x.Start.UTC().Format(time.RFC3339)}}
	d.add(pages.OwnBlock{Form: f})
	d.link("/own/visits/"+x.ID, "keep_it", false)
	return d.end(), nil
}

// canChange says why nothing can be changed about a visit, and reports whether it
// can.
func (d *ownDoc) canChange(x store.Visit) bool {
	if x.State == store.Booked && d.now.Before(x.Start) || x.State == store.Held && d.now.Before(*x.HeldUntil) {
		return true
	}
	d.say("big", "too_late_to_change", nil)
	d.call()
	return false
}

// ask is the rest of a page on which the salon has to be asked.
func (d *ownDoc) ask(x store.Visit, kind store.RequestKind) pages.OwnPage {
	rule := d.n.rules.ClientCancels
	if kind == store.AskMove {
		rule = d.n.rules.ClientMoves
	}
	says := notify.Says{"hours": time.Duration(rule.hours) * time.Hour, "phone": reach(d.n.row)}
	switch {
	case x.Group != nil:
		d.say("", "ask_together", says)
	case rule.ask:
		d.say("", "ask_always", says)
	default:
		d.say("", "ask_late_"+string(kind), says)
	}
	words := pages.Area("words", d.label("ask_words"), d.label("ask_words_hint"), d.ownView.form.Get("words")).AtMost(askMost)
	for _, w := range d.wrong {
		if w.Field == "words" {
			words = words.Wrong(w.Text)
		}
	}
	f := d.makeForm("/own/visits/"+x.ID+"/ask", "ask_"+string(kind), words)
	f.Main, f.Hidden = true, []pages.OwnHidden{{Name: "kind", Value: string(kind)}}
	d.add(pages.OwnBlock{Form: f})
	d.call()
	return d.end()
}

// ownAsked is the page with the form of a request: that on which it was asked.
func ownAsked(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	switch store.RequestKind(v.form.Get("kind")) {
	case store.AskMove:
		return ownMove(ctx, v)
	case store.AskCancel:
		return ownCancel(ctx, v)
	default:
		return ownVisit(ctx, v)
	}
}

// doCancel calls a visit off. What becomes of money is noted for the desk: the
// program moves none.
func doCancel(ctx context.Context, v *ownView) (string, error) {
	x, err := v.locked(ctx)
	if err != nil {
		return "", err
	}
	shown, err := time.Parse(time.RFC3339, v.form.Get("start"))
	switch {
	case err != nil || !shown.Equal(x.Start):
		return "", wrongForm("", "wrong_changed")
	case !v.n.mayCancel(x, v.now):
		return "", forbidden("wrong_late")
	}
	left, chooses, err := v.depositChoices(ctx, x)
	if err != nil {
		return "", err
	}
	held := x.State == store.Held
	if err := v.s.cancel(ctx, v.t, v.n, &x, store.Cancelled); err != nil {
		return "", err
	}
	if err := v.t.NoteByClient(ctx, x.ID, store.CancelledByClient, v.now); err != nil {
		return "", err
	}
	if left > 0 && !held {
		words := "cancelled later than the notice: the salon decides about " + v.n.amount(left)
		if chooses {
			words = map[string]string{depositBack: "wishes " + v.n.amount(left) + " back", depositStays: "wishes " + v.n.amount(left) + " kept for another visit"}[v.form.Get("deposit")]
		}
		if words == "" {
			return "", wrongForm("deposit", "wrong_deposit")
		}
		if _, err := v.t.AddClientRequest(ctx, store.ClientRequest{Client: v.client.ID, Visit: x.ID, Kind: store.AskDeposit, Words: words, Guardian: v.to.minor, Made: v.now}); err != nil {
			return "", err
		}
	}
	return "/own?done=cancelled", nil
}

// ownSooner is how many days before a visit another time is looked for first
// (judgement: who moves a visit stays near it).
const ownSooner = 14

// ownGrid is on which minutes openings begin that clients choose from (judgement:
// fewer to choose from, and no odd times).
const ownGrid = 30

// ownOffers is how many openings one page shows, from the day after today on
// (judgement: a salon reads its day in the morning).
const ownOffers = 12

// offers are the openings that a client may take by herself.
func (v *ownView) offers(ctx context.Context, c *composed, ask OpeningsRequest, except string) (OpeningsAnswer, error) {
	first := v.n.today(v.now).AddDate(0, 0, 1)
	if ask.NotBefore != nil {
		if d := scheduling.CivilDate(*ask.NotBefore, v.n.loc); d.After(first) {
			first = d
		}
	}
	ask.FirstDate, ask.Limit = first.String(), 8*ownOffers
	if ask.Grid == 0 {
		ask.Grid = ownGrid
	}
	var out OpeningsAnswer
	var err error
	for _, days := range []int{27, 62} { // as far as there is something
		ask.LastDate = first.AddDate(0, 0, days).String()
		if out, err = v.s.openings(ctx, v.t, v.n, c, ask, except); err != nil || len(out.Openings) > 0 {
			break
		}
	}
	if err != nil {
		return out, err
	}
	var allowed *time.Time // when other services are far enough away
	if i := slices.IndexFunc(out.Openings, func(o OpeningBody) bool { return o.FirstAllowed != nil }); i >= 0 {
		allowed = out.Openings[i].FirstAllowed
	}
	out.Openings = slices.DeleteFunc(out.Openings, func(o OpeningBody) bool {
		return slices.ContainsFunc(o.Cautions, func(x CautionBody) bool { return x.Level != string(chairtime.LevelWarn) })
	})
	if later := allowed; len(out.Openings) == 0 && later != nil && (ask.NotBefore == nil || later.After(*ask.NotBefore)) && ask.Grid != 1 {
		ask.NotBefore = later
		return v.offers(ctx, c, ask, except)
	}
	return out, nil
}

// thin keeps openings that differ: of one day and stylist no two within two hours.
func thin(list []OpeningBody, most int) (out []OpeningBody, next *time.Time) {
	for i, o := range list {
		near := slices.ContainsFunc(out, func(x OpeningBody) bool {
			return x.LeadID == o.LeadID && o.Start.Sub(x.Start) < 2*time.Hour && o.Start.YearDay() == x.Start.YearDay()
		})
		if near {
			continue
		}
		if len(out) == most {
			return out, &list[i].Start
		}
		out = append(out, o)
	}
	return out, nil
}

// choices lists openings, each a link to what follows from taking it.
func (d *ownDoc) choices(a OpeningsAnswer, href func(name, value string) string) {
	list, next := thin(a.Openings, ownOffers)
	if len(list) == 0 {
		d.say("big", "no_opening", notify.Says{"phone": reach(d.n.row)})
		d.call()
		return
	}
	d.head("choose")
	var links []pages.OwnLink
	for _, o := range list {
		says := notify.Says{"when": notify.Span{From: o.Start, To: o.End}, "lead": o.LeadName}
		name := "offer"
		if o.KeepDryUntil != nil {
			says["until"], name = laterOf(*o.KeepDryUntil, *o.UntiedUntil), "offer_dry"
		}
		links = append(links, pages.OwnLink{Href: href("start", o.Start.UTC().Format(time.RFC3339)), Text: d.text(name, says)})
	}
	d.add(pages.OwnBlock{Links: links})
	if next == nil {
		next = a.Next
	}
	if next != nil {
		d.add(pages.OwnBlock{Links: []pages.OwnLink{{Href: href("from", next.UTC().Format(time.RFC3339)), Text: d.text("later_offers", nil)}}})
	}
}

// from reads the time after which openings are looked for; nil for any.
func (v *ownView) from(name string) *time.Time {
	t, err := time.Parse(time.RFC3339, v.field(name))
	if err != nil || t.Year() < 2000 || t.Year() > 2199 {
		return nil
	}
	return &t
}

// offerAt finds the opening that begins at start, with false when there is none.
func (v *ownView) offerAt(ctx context.Context, c *composed, ask OpeningsRequest, except string, start time.Time) (OpeningBody, bool, error) {
	ask.NotBefore, ask.Grid = &start, 1
	a, err := v.offers(ctx, c, ask, except)
	if err != nil || len(a.Openings) == 0 || !a.Openings[0].Start.Equal(start) {
		return OpeningBody{}, false, err
	}
	return a.Openings[0], true, nil
}

func (v *ownView) anybody() newLead { return newLead{Any: v.field("any") == "true"} }

func ownMove(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("", "title_move")
	x, err := v.visit(ctx)
	if err != nil {
		return d.page, err
	}
	if !d.canChange(x) {
		return d.end(), nil
	}
	d.add(pages.OwnBlock{Facts: []pages.OwnFact{d.fact("now_is", pages.Plain(d.words.Span(x.Start, x.End))), d.fact("what", pages.Plain(serviceNames(x)))}})
	if !v.n.mayMoveHerself(x, v.now) {
		return d.ask(x, store.AskMove), nil
	}
	c, err := recompose(ctx, v.t, x, v.anybody())
	if err != nil {
		return d.page, err
	}
	ask := OpeningsRequest{ClientID: v.client.ID, NotBefore: v.from("from")}
	if ask.NotBefore == nil {
		ask.NotBefore = new(x.Start.AddDate(0, 0, -ownSooner))
	}
	if start := v.from("start"); start != nil {
		o, ok, err := v.offerAt(ctx, c, ask, x.ID, *start)
		if err != nil {
			return d.page, err
		}
		if ok {
			return d.confirmMove(x, o), nil
		}
		if len(v.wrong) == 0 {
			d.page.Wrong = []pages.FieldError{{Text: v.label("wrong_taken")}}
		}
	}
	a, err := v.offers(ctx, c, ask, x.ID)
	if err != nil {
		return d.page, err
	}
	at := "/own/visits/" + x.ID + "/move"
	any := pages.Tick("any", d.label("anybody"), "", v.field("any") == "true")
	f := d.makeForm(at, "look_again", any)
	f.Method = "get"
	d.add(pages.OwnBlock{Form: f})
	d.choices(a, func(name, value string) string {
		if v.field("any") == "true" {
			return at + "?any=true&" + name + "=" + value
		}
		return at + "?" + name + "=" + value
	})
	d.link("/own/visits/"+x.ID, "keep_it", false)
	return d.end(), nil
}

// confirmMove says what follows from another time, before it is taken.
func (d *ownDoc) confirmMove(x store.Visit, o OpeningBody) pages.OwnPage {
	d.head("then_is")
	d.consequences(o)
	if from, to := x.PriceRange(); from < to {
		d.say("", "price_stays_open", notify.Says{"from": d.n.amount(from), "to": d.n.amount(to)})
	} else {
		d.say("", "price_stays", notify.Says{"amount": d.n.amount(from)})
	}
	f := d.makeForm("/own/visits/"+x.ID+"/move", "move_now")
	f.Main = true
	f.Hidden = []pages.OwnHidden{{Name: "was", Value: x.Start.UTC().Format(time.RFC3339)}, {Name: "start", Value: o.Start.UTC().Format(time.RFC3339)}, {Name: "any", Value: d.field("any")}, {Name: "lead", Value: o.LeadID}}
	d.add(pages.OwnBlock{Form: f})
	d.link("/own/visits/"+x.ID+"/move", "other_times", false)
	return d.end()
}

// consequences are what follows from taking an opening.
func (d *ownDoc) consequences(o OpeningBody) {
	facts := []pages.OwnFact{d.fact("when", pages.Plain(d.words.Span(o.Start, o.End))), d.fact("with", pages.Plain(o.LeadName))}
	if o.KeepDryUntil != nil {
		values := []pages.OwnText{d.text("dry_untied_until", notify.Says{"until": *o.KeepDryUntil})}
		if !o.KeepDryUntil.Equal(*o.UntiedUntil) {
			values = []pages.OwnText{d.text("dry_until", notify.Says{"until": *o.KeepDryUntil}), d.text("untied_until", notify.Says{"until": *o.UntiedUntil})}
		}
		if change := d.words.Change(o.End, laterOf(*o.KeepDryUntil, *o.UntiedUntil)); change != "" {
			values = append(values, pages.Plain(change))
		}
		facts = append(facts, d.fact("afterwards", values...))
	}
	d.add(pages.OwnBlock{Facts: facts})
}

// doMove gives a visit another time: the old one is given back in the same moment.
func doMove(ctx context.Context, v *ownView) (string, error) {
	x, err := v.visit(ctx)
	if err != nil {
		return "", err
	}
	was, err := time.Parse(time.RFC3339, v.form.Get("was"))
	start := v.from("start")
	first, _ := scheduling.DayBounds(v.n.loc, v.n.today(v.now).AddDate(0, 0, 1))
	switch {
	case err != nil || !was.Equal(x.Start) || start == nil:
		return "", wrongForm("", "wrong_changed")
	case !v.n.mayMoveHerself(x, v.now):
		return "", forbidden("wrong_late")
	case start.Before(first):
		return "", forbidden("wrong_soon")
	}
	lead := v.anybody()
	if who := v.form.Get("lead"); lead.Any && who != "" { // as it was shown
		lead = newLead{ID: who}
	}
	if _, err := v.s.move(ctx, v.t, v.n, change{id: x.ID, version: x.Version, start: *start, lead: lead}); err != nil {
		return "", err
	}
	return "/own/visits/" + x.ID + "?done=moved", v.t.NoteByClient(ctx, x.ID, store.MovedByClient, v.now)
}
