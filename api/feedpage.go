package api

import (
	"bytes"
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/store"
)

// What a calendar shows, by its kind, and how late it may be.
var (
	aboutFeed = map[string][]string{
		store.FeedStaff:   {"It shows what you do and watch, step by step, and when you are free in between. Clients stand in it with their initials only."},
		store.FeedStation: {"It shows when the place is in use, for which service and by whom. Clients stand in it with their initials only."},
		store.FeedClient:  {"It shows your appointments, how long your hair stays dry and untied afterwards, and when it may be time to come again."},
		store.FeedSalon:   {"It shows every visit with its service, chair and stylist in charge. Clients stand in it with their initials only."},
	}
	lateFeed = "Your phone or computer fetches the calendar when it likes: some look every few minutes, many only every 8 to 24 hours."
	lateFor  = map[string]string{
		store.FeedClient: "We tell you about changes ourselves; for the day itself count on our message, not on this calendar.",
	}
	lateForWork = "For today the day page of the salon counts, not this calendar."
)

// feedPage helps somebody to subscribe to a calendar.
func (s *Server) feedPage(c echo.Context, f store.FeedState, secret string) error {
	name, err := s.nameOfFeed(c.Request().Context(), f)
	if err != nil {
		return err
	}
	late := lateFor[f.Kind]
	if late == "" {
		late = lateForWork
	}
	var out bytes.Buffer
	err = pages.RenderFeed(&out, pages.FeedPage{Name: name, About: aboutFeed[f.Kind], Late: []string{lateFeed, late},
		Webcal: s.webcalURL(secret), Address: s.FeedURL(secret)})
	if err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set("Content-Security-Policy", pages.ContentSecurityPolicy)
	h.Set("X-Robots-Tag", "noindex, nofollow")
	return c.Blob(http.StatusOK, echo.MIMETextHTMLCharsetUTF8, out.Bytes())
}

// noFeedPage says that an address leads nowhere, whether it ever did or not.
func noFeedPage(c echo.Context) error {
	c.Response().Header().Set("Content-Security-Policy", pages.ContentSecurityPolicy)
	c.Response().Header().Set("X-Robots-Tag", "noindex, nofollow")
	return message(c, http.StatusNotFound, "This address does not work", "It was changed or ended. Ask the salon for a new one.")
}

// nameOfFeed is how a calendar is called; a client's names nobody.
func (s *Server) nameOfFeed(ctx context.Context, f store.FeedState) (string, error) {
	name := ""
	err := s.store.Read(ctx, f.Salon, func(t *store.Tx) error {
		n, err := t.SalonRow(ctx)
		if err != nil {
			return err
		}
		x := feedOf{n: salonDay{row: n}}
		switch f.Kind {
		case store.FeedClient:
			name = "Your appointments at " + n.Name
		case store.FeedSalon:
			name = x.ofSalon()
		default:
			var names map[string]string
			if names, err = t.UnitNames(ctx, f.Subject); err == nil {
				name = x.at(names[f.Subject])
			}
		}
		return err
	})
	return name, err
}
