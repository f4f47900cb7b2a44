package api

import (
	"context"

	"chairblock/api/pages"
)

// Ways are the pages that whoever is signed in may open, with the one at here
// marked.
func Ways(ctx context.Context, here string) []pages.Way {
	var out []pages.Way
	for _, w := range []struct{ href, text, operation string }{
		{"/", "Day board", "list-calls"},
		{"/my-day", "My day", "get-card"},
		{"/book", "Book a visit", "book-visit"},
		{"/walk-in", "Walked in", "add-walk-in"},
		{"/to-do", "To do", "list-messages"},
		{"/clients", "Clients", "list-clients"},
		{"/waiting", "Waiting list", "list-waiting"},
		{"/set-up", "Set-up", "update-salon"},
	} {
		if May(ctx, w.operation) {
			out = append(out, pages.Way{Href: w.href, Text: w.text, Here: w.href == here})
		}
	}
	return out
}
