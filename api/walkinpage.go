package api

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// walkedIn is the parameter of the board that says who has just walked in.
const walkedIn = "came"

// walkInForm is the form of the day that x shows.
func (s *Server) walkInForm(ctx context.Context, x *dayView, typed pages.WalkIn, came string) (*pages.WalkIn, error) {
	typed.Action = "/walk-in"
	typed.Key = cmp.Or(typed.Key, store.NewID())
	err := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		rows, err := t.Services(ctx)
		for _, r := range rows {
			switch {
			case needsHair(r.Service):
			case n.testsSkin(r): // of somebody who is not known no test can be on record
				typed.Tested = append(typed.Tested, r.Name)
			default:
				typed.Services = append(typed.Services, pages.Option{ID: r.ID, Name: r.Name})
			}
		}
		return err
	})
	for _, v := range x.visits {
		if v.ID == came && v.State == store.Arrived {
			typed.Done = fmt.Sprintf("%s is here: %s from %s with %s, %s.", v.Title, serviceNames(v), v.Start.In(x.n.loc).Format("15:04"),
				x.names[v.Lead()], x.names[v.Chair])
		}
	}
	return &typed, err
}

// walkInPage books what the form of the board asks for and shows the board
// again. A second press gives what the first one booked.
func (s *Server) walkInPage(c echo.Context) error {
	ctx := c.Request().Context()
	form, err := c.FormParams()
	if err != nil {
		return message(c, http.StatusBadRequest, "The form could not be read", "Go back and try once more.")
	}
	typed := pages.ReadWalkIn(keepable(form))
	b := WalkInRequest{ServiceID: typed.Service, GivenName: typed.Name}
	var id string
	err = secondPress(ctx, func() (err error) { id, err = s.pressWalkIn(ctx, typed, b); return err })
	if err == nil {
		return c.Redirect(http.StatusSeeOther, "/?"+url.Values{walkedIn: {id}}.Encode())
	}
	if is(err, store.ErrKeyReused) {
		err = conflict("this form has booked somebody already: look at the day; press once more for another one")
		typed.Key = ""
	}
	p := problem(ctx, s.withFirstToday(ctx, err, b))
	if p.Status >= http.StatusInternalServerError {
		return sorry(c, p)
	}
	typed.Error = walkInWords(p)
	return s.showBoard(c, p.Status, typed)
}

// pressWalkIn is one try to carry out the form.
func (s *Server) pressWalkIn(ctx context.Context, typed pages.WalkIn, b WalkInRequest) (id string, err error) {
	if typed.Key == "" || len(typed.Key) > longestKey {
		return "", &scheduling.InvalidError{Problem: "the form lacks its key", Want: "the form as the board shows it"}
	}
	call := store.Call{Principal: "page", Method: http.MethodPost, Route: "/walk-in", Key: typed.Key,
		Fingerprint: fingerprint(fmt.Sprintf("%q %q", b.ServiceID, b.GivenName))}
	err = s.inTx(ctx, func(t *store.Tx) error {
		old, again, err := t.Begin(ctx, call)
		if err != nil {
			return err
		}
		if again {
			id = old.Location
			return nil
		}
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		v, err := s.walkIn(ctx, t, n, b)
		if err != nil {
			return err
		}
		id = v.ID
		return t.End(call, store.Answer{Status: http.StatusCreated, Location: v.ID, Body: []byte("null")})
	})
	return id, err
}

// whoSetsUp says where it is entered what a salon lacks.
const whoSetsUp = "The owner enters that under Set-up."

// walkInWords says what is wrong in the words of the form.
func walkInWords(p *Problem) string {
	for _, e := range p.Errors {
		switch e.Pointer {
		case "/service_id":
			return "Choose what she walked in for."
		case "/given_name":
			return "Type a first name of up to 40 letters."
		case "/services":
			if lacks, ok := strings.CutPrefix(e.Detail, neverPlaced); ok {
				return "Nothing can be booked yet. The salon lacks: " + lacks + ". " + whoSetsUp
			}
		}
	}
	return cmp.Or(SkinTestFirst(p), p.Detail, p.Title)
}

// SkinTestFirst says of a walk-in that was refused because no skin test can count
// for it what to do instead, "" when it was refused for something else.
func SkinTestFirst(p *Problem) string {
	if !slices.ContainsFunc(p.Cautions, func(x CautionBody) bool { return x.Code == chairtime.CautionPatchTest }) {
		return ""
	}
	return "This needs a skin test beforehand: book it under her name, where the page says what counts."
}
