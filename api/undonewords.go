package api

import (
	"context"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
)

// UndoneParam is the parameter of an address that says what has just been undone. Its
// value is sealed: names of clients do not stand in addresses, and nobody makes a page
// say what was not done.
const UndoneParam = "undone"

// undoneSaid is how long a page says so (judgement: a page that is loaded again later
// is about something else).
const undoneSaid = 2 * time.Minute

const undonePurpose = "what was undone"

type undoneMark struct {
	Words string
	Whose string
	Until int64
}

// UndoneMark is the value of UndoneParam for words of UndoneBody. It is for whoever
// is signed in alone.
func (s *Server) UndoneMark(ctx context.Context, words string) string {
	mark, err := s.seal.close(ctx, undonePurpose, undoneMark{strings.TrimPrefix(words, undoneBefore), whoseMark(ctx), s.now().Add(undoneSaid).Unix()})
	if err != nil {
		return "yes"
	}
	return mark
}

// Undone is what a page says of UndoneParam, nothing without it.
func (s *Server) Undone(c echo.Context) pages.Undo {
	value := c.QueryParam(UndoneParam)
	if value == "" {
		return pages.Undo{}
	}
	ctx := c.Request().Context()
	var m undoneMark
	if err := s.seal.open(ctx, undonePurpose, value, &m); err != nil || m.Whose != whoseMark(ctx) {
		return pages.Undo{Done: true}
	}
	if s.now().Unix() > m.Until {
		return pages.Undo{}
	}
	return pages.Undo{Done: true, Words: m.Words}
}

func whoseMark(ctx context.Context) string { return principal(ctx).Salon + " " + PersonKey(ctx) }
