package api

import (
	"bytes"
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/labstack/echo/v4"
	"github.com/nyaruka/phonenumbers"

	"chairblock/api/pages"
	"chairblock/store"
)

// mostMatches is how many clients the page lists (judgement: more are told apart by
// typing on).
const mostMatches = 8

// lookForClient lists the clients whom the typed name or number finds. One who is
// the only one is chosen; where there is nobody what was typed is who is new.
func (b *booking) lookForClient(ctx context.Context) error {
	v := &b.page.Fields
	v.Sought = v.Who
	if err := b.showClients(ctx, v.Who); err != nil {
		return err
	}
	switch {
	case len(b.page.Matches) == 1 && v.Client == "":
		v.Client = b.page.Matches[0].ID
	case len(b.page.Matches) == 0 && v.FirstName == "":
		b.sayWhoIsNew()
	}
	return nil
}

// sayWhoIsNew fills in the name or number of somebody new by whom nobody was found.
func (b *booking) sayWhoIsNew() {
	v := &b.page.Fields
	text := strings.TrimSpace(v.Who)
	switch {
	case strings.ContainsFunc(text, unicode.IsLetter):
		first, rest, _ := strings.Cut(text, " ")
		v.FirstName = first
		if v.Initial == "" {
			v.Initial = strings.TrimSpace(rest)
		}
	case v.Phone == "":
		v.Phone = text
	}
}

// showClients lists who is chosen, whom text finds, and who may be somebody new
// already.
func (b *booking) showClients(ctx context.Context, text string) error {
	v := b.page.Fields
	if b.page.Matches = nil; v.Client != "" {
		if err := b.showChosen(ctx, v.Client); err != nil {
			return err
		}
	}
	if strings.TrimSpace(text) != "" {
		list, err := b.t.FindClients(ctx, text, b.wholeNumber(text), b.s.now(), mostMatches+1)
		if err != nil {
			return err
		}
		b.page.MatchWords = foundWords(len(list))
		b.addMatches(list[:min(len(list), mostMatches)])
		return nil
	}
	if v.Client != "" || v.FirstName == "" && v.Phone == "" && v.Mail == "" {
		return nil
	}
	list, err := b.t.MaybeKnown(ctx, store.Client{GivenName: strings.TrimSpace(v.FirstName), FamilyName: strings.TrimSpace(v.Initial),
		Phone: b.wholeNumber(v.Phone), Mail: strings.TrimSpace(v.Mail)}, b.s.now(), mostMatches)
	if err != nil {
		return err
	}
	if len(list) > 0 {
		b.page.MatchWords = "Perhaps she is here already; one telephone number may serve many."
	}
	b.addMatches(list)
	return nil
}

func foundWords(n int) string {
	switch {
	case n == 0:
		return "Nobody found: fill in who is new."
	case n == 1:
		return "1 client found."
	case n > mostMatches:
		return "More than these: type on."
	}
	return strconv.Itoa(n) + " clients found."
}

// showChosen lists the chosen client first; one who is gone is shown as entered.
func (b *booking) showChosen(ctx context.Context, id string) error {
	c, err := b.t.ClientsByID(ctx, id)
	if err != nil {
		return err
	}
	if one, ok := c[id]; ok {
		b.addMatches([]store.FoundClient{{Client: one}})
	}
	return nil
}

func (b *booking) addMatches(list []store.FoundClient) {
	for _, c := range list {
		m := pages.ClientMatch{ID: c.ID, Name: shortName(c.Client)}
		if n := len(c.Phone); n > 4 {
			m.Phone = c.Phone[n-4:]
		}
		if c.Last != nil {
			m.Last = c.Last.In(b.n.loc).Format("2 January 2006")
		}
		if c.Next != nil {
			m.Next = c.Next.In(b.n.loc).Format("Mon 2 January 15:04")
		}
		if i := slices.IndexFunc(b.page.Matches, func(k pages.ClientMatch) bool { return k.ID == m.ID }); i >= 0 {
			b.page.Matches[i] = m
			continue
		}
		b.page.Matches = append(b.page.Matches, m)
	}
}

// wholeNumber is text as a telephone number in E.164, dialled from the salon's
// country where it names none; "" for what is no whole number.
func (b *booking) wholeNumber(text string) string {
	n, err := phonenumbers.Parse(strings.TrimSpace(text), b.region())
	if err != nil || !phonenumbers.IsValidNumber(n) {
		return ""
	}
	return phonenumbers.Format(n, phonenumbers.E164)
}

// region is the country of the salon's own number, "" where it has none.
func (b *booking) region() string { return regionOf(b.n.row.Phone) }

// bookPart answers with a part of the booking page for the form as it stands.
func (s *Server) bookPart(part func(ctx context.Context, b *booking, into *bytes.Buffer) error) echo.HandlerFunc {
	return func(c echo.Context) error {
		ctx := c.Request().Context()
		form, err := c.FormParams()
		if err != nil {
			return c.NoContent(http.StatusBadRequest)
		}
		var out bytes.Buffer
		err = s.store.Read(ctx, principal(ctx).Salon, func(t *store.Tx) error {
			out.Reset()
			n, err := loadSalon(ctx, t)
			if err != nil {
				return err
			}
			b := &booking{s: s, t: t, n: n, form: keepable(form)}
			b.page.Location, b.page.Inches = n.loc, n.time.Units.Inches
			b.page.Fields = pages.ReadBookFields(b.form)
			return part(ctx, b, &out)
		})
		if err != nil {
			return sorry(c, err)
		}
		if out.Len() == 0 {
			return c.NoContent(http.StatusNoContent)
		}
		return c.HTMLBlob(http.StatusOK, out.Bytes())
	}
}

// matchesPart lists clients while a name is typed.
func matchesPart(ctx context.Context, b *booking, into *bytes.Buffer) error {
	b.page.Fields.Sought = b.page.Fields.Who
	if err := b.showClients(ctx, b.page.Fields.Who); err != nil {
		return err
	}
	return pages.RenderMatches(into, b.page)
}

// hairPart draws the hair while its figures are typed, nothing as long as they
// cannot be drawn.
func hairPart(_ context.Context, b *booking, into *bytes.Buffer) error {
	h := b.drawing()
	if h == nil {
		return nil
	}
	if svg, err := h.SVG(); err == nil {
		into.WriteString(svg)
	}
	return nil
}
