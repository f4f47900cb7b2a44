package pages

import (
	"bytes"
	"errors"
	"html"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
)

func straighteningVisit() VisitPage {
	return VisitPage{
		Salon: "Corner Salon", BoardHref: "/?date=2026-06-11", Client: "Abeo K.", Services: []VisitService{{"Straightening", "Ada"}, {"Dry cut", "Bo"}}, State: "booked",
		Start: on11June(9, 0), End: on11June(13, 30), DryUntil: ptr(on11June(13, 30).Add(48 * time.Hour)), Chair: "chair 1",
		Price: "180.00 EUR", ApprovedBy: "Ada B.", Location: london, Chemical: true,
		StillNeeded: []string{"a skin test, done by Tue 9 June 09:00"},
		Cautions:    []Caution{{CautionNeedsYes, "Damaged hair: a strand test first."}},
		Steps: []VisitStep{
			{on11June(9, 0), on11June(9, 18), "consultation", []string{"Ada"}, "chair 1", []string{"Look at the scalp <first>."}},
			{on11June(9, 18), on11June(9, 29), "wash", []string{"Mina"}, "basin 1", nil},
			{on11June(9, 39), on11June(10, 39), "colour working", nil, "chair 1", nil},
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
		"<h1>Abeo K., Thu 11 June, 09:00 to 13:30</h1>", `<a href="/?date=2026-06-11">Day board</a>`,
		"Straightening with Ada in charge; Dry cut with Bo in charge, chair 1.", "The visit is booked. Price: 180.00 EUR. Dry and untied until Sat 13 June 13:30.",
		"<p>Yes by Ada B.</p>", `<td>09:18 to 09:29</td><th scope="row">wash</th><td>Mina</td><td>basin 1</td>`,
		`<tr class="wait"><td>09:29 to 09:39</td><td colspan="3">waits 10 min</td></tr>`, "<td>nobody is needed</td><td>chair 1</td>",
		"<b>Needs the licensed person&#39;s yes:</b> Damaged hair", "<li>a skin test, done by Tue 9 June 09:00</li>", "<td>Tue 9 June 09:00</td><td>call</td><td>reminder</td>",
	} {
		require.Contains(t, out, want)
	}
}

func TestTheSafetyLineStandsOnlyWhereChemicalsAreUsed(t *testing.T) {
	line := html.EscapeString(chairtime.SafetyLine)
	for _, chemical := range []bool{true, false} {
		visit, est, done := straighteningVisit(), estimated(), booked()
		visit.Chemical, est.Estimate.Chemical, done.Booked.Chemical = chemical, chemical, chemical
		for name, out := range map[string]string{"visit": visitPage(t, visit), "estimate": string(bookPage(t, est)), "booked": string(bookPage(t, done))} {
			require.Equal(t, chemical, strings.Contains(out, line), name)
		}
	}
}

func TestAVisitOverMidnightSaysOnWhichDayItEnds(t *testing.T) {
	p := straighteningVisit()
	p.End, p.Messages, p.NoMessages = p.End.Add(12*time.Hour), nil, "none are wished for"
	require.Contains(t, visitPage(t, p), "<h1>Abeo K., Thu 11 June, 09:00 to Fri 12 June 01:30</h1>")
	require.Contains(t, visitPage(t, p), "<p>No message goes out: none are wished for.</p>")
}

func TestHostileWordsStayTextOnTheVisitPage(t *testing.T) {
	for _, s := range hostile {
		p := straighteningVisit()
		p.Salon, p.Client, p.State, p.Chair, p.Price, p.ApprovedBy, p.Note, p.NoMessages = s, s, s, s, s, s, s, s
		p.Steps[0].Label, p.Steps[0].Who, p.Steps[0].Where, p.Messages[0].What = s, []string{s}, s, s
		p.Services, p.StillNeeded, p.Cautions = []VisitService{{s, s}}, []string{s}, []Caution{{CautionLevel(s), s}}
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
