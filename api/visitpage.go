package api

import (
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// visitPage shows a visit with its steps and messages.
func (s *Server) visitPage(c echo.Context) error {
	ctx := c.Request().Context()
	var page pages.VisitPage
	err := s.inTx(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err := t.VisitByID(ctx, c.Param("id"))
		if err != nil {
			return err
		}
		page, err = describeVisit(ctx, t, n, v)
		return err
	})
	if err != nil {
		return sorry(c, err)
	}
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	c.Response().WriteHeader(http.StatusOK)
	return pages.RenderVisit(c.Response(), page)
}

func describeVisit(ctx context.Context, t *store.Tx, n salonDay, v store.Visit) (pages.VisitPage, error) {
	client, err := t.ClientByID(ctx, v.Client)
	if err != nil {
		return pages.VisitPage{}, err
	}
	names, err := unitNames(ctx, t)
	if err != nil {
		return pages.VisitPage{}, err
	}
	reminders, err := t.RemindersOf(ctx, v.ID)
	if err != nil {
		return pages.VisitPage{}, err
	}
	body := writeVisit(v, n.loc, nil)
	p := pages.VisitPage{Salon: n.row.Name, BoardHref: boardOf(n, v), Client: clientName(client), Service: serviceNames(v), State: words(v.State),
		Start: body.Start, End: body.End, DryUntil: body.KeepDryUntil, With: names[v.Services[0].Lead], Chair: names[v.Chair],
		Price: price(v.PriceCents, n.row.Currency), ApprovedBy: v.ApprovedBy, Note: v.Note, Messages: messages(n.loc, client, reminders),
		Location: n.loc}
	for _, st := range v.Steps {
		p.Steps = append(p.Steps, pages.VisitStep{Start: st.Start, End: st.End, Label: st.Label, With: hands(st, names)})
	}
	return p, nil
}

// hands names the people of a step, then its basin. The chair is the same in
// every step.
func hands(st store.VisitStep, names map[string]string) []string {
	var people, basins []string
	for _, u := range st.Units {
		switch u.Role {
		case openings.RoleChair:
		case openings.RoleBasin:
			basins = append(basins, names[u.Unit])
		default:
			people = append(people, names[u.Unit])
		}
	}
	return slices.Concat(people, basins)
}

// boardOf is the board of the visit's day.
func boardOf(n salonDay, v store.Visit) string {
	return "/?date=" + scheduling.CivilDate(v.Start, n.loc).String()
}

func clientName(c store.Client) string { return strings.TrimSpace(c.GivenName + " " + c.FamilyName) }

// messages says what became of every message, or that it waits for its time.
func messages(loc *time.Location, client store.Client, list []store.Reminder) []pages.MessageDue {
	var out []pages.MessageDue
	for _, r := range list {
		what := strings.ReplaceAll(r.Kind, "_", " ")
		if r.State != store.Waiting {
			what += ", " + strings.ReplaceAll(string(r.State), "_", " ")
		}
		out = append(out, pages.MessageDue{At: r.Due.In(loc), How: client.ContactBy, What: what})
	}
	return out
}
