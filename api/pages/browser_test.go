package pages

import (
	"bytes"
	"chairblock/api/chromium"
	"fmt"
	"image"
	_ "image/png"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// browser is a real one on pages served under the real policy.
type browser struct {
	*chromium.Browser
	url string
}

// newBrowser starts a browser and a server whose pages are those given by path.
func newBrowser(t *testing.T, pages map[string][]byte) *browser {
	t.Helper()
	mux := http.NewServeMux()
	mux.Handle(AssetPrefix, Assets())
	for p, body := range pages {
		mux.HandleFunc(p, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.Header().Set("Content-Security-Policy", ContentSecurityPolicy)
			_, _ = w.Write(body)
		})
	}
	b := chromium.New(t)
	srv := httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	return &browser{b, srv.URL}
}

// open loads a page in a window of the given size and media.
func (b *browser) open(t *testing.T, path string, width, height int64, features ...string) {
	t.Helper()
	b.T = t
	var media []string
	for _, f := range features {
		name, value, _ := strings.Cut(f, "=")
		media = append(media, name, value)
	}
	b.Media(media...)
	b.Window(width, height)
	b.Open(b.url + path)
}

// shot takes a picture of the whole page and demands that something is on it.
func (b *browser) shot(t *testing.T, name string) {
	t.Helper()
	img, _, err := image.Decode(bytes.NewReader(b.Picture()))
	require.NoError(t, err)
	colours := map[any]bool{}
	for y := 0; y < img.Bounds().Dy(); y += 3 {
		for x := 0; x < img.Bounds().Dx(); x += 3 {
			colours[img.At(x, y)] = true
		}
	}
	require.Greater(t, len(colours), 8, "%s is nearly blank", name)
	b.Shot(name)
}

func boardPage(t *testing.T, b Board) []byte {
	t.Helper()
	var buf bytes.Buffer
	require.NoError(t, RenderBoard(&buf, b))
	return buf.Bytes()
}

func bookPage(t *testing.T, p BookPage) []byte {
	t.Helper()
	var buf bytes.Buffer
	require.NoError(t, RenderBook(&buf, p))
	return buf.Bytes()
}

const focusedName = `(() => { const a = document.activeElement; const t = a.querySelector("title"); return t ? t.textContent : a.tagName + " " + a.textContent.trim(); })()`

func TestTheBoardInABrowser(t *testing.T) {
	b := newBrowser(t, map[string][]byte{
		"/board": boardPage(t, straighteningBoard()),
		"/empty": boardPage(t, emptyBoard()),
		"/full":  boardPage(t, fullBoard()),
	})

	t.Run("a wide window shows the drawing and the console stays empty", func(t *testing.T) {
		b.open(t, "/board", 1366, 900)
		require.Equal(t, "block", b.Eval(`getComputedStyle(document.querySelector(".drawing")).display`))
		require.Equal(t, "none", b.Eval(`getComputedStyle(document.querySelector(".list")).display`))
		require.Equal(t, "rgb(31, 78, 121)", b.Eval(`getComputedStyle(document.querySelector(".on .block")).fill`),
			"the style sheet did not load")
		b.shot(t, "board-light")
		b.Quiet()
	})
	t.Run("Tab stops once and arrows walk", func(t *testing.T) {
		b.open(t, "/board", 1366, 900)
		require.Equal(t, 1.0, b.Number(`document.querySelectorAll('svg a[tabindex="0"]').length`))
		b.Do(chromedp.Focus(chromedp.CSS(`svg a[tabindex="0"]`)))
		require.Contains(t, b.Eval(focusedName), "09:00 to 09:18, 18 minutes, A. K., consultation")
		require.Greater(t, b.Number(`document.querySelectorAll("svg a.same").length`), 10.0, "the visit's other parts are marked")
		for _, step := range []struct{ key, want string }{
			{right, "09:29 to 09:39"}, {right, "09:39 to 10:09"}, {right, "10:09 to 10:24"},
			{down, "10:03 to 10:30"}, {down, "10:24 to 10:34"}, {up, "10:00 to 10:35"},
			{end, "14:30 to 16:30"}, {right, "14:30 to 16:30"}, {home, "09:30 to 10:00"}, {left, "09:30 to 10:00"},
		} {
			b.Keys(step.key)
			require.Contains(t, b.Eval(focusedName), step.want)
		}
		b.shot(t, "board-focus")
		b.Quiet()
	})
	t.Run("names stay in view and never cover the focus when scrolled", func(t *testing.T) {
		b.open(t, "/board", 800, 900)
		require.Greater(t, b.Number(`(() => { const d = document.querySelector(".drawing"); return d.scrollWidth - d.clientWidth; })()`), 100.0)
		b.Do(chromedp.Focus(chromedp.CSS(`svg a[tabindex="0"]`)))
		b.Keys(down)
		b.Keys(end)
		require.Greater(t, b.Number(`document.querySelector(".drawing").scrollLeft`), 100.0)
		b.Keys(left)
		covered := b.Number(`(() => { const f = document.activeElement.querySelector(".hit").getBoundingClientRect();
			return document.querySelector(".who .paper").getBoundingClientRect().right - f.left; })()`)
		require.Less(t, covered, 0.0, "the focused part lies under the names")
		_, err := chromedp.Run(b.Ctx, chromedp.Poll[bool](`Math.abs(document.querySelector(".who .paper").getBoundingClientRect().left
			- document.querySelector(".drawing").getBoundingClientRect().left) < 3`))
		require.NoError(t, err, "the names were scrolled away")
		b.shot(t, "board-800")
		b.Quiet()
	})
	t.Run("a phone gets the list and nothing to scroll sideways", func(t *testing.T) {
		for _, page := range []string{"/board", "/empty", "/full"} {
			b.open(t, page, 320, 640)
			require.Equal(t, "none", b.Eval(`getComputedStyle(document.querySelector(".drawing")).display`))
			require.LessOrEqual(t, b.Number(`document.documentElement.scrollWidth`), 320.0, page)
		}
		b.open(t, "/board", 320, 640)
		require.GreaterOrEqual(t, b.Number(`Math.min(...[...document.querySelectorAll(".list a")].map((a) => a.getBoundingClientRect().height))`), 24.0)
		b.shot(t, "board-320")
		b.Quiet()
	})
	t.Run("the list can be chosen without script", func(t *testing.T) {
		b.open(t, "/board", 1200, 800)
		b.Do(chromedp.Click(chromedp.CSS(".switch")))
		require.Equal(t, "block", b.Eval(`getComputedStyle(document.querySelector(".list")).display`))
		require.Equal(t, "none", b.Eval(`getComputedStyle(document.querySelector(".drawing")).display`))
		b.shot(t, "board-list")
	})
	t.Run("dark and forced colours", func(t *testing.T) {
		b.open(t, "/board", 1366, 900, "prefers-color-scheme=dark")
		require.Equal(t, "rgb(125, 183, 234)", b.Eval(`getComputedStyle(document.querySelector(".on .block")).fill`))
		b.shot(t, "board-dark")
		b.open(t, "/board", 1366, 900, "forced-colors=active", "prefers-color-scheme=dark")
		require.NotEqual(t, b.Eval(`getComputedStyle(document.querySelector(".on .block")).fill`),
			b.Eval(`getComputedStyle(document.querySelector(".on text.in")).fill`), "words vanish in their block")
		b.shot(t, "board-forced")
		b.Quiet()
	})
	t.Run("an empty day says so", func(t *testing.T) {
		b.open(t, "/full", 1366, 700)
		b.shot(t, "board-full")
		b.open(t, "/empty", 1366, 700)
		b.shot(t, "board-empty")
		b.Quiet()
	})
	t.Run("every part has its full name for a screen reader", func(t *testing.T) {
		b.open(t, "/board", 1366, 900)
		tree, err := chromedp.Call(b.Ctx, accessibility.GetFullAXTree, accessibility.GetFullAXTreeParams{})
		require.NoError(t, err)
		var names []string
		for _, n := range tree.Nodes {
			if n.Role != nil && n.Name != nil && strings.Contains(string(n.Role.Value), "link") {
				names = append(names, string(n.Name.Value))
			}
		}
		require.Contains(t, strings.Join(names, "\n"),
			"10:09 to 10:24, 15 minutes, A. K., process, hands off, watched, chair 1, looks at 10:14 and 10:19, check at 10:24, no later than 10:27")
	})
	t.Run("it prints people on one landscape page and places on the next", func(t *testing.T) {
		b.open(t, "/board", 1047, 718) // A4 less margins of 10 mm
		_, err := chromedp.Call(b.Ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		require.NoError(t, err)
		b.shot(t, "board-print")
		require.Equal(t, "Thursday 11 June · Corner Salon · as of 11:12 · page 2 of 2", b.Eval(`document.querySelectorAll(".sheethead")[1].innerText`))
		require.Equal(t, "none", b.Eval(`getComputedStyle(document.querySelector(".top")).display`), "the heading of the sheets is enough")
		require.Equal(t, 1.0, b.Number(`new Set([...document.querySelectorAll("svg.board")].map((s) => Math.round(1000 * s.getBoundingClientRect().width / s.viewBox.baseVal.width))).size`))
		pdf, err := chromedp.Run(b.Ctx, chromedp.PrintToPDF(chromedp.PDFPaper(chromedp.PaperA4), chromedp.PDFLandscape(), chromedp.PDFPreferCSSPageSize()))
		require.NoError(t, err)
		if dir := os.Getenv("CHAIRBLOCK_SHOTS"); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, "board.pdf"), pdf, 0o644))
		}
		require.Equal(t, 2, bytes.Count(pdf, []byte("/Type /Page\n")), "pages")
	})
}

// measured returns the first two texts of the drawing that meet, or a text that
// leaves the drawing, as wide as the browser itself draws them, "" when there
// is none. Heights are those of the layout.
const measured = `(() => {
	const boxes = [...document.querySelectorAll("svg.board text")].map((t) => {
		const b = t.getBBox(), size = parseFloat(getComputedStyle(t).fontSize), y = +t.getAttribute("y");
		return { text: t.textContent, x: b.x, r: b.x + b.width, y: y - 0.93 * size, b: y + 0.24 * size, svg: t.ownerSVGElement };
	});
	for (const [i, a] of boxes.entries()) {
		if (a.x < -0.5 || a.r > a.svg.viewBox.baseVal.width + 0.5) return a.text + " is cut";
		for (const b of boxes.slice(i + 1))
			if (a.x < b.r - 0.1 && b.x < a.r - 0.1 && a.y < b.b - 0.1 && b.y < a.b - 0.1) return a.text + " meets " + b.text;
	}
	for (const t of document.querySelectorAll("svg.board .in, svg.board .inpencil")) {
		const b = t.getBBox(), f = t.parentNode.querySelector(".block").getBBox();
		if (b.x < f.x || b.x + b.width > f.x + f.width) return t.textContent + " leaves its block";
	}
	return "";
})()`

func TestLabelsKeepApartAsTheBrowserMeasuresThem(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	pages := map[string][]byte{"/day": boardPage(t, straighteningBoard()), "/full": boardPage(t, fullBoard()),
		"/late": boardPage(t, lateBoard()), "/packed": boardPage(t, packedBoard())}
	for i := range 8 {
		pages[fmt.Sprintf("/random%d", i)] = boardPage(t, randomBoard(rand.New(rand.NewPCG(seed, uint64(i)))))
	}
	b := newBrowser(t, pages)
	for page := range pages {
		b.open(t, page, 1366, 900)
		for _, font := range []string{"", "DejaVu Sans", "Liberation Serif", "Liberation Sans"} {
			b.Eval(`document.querySelectorAll("svg.board").forEach((s) => s.style.fontFamily = "` + font + `"); ""`)
			require.Empty(t, b.Eval(measured), "seed %d, %s, font %q", seed, page, font)
		}
	}
}

// Keys as the browser's protocol names them.
const (
	left  = "\u0302"
	right = "\u0303"
	up    = "\u0304"
	down  = "\u0301"
	home  = "\u0306"
	end   = "\u0305"
)
