package pages

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func answerPage(t *testing.T, p AnswerPage) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, RenderAnswer(&b, p))
	return b.String()
}

// toAnswer is the page of a reminder.
func toAnswer() AnswerPage {
	return AnswerPage{Salon: "Harbour Chairs", Phone: "+4930901820", Href: "/m/m_harbourxxx_abc", Location: mustZone("Europe/London"),
		Visit: &AnswerVisit{Start: on11June(9, 30)},
		Topics: []AnswerTopic{{Key: "like", Words: "messages about how to prepare, and reminders of a visit"},
			{Key: "way", Words: "all emails"}}}
}

func TestAnAnswerIsAButtonAndNeverALink(t *testing.T) {
	page := answerPage(t, toAnswer())
	require.Contains(t, page, `<form method="post" action="/m/m_harbourxxx_abc/yes">`)
	require.Contains(t, page, `name="start" value="2026-06-11T08:30:00Z"`)
	require.Contains(t, page, "Thu 11 June, 09:30")
	require.Equal(t, 2, strings.Count(page, `action="/m/m_harbourxxx_abc/stop"`))
	require.Contains(t, page, `<meta name="referrer" content="no-referrer">`)
	require.Contains(t, page, "noindex")
	require.NotContains(t, page, "<script")
	for _, link := range strings.Split(page, "<a ")[1:] {
		require.True(t, strings.HasPrefix(link, `href="tel:`), link)
	}
}

func TestAnAnswerPageSaysWhatIsSo(t *testing.T) {
	p := toAnswer()
	p.Visit.SaidYes = ptr(on11June(8, 0))
	p.Done = "Thank you, we look forward to seeing you."
	page := answerPage(t, p)
	require.Contains(t, page, `role="status">Thank you`)
	require.NotContains(t, page, "/yes\"")
	p.Visit, p.StillTold, p.Topics[1].Stopped = &AnswerVisit{Start: on11June(9, 30), State: "cancelled"}, true, ptr(on11June(8, 0))
	page = answerPage(t, p)
	require.Contains(t, page, "This visit is cancelled")
	require.Contains(t, page, "Stopped on Thu 11 June 2026")
	require.Contains(t, page, `action="/m/m_harbourxxx_abc/again"`)
	require.Contains(t, page, "we call you instead")
	p.Visit = nil
	require.NotContains(t, answerPage(t, p), "11 June,")
}

func TestHostileWordsStayTextOnTheAnswerPage(t *testing.T) {
	p := toAnswer()
	p.Salon, p.Phone, p.Done = `<script>x</script>`, `"><img src=x>`, "a\u202eb\x00c"
	page := answerPage(t, p)
	require.NotContains(t, page, "<script")
	require.NotContains(t, page, "<img")
	require.NotContains(t, page, "\u202e")
	p.Href = "//evil.example"
	require.Error(t, RenderAnswer(&bytes.Buffer{}, p))
	require.Error(t, RenderAnswer(brokenWriter{}, toAnswer()))
}

func TestTheAnswerPageInABrowser(t *testing.T) {
	stopped := toAnswer()
	stopped.Topics[0].Stopped = ptr(time.Date(2026, 6, 10, 8, 0, 0, 0, time.UTC))
	stopped.Done = "Stopped. You get no more of these messages."
	b := newBrowser(t, map[string][]byte{"/ask": []byte(answerPage(t, toAnswer())), "/stopped": []byte(answerPage(t, stopped))})
	for _, path := range []string{"/ask", "/stopped"} {
		b.open(t, path, 320, 700)
		require.Equal(t, "true", b.Eval(`String(document.documentElement.scrollWidth <= 320)`), "nothing is cut off on a small telephone")
		require.GreaterOrEqual(t, b.Number(`Math.min(...[...document.querySelectorAll("button")].map(x => x.getBoundingClientRect().height))`), 24.0, "WCAG 2.2, 2.5.8")
		require.Equal(t, "1", b.Eval(`String(document.querySelectorAll("h1").length)`))
		b.shot(t, "answer"+strings.ReplaceAll(path, "/", "-"))
	}
	b.open(t, "/ask", 800, 600)
	b.Keys("\t")
	require.Equal(t, "Yes, I am coming", b.Eval(`document.activeElement.textContent`), "the first thing that a key reaches")
	b.Quiet()
}
