package api

import (
	"context"
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

// shownAfter is how long a treatment is spoken of on the first page once the hours
// after it are over (judgement: until the look after the first wash).
const shownAfter = 14 * 24 * time.Hour

// ahead lists the client's visits that are to come or going on, soonest first.
func (v *ownView) ahead(list []store.Visit) []store.Visit {
	var out []store.Visit
	for _, x := range list {
		if len(x.Services) > 0 && (x.State.Open() || x.State == store.Held && v.now.Before(*x.HeldUntil)) {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b store.Visit) int { return a.Start.Compare(b.Start) })
	return out
}

// lastTreated is the newest visit in which hair was treated, with false when there
// is none.
func lastTreated(list []store.Visit) (store.Visit, bool) {
	i := slices.IndexFunc(list, func(x store.Visit) bool { // newest first
		return (x.State == store.Finished || x.State == store.StoppedEarly) && treats(x)
	})
	if i < 0 {
		return store.Visit{}, false
	}
	return list[i], true
}

func ownHome(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("/own", "title_visits")
	list, err := v.t.VisitsInView(ctx, v.client.ID)
	if err != nil {
		return d.page, err
	}
	coming := v.ahead(list)
	last, treated := lastTreated(list)
	if treated && v.now.Before(realEnd(last).Add(shownAfter)) {
		d.careInShort(last)
	}
	if len(coming) == 0 {
		d.say("big", "no_visit", nil)
	}
	for i, x := range coming {
		if i == 0 {
			if err := d.visit(ctx, x); err != nil {
				return d.page, err
			}
			continue
		}
		if i == 1 {
			d.head("also_booked")
		}
		d.add(pages.OwnBlock{Links: []pages.OwnLink{{Href: "/own/visits/" + x.ID, Text: pages.Plain(d.words.Span(x.Start, x.End) + ", " + serviceNames(x))}}})
	}
	if !slices.ContainsFunc(coming, treats) {
		d.head("coming_again")
		if treated {
			if err := d.window(ctx, last); err != nil {
				return d.page, err
			}
		}
		d.link("/own/again", "find_time", len(coming) == 0)
	}
	d.head("reach_us")
	d.call()
	return d.end(), nil
}

func ownVisit(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("", "title_visit")
	x, err := v.visit(ctx)
	if err != nil {
		return d.page, err
	}
	if err := d.visit(ctx, x); err != nil {
		return d.page, err
	}
	d.head("reach_us")
	d.call()
	return d.end(), nil
}

// visit says everything about a visit.
func (d *ownDoc) visit(ctx context.Context, x store.Visit) error {
	coming := x.State == store.Booked && d.now.Before(x.Start)
	switch {
	case x.State == store.Held && d.now.Before(*x.HeldUntil):
		d.head("pencilled")
		d.say("", "pencilled_until", notify.Says{"until": *x.HeldUntil, "phone": reach(d.n.row)})
	case coming:
		d.head("your_visit")
	case x.State.Open():
		d.head("visit_today")
	default:
		d.head("past_visit")
		d.say("", "state_"+ownState(x.State), nil)
	}
	facts, err := d.visitFacts(ctx, x)
	if err != nil {
		return err
	}
	d.add(pages.OwnBlock{Facts: facts})
	if err := d.asked(ctx, x); err != nil {
		return err
	}
	if coming {
		d.yes(x)
	}
	if coming || x.State == store.Held {
		d.changes(x)
	}
	if toCome(x) {
		if err := d.stillNeeded(ctx, x); err != nil {
			return err
		}
		if treats(x) {
			d.sub("prepare")
			d.items("prepare_eat", "prepare_oil", "prepare_brush", "prepare_collar", "prepare_tie")
		}
		return d.howLong(ctx, x)
	}
	if treats(x) && (x.State == store.Finished || x.State == store.StoppedEarly) {
		d.link("/own/visits/"+x.ID+"/care", "care_link", false)
	}
	return nil
}

// ownState is the end of the name of the text about a state.
func ownState(s store.VisitState) string {
	switch s {
	case store.Finished, store.StoppedEarly, store.Cancelled, store.Missed:
		return string(s)
	case store.Held, store.Lapsed:
		return string(store.Lapsed)
	case store.Booked, store.Arrived, store.UnderWay:
	}
	return "over"
}

func (d *ownDoc) visitFacts(ctx context.Context, x store.Visit) ([]pages.OwnFact, error) {
	names, err := unitNames(ctx, d.t)
	if err != nil {
		return nil, err
	}
	var leads []string
	for _, s := range x.Services {
		if name := names[s.Lead]; name != "" && !slices.Contains(leads, name) {
			leads = append(leads, name)
		}
	}
	where := []pages.OwnText{pages.Plain(d.n.row.Name)}
	if d.n.row.Address != "" {
		where = append(where, pages.Plain(d.n.row.Address))
	}
	facts := []pages.OwnFact{
		d.fact("when", pages.Plain(d.words.Span(x.Start, x.End))),
		d.fact("where", where...),
		d.fact("what", pages.Plain(serviceNames(x))),
		d.fact("with", pages.Plain(strings.Join(leads, ", "))),
		d.fact("stay", pages.Plain(d.words.Long(x.End.Sub(x.Start)))),
		d.fact("price", d.priceOf(x)),
	}
	money, err := d.deposit(ctx, x)
	if err != nil {
		return nil, err
	}
	if len(money) > 0 {
		facts = append(facts, d.fact("deposit", money...))
	}
	if treats(x) && toCome(x) {
		dry, tie := d.n.keepDryUntil(x.End), d.n.untiedUntil(x.End)
		if dry.Equal(tie) {
			facts = append(facts, d.fact("afterwards", d.text("dry_untied_until", notify.Says{"until": dry})))
		} else {
			facts = append(facts, d.fact("afterwards", d.text("dry_until", notify.Says{"until": dry}), d.text("untied_until", notify.Says{"until": tie})))
		}
		if change := d.words.Change(x.End, laterOf(dry, tie)); change != "" {
			last := &facts[len(facts)-1]
			last.Values = append(last.Values, pages.Plain(change))
		}
	}
	return facts, nil
}

// deposit says what was asked ahead, and what is there of it.
func (v *ownView) deposit(ctx context.Context, x store.Visit) ([]pages.OwnText, error) {
	list, err := v.t.MoneyOf(ctx, x.ID)
	if err != nil {
		return nil, err
	}
	b := store.NewBalance(x.ID, list)
	var out []pages.OwnText
	if dep := b.Deposit(); dep.AskedCents > 0 {
		says := notify.Says{"amount": v.n.amount(dep.AskedCents)}
		switch {
		case dep.Settled:
			out = append(out, v.text("deposit_settled", says))
		case dep.By != nil:
			says["by"] = *dep.By
			out = append(out, v.text("deposit_by", says))
		default:
			out = append(out, v.text("deposit_asked", says))
		}
	}
	if left := b.Left(); left > 0 {
		out = append(out, v.text("deposit_there", notify.Says{"amount": v.n.amount(left)}))
	}
	return out, nil
}

// asked says what the client has asked for about a visit.
func (d *ownDoc) asked(ctx context.Context, x store.Visit) error {
	list, err := d.t.RequestsOf(ctx, d.client.ID)
	if err != nil {
		return err
	}
	for _, r := range list {
		if r.Visit == x.ID && r.Settled == nil {
			d.say("care", "asked_"+string(r.Kind), notify.Says{"on": r.Made})
		}
	}
	return nil
}

// yes asks whether the client comes.
func (d *ownDoc) yes(x store.Visit) {
	if x.SaidYesAt != nil {
		d.say("done", "said_yes", notify.Says{"on": *x.SaidYesAt})
		return
	}
	f := d.makeForm("/own/visits/"+x.ID+"/yes", "yes")
	f.Main, f.Hidden = true, []pages.OwnHidden{{Name: "start", Value: x.Start.UTC().Format(time.RFC3339)}}
	d.add(pages.OwnBlock{Form: f})
}

// changes are the ways to another time and to none.
func (d *ownDoc) changes(x store.Visit) {
	at := "/own/visits/" + x.ID
	if x.State == store.Held {
		d.link(at+"/cancel", "give_back", false)
		return
	}
	d.add(pages.OwnBlock{Links: []pages.OwnLink{
		{Href: at + "/move", Text: d.text(map[bool]string{true: "move_link", false: "ask_move_link"}[d.n.mayMoveHerself(x, d.now)], nil)},
		{Href: at + "/cancel", Text: d.text(map[bool]string{true: "cancel_link", false: "ask_cancel_link"}[d.n.mayCancel(x, d.now)], nil)},
	}})
}

// stillNeeded says what is not there yet, and what the client can do about it.
func (d *ownDoc) stillNeeded(ctx context.Context, x store.Visit) error {
	missing, err := d.s.stillMissing(ctx, d.t, d.n, x)
	if err != nil {
		return err
	}
	if len(missing) > 0 {
		d.sub("still_needed")
		var list []pages.OwnText
		for _, m := range missing {
			list = append(list, d.text("need_"+string(m.Kind), notify.Says{"by": m.By, "phone": reach(d.n.row)}))
		}
		d.add(pages.OwnBlock{Items: list})
	}
	if slices.ContainsFunc(missing, func(m notify.Needed) bool { return m.Kind == notify.NeedConsent }) {
		list, err := wordings(ctx, d.t)
		if err != nil {
			return err
		}
		d.sub("consent_words")
		d.add(pages.OwnBlock{Text: pages.Plain(list[len(list)-1].Text), Class: "soft"})
	}
	return d.skinTest(ctx, x)
}

// skinTest says when a skin test was put on, when it can be read and how long it
// counts. What came out of it is for the stylist to say.
func (d *ownDoc) skinTest(ctx context.Context, x store.Visit) error {
	of, err := needsOf(ctx, d.t, d.n, x)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(of[x.ID], func(k needs.Need) bool { return k.Kind == needs.PatchTest })
	if i < 0 {
		return nil
	}
	state := of[x.ID][i].State
	if state != needs.Waiting && state != needs.Done {
		return nil
	}
	if d.quiet() {
		d.say("soft", "test_by_message", nil)
		return nil
	}
	notes, err := d.t.TestNotes(ctx, d.client.ID)
	if err != nil {
		return err
	}
	rules := d.n.needRules()
	for _, note := range slices.Backward(notes) {
		if note.Unreadable != nil || note.What != store.PatchPutOn {
			continue
		}
		says := notify.Says{"product": strings.TrimSpace(note.Product + " " + note.Strength), "on": note.At,
			"from":  note.At.Add(time.Duration(rules.PatchTestReadHours * float64(time.Hour))),
			"until": scheduling.CivilDate(note.At, d.n.loc).AddDate(0, 0, rules.PatchTestValidDays)}
		d.say("", "skin_test_"+string(state), says)
		return nil
	}
	return nil
}

// doYes notes that the client comes, at the start that the page has shown.
func doYes(ctx context.Context, v *ownView) (string, error) {
	x, err := v.locked(ctx)
	if err != nil {
		return "", err
	}
	shown, err := time.Parse(time.RFC3339, v.form.Get("start"))
	switch {
	case v.s.cannotAnswer(x) != "":
		return "", wrongForm("", "wrong_over")
	case err != nil || !shown.Equal(x.Start):
		return "", wrongForm("", "wrong_changed")
	}
	return "/own?done=yes", v.s.saysYes(ctx, v.t, &x, "page", "")
}

// doAsk puts a request on the desk's list: for another time, or for none.
func doAsk(ctx context.Context, v *ownView) (string, error) {
	x, err := v.locked(ctx)
	if err != nil {
		return "", err
	}
	kind := store.RequestKind(v.form.Get("kind"))
	if kind != store.AskMove && kind != store.AskCancel || !toCome(x) {
		return "", wrongForm("", "wrong_over")
	}
	words, err := askWords(v.form.Get("words"))
	if err != nil {
		return "", err
	}
	_, err = v.t.AddClientRequest(ctx, store.ClientRequest{Client: v.client.ID, Visit: x.ID, Kind: kind, Words: words, Guardian: v.to.minor, Made: v.now})
	return "/own/visits/" + x.ID + "?done=asked", err
}

// askMost is how many characters a client writes beside a request (judgement: a few
// sentences, read at the desk between two clients). The wording "wrong_words" names it.
const askMost = 500

// askWords reads what a client wrote beside a request: any lines become one.
func askWords(s string) (string, error) {
	var f scheduling.Faults
	words := text(&f, "words", strings.Join(strings.Fields(s), " "), 0, askMost)
	if len(f) > 0 {
		return "", wrongForm("words", "wrong_words")
	}
	return words, nil
}

// mostBookedAhead is how many visits to come a client books by herself (judgement,
// as for pencilled ones: whoever needs more calls).
const mostBookedAhead = 5

// bookedEnough reports whether she has that many.
func (v *ownView) bookedEnough(ctx context.Context) (bool, error) {
	list, err := v.t.VisitsInView(ctx, v.client.ID)
	if err != nil {
		return false, err
	}
	var ids []string
	for _, x := range v.ahead(list) {
		ids = append(ids, x.ID)
	}
	by, err := v.t.BookedByClient(ctx, ids...)
	return len(by) >= mostBookedAhead, err
}

// forbidden is that the salon's rules leave something to the salon.
func forbidden(text string) error {
	p := wrongForm("", text).(*Problem) //nolint:errorlint,forcetypeassert // straight from wrongForm
	p.Status = http.StatusConflict
	return p
}

// priceOf says what a visit costs, or between which prices as long as nobody has
// looked at the hair.
func (v *ownView) priceOf(x store.Visit) pages.OwnText {
	from, to := x.PriceRange()
	if from == to {
		return pages.Plain(v.n.amount(from))
	}
	return v.text("price_between", notify.Says{"from": v.n.amount(from), "to": v.n.amount(to)})
}
