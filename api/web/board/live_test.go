package board_test

import (
	"bytes"
	"net/http"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"

	"chairblock/api/chromium"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

// drawn is the text of the drawing.
const drawn = `document.querySelector(".drawing").textContent`

func TestTheBoardFollowsTheDayAndKeepsWhatIsTyped(t *testing.T) {
	s := salon(t)
	first := cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(15, 0))
	s.At(monday(14, 50))
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	b.Until("it listens", `performance.getEntriesByType("resource").some((r) => r.name.includes("part=day"))`)
	require.Equal(t, "as of 14:50", b.Eval(`document.getElementById("asof").textContent`))
	b.Fill(map[string]string{"walk_name": "Vida"})
	b.Fill(map[string]string{"walk_service": "Dry cut"})
	b.Eval(`document.querySelector('.drawing a[href="/visits/` + first.ID + `"]').focus(); window.kept = document.getElementById("f-walk_name"); ""`)
	b.Window(700+320, 700)
	b.Eval(`document.querySelector(".drawing").scrollLeft = 120; window.scrollTo(0, 90); ""`)
	require.NotContains(t, b.Eval(drawn), "M. Q.")
	begun := time.Now()
	v := cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(16, 0))
	b.Until("the booking is drawn", drawn+`.includes("M. Q.")`)
	t.Logf("drawn %v after the request to book it was sent", time.Since(begun))
	require.Equal(t, "Vida", b.Value("walk_name"))
	require.NotEmpty(t, b.Value("walk_service"))
	require.Equal(t, "/visits/"+first.ID, b.Eval(`document.activeElement.getAttribute("href")`), "the focus stays")
	require.Equal(t, "120", b.Eval(`String(document.querySelector(".drawing").scrollLeft)`))
	require.Equal(t, "true", b.Eval(`String(window.kept === document.getElementById("f-walk_name"))`), "nothing was loaded anew")
	require.Contains(t, b.Eval(`document.querySelector(".list").textContent`), "M. Q.")
	require.Equal(t, "1", b.Eval(`String(document.querySelectorAll('.drawing a[tabindex="0"]').length)`), "one stop for the Tab key")
	b.Keys(kb.ArrowRight)
	require.Equal(t, "/visits/"+v.ID, b.Eval(`document.activeElement.getAttribute("href")`))

	// Another browser, and another day.
	b.Window(1280, 900)
	s.Ask(http.MethodPost, "/absences", webtest.Object{"unit_id": s.Ben, "from": monday(16, 0), "to": monday(18, 0)}, http.StatusCreated, nil)
	b.Until("the conflict is said", `document.querySelector(".conflicts") !== null`)
	s.At(monday(15, 20))
	_, tag := visit(s, first.ID)
	s.Ask(http.MethodPost, "/visits/"+first.ID+"/cancel", nil, http.StatusOK, nil, "If-Match", tag)
	b.Until("it is gone", `!`+drawn+`.includes("J. K.")`)
	require.Equal(t, "as of 15:20", b.Eval(`document.getElementById("asof").textContent`))
	s.At(monday(24, 10)) // midnight has passed
	s.Ask(http.MethodPost, "/closures", webtest.Object{"first_date": "2026-12-24", "last_date": "2026-12-26"}, http.StatusCreated, nil)
	b.Until("today follows", `document.querySelector("h1").textContent === "Tuesday 9 June 2026"`)
	require.Equal(t, "Vida", b.Value("walk_name"))
	require.Contains(t, b.Eval(`document.title`), "Tuesday 9 June 2026")
	require.Equal(t, "/?date=2026-06-10", b.Eval(`document.querySelector('[data-key="after"]').getAttribute("href")`))
	b.Quiet()
}

func TestTheBoardSaysThatItHasNoConnectionAndRecovers(t *testing.T) {
	s := salon(t)
	s.At(monday(9, 0))
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	b.Until("it listens", `performance.getEntriesByType("resource").some((r) => r.name.includes("part=day"))`)
	b.Offline(true)
	cut(t, s, s.Client("Rosa", "Reed"), s.Ben, monday(11, 0)) // such a loss does not end what is open
	b.Until("it is said", `document.getElementById("lost").innerText.includes("No connection since 09:00. What you see may be old.")`)
	b.OpenToAll()
	b.Shots("board-lost")
	s.At(monday(9, 30))
	cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(10, 0))
	require.NotContains(t, b.Eval(drawn), "M. Q.")
	require.Equal(t, "as of 09:00", b.Eval(`document.getElementById("asof").textContent`))
	b.Offline(false)
	b.Until("what was missed is drawn", drawn+`.includes("M. Q.")`)
	b.Until("it is back", `document.getElementById("lost").textContent === ""`)
	require.Equal(t, "as of 09:30", b.Eval(`document.getElementById("asof").textContent`))
	cut(t, s, s.Client("Ines", "Vale"), s.Ben, monday(12, 0))
	b.Until("it follows again", drawn+`.includes("I. V.")`)

	s.Exec(`DELETE FROM browser_session`)
	cut(t, s, s.Client("Olga", "Reed"), s.Ben, monday(13, 0))
	b.Until("it says that she is signed out", `document.getElementById("lost").innerText.includes("You are signed out")`)
	b.Forget("")
}

func TestAPageThatNobodySeesListensToNothingAndLooksAgainWhenItIsShown(t *testing.T) {
	s := salon(t)
	s.At(monday(9, 0))
	b := chromium.New(t)
	open := s.Server.Listening() // of no other test
	b.Open(s.Link(store.Desk, ""))
	b.Until("it listens", `performance.getEntriesByType("resource").some((r) => r.name.includes("part=day"))`)
	require.Equal(t, open+1, s.Server.Listening())
	show := func(hidden string) {
		b.Eval(`Object.defineProperty(document, "hidden", { value: ` + hidden + `, configurable: true }); document.dispatchEvent(new Event("visibilitychange")); ""`)
	}
	show("true")
	require.Eventually(t, func() bool { return s.Server.Listening() == open }, time.Minute, 50*time.Millisecond, "it has let go of its connection")
	cut(t, s, s.Client("Rosa", "Reed"), s.Ben, monday(11, 0))
	show("false")
	b.Until("what was missed is drawn", drawn+`.includes("R. R.")`)
	require.Equal(t, open+1, s.Server.Listening())
	cut(t, s, s.Client("Mara", "Quist"), s.Ben, monday(13, 0))
	b.Until("it follows again", drawn+`.includes("M. Q.")`)
	require.Empty(t, b.Eval(`document.getElementById("lost").textContent`))
	b.Quiet()
}

func TestKeysAreOffUntilTheyAreSwitchedOnAndCanBeChanged(t *testing.T) {
	s := salon(t)
	s.At(monday(9, 0))
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	b.Light(s.URL + "/")
	b.Eval(`document.activeElement.blur(); ""`)
	b.Keys("/")
	b.Keys("n")
	require.Equal(t, "/", b.Eval(`location.pathname`), "keys are off")
	require.Equal(t, "BODY", b.Eval(`document.activeElement.tagName`))

	b.Click(`[data-keys="open"]`)
	b.Until("the sheet is open", `document.getElementById("keysheet").open`)
	b.OpenToAll()
	b.Shots("keys-sheet")
	b.Click("#key-on")
	b.Do(chromedp.Focus(chromedp.CSS("#key-book")), chromedp.KeyEvent("k"))
	require.Contains(t, b.Eval(`document.querySelector("#keysheet [role=status]").textContent`), "“k”")
	b.Do(chromedp.Focus(chromedp.CSS("#key-date")), chromedp.KeyEvent("k"))
	require.Contains(t, b.Eval(`document.querySelector("#keysheet [role=status]").textContent`), "is taken: Book a visit")
	b.Keys(kb.Escape)
	b.Until("Esc closes it", `!document.getElementById("keysheet").open`)

	b.Eval(`document.activeElement.blur(); ""`)
	b.Keys("/")
	require.Equal(t, "f-find", b.Eval(`document.activeElement.id`))
	b.Eval(`document.getElementById("f-find").value = ""; ""`) // which a real keyboard would not have typed
	b.Keys("knt")
	require.Equal(t, "knt", b.Value("find"), "nothing acts while something is typed")
	require.Equal(t, "/", b.Eval(`location.pathname`))
	b.Eval(`document.activeElement.blur(); ""`)
	b.Keys("g")
	require.Equal(t, "f-date", b.Eval(`document.activeElement.id`))
	b.Eval(`document.activeElement.blur(); ""`)
	b.Keys("w")
	require.Equal(t, "f-walk_service", b.Eval(`document.activeElement.id`))
	b.Eval(`document.activeElement.blur(); ""`)
	b.Keys("?")
	b.Until("help", `document.getElementById("keysheet").open`)
	b.Keys(kb.Escape)
	b.Until("Esc closes it", `!document.getElementById("keysheet").open`)
	b.Eval(`document.activeElement.blur(); ""`)
	b.Keys("n")
	require.Equal(t, "/", b.Eval(`location.pathname`), "the old key does nothing")
	b.Leaves(chromedp.KeyEvent("a"))
	require.Equal(t, "?date=2026-06-09", b.Eval(`location.search`))
	b.Leaves(chromedp.KeyEvent("t"))
	b.Leaves(chromedp.KeyEvent("k"))
	require.Equal(t, "/book", b.Eval(`location.pathname`))
	b.Eval(`document.activeElement.blur(); ""`) // that page begins in a field
	b.Leaves(chromedp.KeyEvent("d"))
	require.Equal(t, "/to-do", b.Eval(`location.pathname`))

	b.Open(s.URL + "/keys")
	b.Until("the keys are there", `document.getElementById("own-key-on").checked`)
	b.OpenToAll()
	b.Fits()
	b.Shots("keys")
	b.Click("#own-key-on")
	b.Open(s.URL + "/")
	b.Keys("k")
	require.Equal(t, "/", b.Eval(`location.pathname`), "off again")
	b.Quiet()
}

func TestTheBoardIsUsedAtTheDesk(t *testing.T) {
	s := salon(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, monday(9, 0))
	cut(t, s, s.Client("نور", "شاهين"), s.Ben, monday(9, 0))
	cut(t, s, s.Client("<b>Mara</b>", "Quist"), s.Ben, monday(10, 0))
	s.Ask(http.MethodPost, "/waiting-list", webtest.Object{"client_id": s.Client("Ines", "Vale"), "first_date": "2026-06-08", "last_date": "2026-06-12",
		"services": []webtest.Object{{"service_id": s.Services["Dry cut"]}}}, http.StatusCreated, nil)
	s.At(monday(9, 0))
	_, tag := visit(s, v.ID)
	tag = s.Ask(http.MethodPost, "/visits/"+v.ID+"/arrive", webtest.Object{}, http.StatusOK, nil, "If-Match", tag).Get("ETag")
	s.At(monday(9, 30))
	s.Ask(http.MethodPost, "/visits/"+v.ID+"/steps/0/start", webtest.Object{}, http.StatusOK, nil, "If-Match", tag)
	s.At(monday(9, 35))
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	b.Light(s.URL + "/")
	require.Contains(t, b.Text(), "Coming up")
	require.Contains(t, b.Eval(drawn), "late")
	b.OpenToAll()
	b.Fits()
	b.Shots("board")
	b.Do(chromedp.Focus(chromedp.CSS("#f-find")), chromedp.KeyEvent("jun"))
	b.Until("quick answers", `document.getElementById("quick").innerText.includes("Juna Kestrel")`)
	b.OpenToAll()
	b.Shot("board-quick")
	b.Keys(kb.ArrowDown)
	require.Contains(t, b.Eval(`document.activeElement.getAttribute("href")`), "/clients/")

	b.Do(chromedp.Focus(chromedp.CSS("#f-date")))
	b.Fill(map[string]string{"date": "2026-06-09"})
	b.Press(".goto button")
	require.Equal(t, "Tuesday 9 June 2026", b.Eval(`document.querySelector("h1").textContent`))
	b.Leaves(chromedp.Click(chromedp.CSS(`a[href^="/week"]`)))
	b.Light(s.URL + "/week?from=2026-06-08&person=" + s.Ben)
	b.OpenToAll()
	b.Fits()
	b.Shots("week")

	// Without a script it is the same, but does not follow.
	b.Scripts(false)
	b.Open(s.URL + "/")
	require.Contains(t, b.Text(), "Coming up")
	b.Press(`.coming form button`)
	b.Open(s.URL + "/")
	require.Contains(t, b.Text(), "is here")
	b.Press(`.undo button`)
	require.Contains(t, b.Text(), "Undone: ")
	b.Scripts(true)
	b.Quiet()
}

func TestTheBoardIsPrintedOnOnePage(t *testing.T) {
	s := salon(t)
	for i := range 5 {
		cut(t, s, s.Client("Juna", "Kestrel"), s.Ben, monday(9+2*i, 0))
	}
	s.At(monday(9, 20))
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	pdf, err := chromedp.Run(b.Ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFLandscape(), chromedp.PDFPreferCSSPageSize()))
	require.NoError(t, err)
	require.Equal(t, 1, bytes.Count(pdf, []byte("/Type /Page\n")), "pages")
}
