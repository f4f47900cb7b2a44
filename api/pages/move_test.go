package pages

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

// moved is the page of a visit for which a time was chosen.
func moved() MovePage {
	o := OpeningView{ID: "1-p2", Start: on11June(9, 0).AddDate(0, 0, 1), End: on11June(13, 30).AddDate(0, 0, 1), With: "Bo", Chair: "chair 2", DryUntil: ptr(on11June(13, 30).Add(72 * time.Hour))}
	return MovePage{Salon: "Corner Salon", Location: london, Visit: "Abeo K., Straightening", VisitHref: "/visits/1", Action: "/visits/1/move", Version: 3,
		Start: on11June(9, 0), End: on11June(13, 30), With: "Ada", Chair: "chair 1", DateFrom: "2026-06-11", Stylists: []Option{{"p1", "Ada"}, {"p2", "Bo"}},
		Openings: []OpeningView{o}, LaterFrom: "2026-06-13", MoreOpenings: true, AsksYes: true, Together: true,
		Errors: []FieldError{{FieldApprovedBy, "choose who said yes"}, {"", "somebody has it"}},
		Preview: &MovePreview{Opening: o, Rows: []MoveRow{{"Begins", "Thu", "Fri"}}, Same: []string{"The price stays € 180."}, Chemical: true,
			Messages: []MessageDue{{on11June(8, 0), "mail", "moved"}}}}
}

func movePage(t testing.TB, p MovePage) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, RenderMove(&b, p))
	return b.String()
}

func TestAMoveSaysWhatChangesBeforeItIsMade(t *testing.T) {
	out := movePage(t, moved())
	for _, words := range []string{"Now: Thu 11 June 09:00 with Ada, chair 1, ends 13:30.", "Fri 12 June 09:00 with Bo, chair 2, ends 13:30; dry and untied until Sun 13:30: does that suit?",
		`<th scope="row">Begins</th><td>Thu</td><td>Fri</td>`, "The price stays € 180.", "Thu 11 June 08:00, mail: moved", `value="move:1-p2">Move it`, `value="show:1-p2"`,
		`<input type="hidden" name="version" value="3">`, "Licensed person who said yes: choose who said yes", "Let it leave the visits it belongs to", `value="later:2026-06-13">Later days, from Sat 13 June`} {
		require.Contains(t, out, words)
	}
	require.Equal(t, 1, strings.Count(out, "autofocus"))
	p := moved()
	p.Preview, p.Errors = nil, nil
	out = movePage(t, p)
	lacks(t, out, "Move it")
	require.Contains(t, out, `id="openings" tabindex="-1" autofocus`)
	require.Contains(t, out, `value="only:">With anybody`)
	lacks(t, out, "whoever has it now")
	p.Spread, p.Stylist = true, AnyStylist
	out = movePage(t, p)
	require.Contains(t, out, "whoever has it now")
	lacks(t, out, "With anybody")
	p.Openings = nil
	require.Contains(t, movePage(t, p), "Nothing fits in the days searched.")
	p.Kept, p.StartDay, p.StartAt = true, "2026-06-12", "14:30"
	out = movePage(t, p)
	require.Contains(t, out, `value="keep">Move it`)
	require.Contains(t, out, `value="14:30"`)
	lacks(t, out, "Times that fit")
}

func TestHostileWordsStayTextOnThePageThatMoves(t *testing.T) {
	for _, s := range hostile {
		p := moved()
		p.Salon, p.Visit, p.With, p.DateFrom, p.Stylist, p.ApprovedBy, p.NoOpenings = s, s, s, s, s, s, s
		p.Preview.Rows[0] = MoveRow{s, s, s}
		p.Preview.Same, p.Preview.Messages[0].What, p.Preview.Opening.With, p.Openings[0].Why = []string{s}, s, s, s
		p.Errors = []FieldError{{s, s}}
		p.Cautions = []Caution{{Level: CautionLevel(s), Text: s}}
		out := strings.ReplaceAll(movePage(t, p), `<script src="/assets/`, "") // the page's own
		for _, bad := range []string{"<script", "<img", "<style", "<!--", " style=", " onmouseover='"} {
			lacks(t, out, bad)
		}
	}
}

func TestAMoveCannotLeadElsewhere(t *testing.T) {
	for field, change := range map[string]func(*MovePage){
		"visit_href":     func(p *MovePage) { p.VisitHref = "//x" },
		"action":         func(p *MovePage) { p.Action = "https://x.example" },
		"openings[0].id": func(p *MovePage) { p.Openings[0].ID = "a b" },
	} {
		p := moved()
		change(&p)
		faults, ok := errors.AsType[scheduling.Faults](RenderMove(io.Discard, p))
		require.True(t, ok, field)
		require.Equal(t, field, faults[0].Field)
	}
	require.ErrorIs(t, RenderMove(brokenWriter{}, moved()), errGone)
}
