package api

import (
	"context"
	"slices"

	"github.com/labstack/echo/v4"

	"chairblock/scheduling"
)

// mountLive adds the stream for pages to those of a group.
func (s *Server) mountLive(page *PageRoutes) {
	page.GET("/events", s.watchPage, s.signedIn("watch-salon"))
}

// watchPage is the stream for a page of whoever is signed in, for as long as she
// is.
func (s *Server) watchPage(c echo.Context) error {
	w, loc, err := s.watch(c.Request().Context(), c.Request().Header.Get("Last-Event-ID"))
	if err != nil {
		return sorry(c, err)
	}
	defer w.Close()
	salon := principal(c.Request().Context()).Salon
	l := &listener{s: s, w: w, loc: loc, whose: "session:" + session(c.Request().Context()).Session, still: func(ctx context.Context) error {
		who, err := s.whoUsesIt(ctx, c)
		if err == nil && (who.Salon != salon || !slices.Contains(allowed["watch-salon"], who.Role)) {
			err = scheduling.ErrNotFound
		}
		return err
	}}
	_ = l.send(c) // as above
	return nil
}
