package api

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// atWork names the people of a step, and its basin or else its chair.
func atWork(st store.VisitStep, names map[string]string) (who []string, where string) {
	for _, u := range st.Units {
		switch u.Role {
		case openings.RoleChair, openings.RoleBasin:
		default:
			who = append(who, names[u.Unit])
		}
	}
	slices.Sort(who)
	if basin := st.UnitIn(openings.RoleBasin); basin != "" {
		return who, names[basin]
	}
	return who, cmp.Or(names[st.UnitIn(openings.RoleChair)], "desk")
}

// stateWords says what became of a visit, and when.
func stateWords(v store.Visit, loc *time.Location) string {
	switch {
	case v.State == store.Held:
		return "pencilled until " + v.HeldUntil.In(loc).Format("Mon 2 January 15:04")
	case v.State == store.Lapsed:
		return "not booked: it was pencilled until " + v.HeldUntil.In(loc).Format("Mon 2 January 15:04")
	case v.State == store.Arrived && v.ArrivedAt != nil:
		return "arrived: the client came at " + v.ArrivedAt.In(loc).Format("15:04")
	case v.State == store.Finished && v.FinishedAt != nil:
		return "finished: it ended at " + v.FinishedAt.In(loc).Format("15:04")
	}
	return words(v.State)
}

// visitFacts is what a page says of a visit beside the visit itself.
type visitFacts struct {
	client     store.Client
	to         person // who hears of it: the client, or a minor's guardian
	names      map[string]string
	cautions   []CautionBody // as they were when it was booked
	needed     []string
	open       []needs.Kind // what of it is not hidden
	against    bool         // something in needed says what of the client's health speaks against the visit
	chemical   bool
	messages   []pages.MessageDue
	noMessages string
}

func (s *Server) aboutVisit(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (*visitFacts, error) {
	x := &visitFacts{}
	var err error
	if x.client, err = clientOf(ctx, t, v); err != nil {
		return nil, err
	}
	if x.to, err = s.recipient(ctx, t, n, v); err != nil {
		return nil, err
	}
	if x.names, err = unitNames(ctx, t); err != nil {
		return nil, err
	}
	for _, sv := range v.Services {
		row, err := t.ServiceVersion(ctx, sv.Service, sv.Version)
		if err != nil {
			return nil, err
		}
		x.chemical = x.chemical || row.Chemical
		if sv.Estimate == nil {
			continue
		}
		kept, err := t.EstimateByID(ctx, *sv.Estimate)
		if err != nil {
			return nil, err
		}
		w, err := readEstimate(kept)
		if err != nil {
			return nil, err
		}
		x.cautions = append(x.cautions, w.result.Cautions...)
	}
	if err := x.needs(ctx, t, n, v); err != nil {
		return nil, err
	}
	reminders, err := t.RemindersOf(ctx, v.ID)
	x.say(reminders, n.loc)
	return x, err
}

// needs lists what must be there before the visit can start, and by when.
func (x *visitFacts) needs(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) error {
	if !toCome(v) {
		return nil
	}
	ctx, err := healthOf(ctx, t, v.Client)
	if err != nil {
		return err
	}
	of, err := needsOf(ctx, t, n, v)
	open := needs.FirstOpen(of[v.ID])
	if !seesHealth(ctx) {
		open = inKindOrder(open)
	}
	for _, k := range open {
		line := k.Words()
		switch {
		case k.Hidden() && seesHealth(ctx):
			line, x.against = k.Why, v.Client != ""
		case !k.Hidden():
			line += ", " + k.Right(n.atWords)
			x.open = append(x.open, k.Kind)
		}
		x.needed = append(x.needed, line)
	}
	return err
}

// say lists what goes out, or why nothing does.
func (x *visitFacts) say(list []store.Reminder, loc *time.Location) {
	switch {
	case (x.to.by == wayNone || x.to.by == wayNotAsked) && x.to.mail == "" && x.to.phone == "":
		x.noMessages = nowhere
	case x.to.by == wayNone:
		x.noMessages = "the client wishes none"
	case x.to.by == wayNotAsked:
		x.noMessages = nobodyAsked
	default:
		x.messages, x.noMessages = messages(loc, x.to.by, list), "none is due"
	}
}

// boardOf is the board of the visit's day.
func boardOf(n salonDay, v store.Visit) string {
	return "/?date=" + scheduling.CivilDate(v.Start, n.loc).String()
}

// clientOf returns the client of a visit. For a visit without one it is who the
// visit says that it is for, by whose name nothing can be sent.
func clientOf(ctx context.Context, t *store.Tx, v store.Visit) (store.Client, error) {
	if v.Client == "" {
		return store.Client{GivenName: cmp.Or(v.Title, words(v.State)), ContactBy: "none"}, nil
	}
	return t.ClientByID(ctx, v.Client)
}

// clientsOf returns the client of every visit, by visit.
func clientsOf(ctx context.Context, t *store.Tx, visits []store.Visit) (map[string]store.Client, error) {
	known, err := t.ClientsByID(ctx, clientIDs(visits)...)
	if err != nil {
		return nil, err
	}
	out := make(map[string]store.Client, len(visits))
	for _, v := range visits {
		c, ok := known[v.Client]
		if !ok {
			if c, err = clientOf(ctx, t, v); err != nil {
				return nil, err
			}
		}
		out[v.ID] = c
	}
	return out, nil
}

// clientIDs lists the clients of visits, each once.
func clientIDs(visits []store.Visit) []string {
	var out []string
	seen := map[string]bool{"": true}
	for _, v := range visits {
		if !seen[v.Client] {
			seen[v.Client] = true
			out = append(out, v.Client)
		}
	}
	return out
}

// shortName is the first name with the initial of the family name.
func shortName(c store.Client) string {
	s := c.GivenName
	if r := []rune(c.FamilyName); len(r) > 0 {
		s += " " + string(r[0]) + "."
	}
	return s
}

func clientName(c store.Client) string { return strings.TrimSpace(c.GivenName + " " + c.FamilyName) }

// messages says what became of every message to the client, or that it waits for its time.
func messages(loc *time.Location, by string, list []store.Reminder) []pages.MessageDue {
	var out []pages.MessageDue
	for _, r := range list {
		if r.Staff != "" {
			continue
		}
		what := strings.ReplaceAll(r.Kind, "_", " ")
		if r.State != store.Waiting {
			what += ", " + strings.ReplaceAll(string(r.State), "_", " ")
		}
		out = append(out, pages.MessageDue{At: r.Due.In(loc), How: by, What: what})
	}
	return out
}
