package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/card"
	"chairblock/store"
)

// CardsAnswer is every record card of one client, for the client to take along
// or for whoever looks after her next.
type CardsAnswer struct {
	ClientID   string     `json:"client_id"`
	Name       string     `json:"name"`
	ExportedAt time.Time  `json:"exported_at"`
	Cards      []CardBody `json:"cards" nullable:"false" doc:"Newest first, with everything that was ever written on them"`
}

func (s *Server) cardExportRoutes() {
	route(s, huma.Operation{OperationID: "export-cards", Method: http.MethodGet, Path: "/clients/{id}/cards",
		Summary: "Every record card of a client, with what was corrected"}, s.exportCards)
}

func (s *Server) exportCards(ctx context.Context, in *ByID) (*found[CardsAnswer], error) {
	var out CardsAnswer
	stops := false
	err := s.read(ctx, func(t *store.Tx) error {
		client, list, err := clientCards(ctx, t, in.ID)
		if err != nil {
			return err
		}
		out = CardsAnswer{ClientID: client.ID, Name: clientName(client), Cards: []CardBody{}}
		names, err := unitNames(ctx, t)
		if err != nil {
			return err
		}
		loc, err := zone(ctx, t)
		if err != nil {
			return err
		}
		out.ExportedAt = s.now().In(loc)
		ctx, err := healthOf(ctx, t, in.ID)
		for _, x := range list {
			b := x.body(names, s.now(), seesHealth(ctx))
			stops = stops || b.Stopped != nil
			out.Cards = append(out.Cards, b)
		}
		return err
	})
	if err == nil && stops {
		err = s.noteStops(ctx, in.ID)
	}
	return &found[CardsAnswer]{Body: out}, err
}

// clientCards reads the cards of all visits of a client that have begun, newest
// first.
func clientCards(ctx context.Context, t *store.Tx, id string) (store.Client, []*cardOf, error) {
	client, err := t.ClientByID(ctx, id)
	if err != nil {
		return client, nil, err
	}
	n, err := loadSalon(ctx, t)
	if err != nil {
		return client, nil, err
	}
	visits, err := t.VisitsOfClient(ctx, id)
	if err != nil {
		return client, nil, err
	}
	byID := map[string]store.Card{}
	ids := make([]string, len(visits))
	for i, v := range visits {
		ids[i] = v.ID
	}
	rows, err := t.Cards(ctx, ids)
	if err != nil {
		return client, nil, err
	}
	for _, r := range rows {
		byID[r.Visit] = r
	}
	var out []*cardOf
	for _, v := range visits {
		row := byID[v.ID]
		begun := v.State == store.Arrived || v.State == store.UnderWay || v.State == store.Finished || v.State == store.StoppedEarly
		if !begun && len(row.Facts) == 0 || isKept(v) {
			continue
		}
		x, err := readCard(ctx, t, n, v, row)
		if err != nil {
			return client, nil, err
		}
		out = append(out, x)
	}
	return client, out, nil
}

// cardsPage shows every record card of a client, to be read and printed.
func (s *Server) cardsPage(c echo.Context) error {
	ctx := c.Request().Context()
	var page pages.CardsPage
	stops := false
	err := s.read(ctx, func(t *store.Tx) error {
		client, list, err := clientCards(ctx, t, c.Param("id"))
		if err != nil {
			return err
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		names, err := unitNames(ctx, t)
		if err != nil {
			return err
		}
		ctx, err := healthOf(ctx, t, client.ID)
		page = pages.CardsPage{Salon: n.row.Name, Client: clientName(client), AsOf: s.now().In(n.loc), Location: n.loc}
		for _, x := range list {
			sheet := x.sheet(names, s.now(), seesHealth(ctx))
			stops = stops || len(sheet.Stopped) > 0
			page.Cards = append(page.Cards, sheet)
		}
		return err
	})
	if err == nil && stops {
		err = s.noteStops(ctx, c.Param("id"))
	}
	if err != nil {
		return sorry(c, err)
	}
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	c.Response().WriteHeader(http.StatusOK)
	return pages.RenderCards(c.Response(), page)
}

// sheet is the card for the page.
func (x *cardOf) sheet(names map[string]string, now time.Time, stops bool) pages.CardSheet {
	b := x.body(names, now, stops)
	p := pages.CardSheet{Start: realStart(x.v), End: realEnd(x.v), Services: strings.Join(b.Services, ", "), Lead: b.Lead, State: stateWords(x.v, x.n.loc)}
	if b.Hair != nil {
		p.Hair = hairWords(*b.Hair)
		if !x.seen {
			p.Hair += " (as booked, nobody noted how it was seen)"
		}
	}
	if b.ParentAs != "" {
		p.Follows = map[string]string{store.FirstWashCheck: "first wash check", store.Correction: "correction"}[b.ParentAs]
	}
	for _, st := range b.Steps {
		row := pages.CardStep{Label: st.Label, PlannedMinutes: st.PlannedMinutes, From: st.RealStart, To: st.RealEnd, Minutes: st.RealMinutes,
			GuessedFrom: slices.Contains(st.Inferred, "real_start"), GuessedTo: slices.Contains(st.Inferred, "real_end")}
		p.Steps = append(p.Steps, row)
	}
	for _, r := range b.Product {
		p.Product = append(p.Product, pages.CardProduct{What: r.Product, From: r.FirstStrand, To: r.Off, Minutes: r.Minutes, Guessed: r.Inferred})
	}
	for _, k := range b.Facts {
		p.Facts = append(p.Facts, pages.CardFact{At: k.At, Words: k.Words, By: k.NotedBy, Noted: k.NotedAt, Replaced: k.ReplacedBy != "", Corrects: k.Replaces != ""})
	}
	for _, f := range b.Flags {
		flag := pages.CardFlag{Level: card.Level(f.Level).Words(), Words: f.Words}
		for _, r := range f.Reasons {
			flag.Reasons = append(flag.Reasons, r.Text+" ("+r.By+")")
		}
		p.Flags = append(p.Flags, flag)
	}
	for _, q := range b.Open {
		p.Open = append(p.Open, q.Words)
	}
	if b.Stopped != nil {
		p.Stopped = stopWords(*b.Stopped, x.n)
	}
	return p
}

// hairWords says hair in the words of screens.
func hairWords(h HeadBody) string {
	s := fmt.Sprintf("%s cm, %s, each hair %s, %s", scheduling.Number(h.LengthCM), amountWords[h.Density], h.Strand, porosityWords[h.Porosity])
	if h.Damaged {
		s += ", damaged"
	}
	if h.RegrowthCM > 0 {
		s += ", new hair " + scheduling.Number(h.RegrowthCM) + " cm"
	}
	return s
}

var (
	amountWords   = map[string]string{"low": "little hair", "medium": "average", "high": "a lot of hair"}
	porosityWords = map[string]string{"low": "resistant", "normal": "neither resistant nor porous", "high": "porous"}
)

var stopReasons = map[string]string{"skin": "skin reacted", "eyes": "something in the eyes", "breathing": "trouble breathing", "unwell": "the client was unwell",
	"hair_too_weak": "hair too weak", "hair_snapped": "hair snapped", "client_wished": "the client wished it", "product": "the product", "equipment": "a device failed",
	"other": "another reason"}

var stopOutcomes = map[string]string{"rinsed": "rinsed", "rinsed_and_neutralized": "rinsed and neutralized", "nothing_was_on": "no product was on",
	"sent_to_doctor": "sent to a doctor", "emergency_called": "emergency called", "other": "otherwise"}

// stopWords says why a visit was stopped.
func stopWords(b StopBody, n salonDay) []string {
	out := []string{"Stopped at " + clockAt(n, b.At) + ": " + stopReasons[b.Reason] + ". Outcome: " + stopOutcomes[b.Outcome] + "."}
	if b.Reason == "" {
		out[0] = "Stopped at " + clockAt(n, b.At) + "; why is not kept or cannot be read now."
	}
	if b.Detail != "" {
		out = append(out, b.Detail)
	}
	if len(b.Told) > 0 {
		out = append(out, "Told: "+strings.Join(b.Told, ", ")+".")
	}
	out = append(out, b.Licensed+" decided; noted by "+b.NotedBy+".")
	if b.ClearedAt != nil {
		out = append(out, strings.TrimSpace("What follows was cleared by "+b.ClearedBy+" on "+b.ClearedAt.Format("2 January 15:04")+". "+b.ClearedWhy))
	} else {
		out = append(out, "What follows is not cleared yet.")
	}
	return out
}

// realStart is when the first step that anything is known of began, and the
// planned start as long as nothing is: a client who comes early can be done
// before the planned start.
func realStart(v store.Visit) time.Time {
	for _, st := range v.Steps {
		if st.RealStart != nil {
			return *st.RealStart
		}
	}
	return v.Start
}
