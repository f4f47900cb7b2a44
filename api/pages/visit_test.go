package pages

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func straighteningVisit() VisitPage {
	return VisitPage{
		Salon: "Corner Salon", BoardHref: "/?date=2026-06-11", Client: "Abeo K.", Service: "Straightening", State: "booked",
		Start: on11June(9, 0), End: on11June(13, 30), DryUntil: ptr(on11June(13, 30).Add(48 * time.Hour)), With: "Ada", Chair: "chair 1",
		Price: "180.00 EUR", ApprovedBy: "Ada B.", Location: london,
		Steps: []VisitStep{
			{on11June(9, 0), on11June(9, 18), "consultation", []string{"Ada"}},
			{on11June(9, 18), on11June(9, 29), "wash", []string{"Mina", "basin 1"}},
			{on11June(9, 29), on11June(10, 39), "colour working", nil},
		},
		Messages: []MessageDue{{on11June(9, 0).Add(-48 * time.Hour), "call", "reminder"}},
	}
}

func visitPage(t *testing.T, p VisitPage) string {
	t.Helper()
	var buf bytes.Buffer
	require.NoError(t, RenderVisit(&buf, p))
	return buf.String()
}

func TestAVisitSaysWhatWhenAndWithWhom(t *testing.T) {
	out := visitPage(t, straighteningVisit())
	for _, want := range []string{
		"<h1>Abeo K., Thu 11 June 09:00</h1>", `<a href="/?date=2026-06-11">Day board</a>`,
		"Straightening with Ada, chair 1, 09:00 to 13:30.", "The visit is booked. Price: 180.00 EUR. Dry and untied until Sat 13 June 13:30.",
		"Ada B. said yes to the cautions.", `<td>09:18</td><th scope="row">wash</th><td class="n">11 min</td><td>Mina, basin 1</td>`,
		`<td class="n">1 h 10 min</td><td></td>`, "<td>Tue 9 June 09:00</td><td>call</td><td>reminder</td>",
	} {
		require.Contains(t, out, want)
	}
}

func TestHostileWordsStayTextOnTheVisitPage(t *testing.T) {
	for _, s := range hostile {
		p := straighteningVisit()
		p.Salon, p.Client, p.Service, p.State, p.With, p.Chair, p.Price, p.ApprovedBy, p.Note = s, s, s, s, s, s, s, s, s
		p.Steps[0].Label, p.Steps[0].With, p.Messages[0].What = s, []string{s}, s
		for _, bad := range []string{"<script", "<img", "<style", "<!--", " style=", " onmouseover='"} {
			lacks(t, visitPage(t, p), bad)
		}
	}
}

func TestAVisitsLinkThatLeavesTheServerIsRefused(t *testing.T) {
	p := straighteningVisit()
	p.BoardHref = "https://example.org"
	faults, ok := errors.AsType[scheduling.Faults](RenderVisit(io.Discard, p))
	require.True(t, ok)
	require.Equal(t, "board_href", faults[0].Field)
}

func TestTheVisitPageInABrowser(t *testing.T) {
	b := newBrowser(t, map[string][]byte{"/visit": []byte(visitPage(t, straighteningVisit()))})
	b.open(t, "/visit", 320, 640)
	require.LessOrEqual(t, b.number(t, `document.documentElement.scrollWidth`), 320.0)
	b.shot(t, "visit-320")
	b.open(t, "/visit", 1200, 900)
	b.shot(t, "visit")
	b.quiet(t)
}
