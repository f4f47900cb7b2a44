//go:build unix

package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// browser is a real one.
type browser struct {
	t   *testing.T
	ctx context.Context

	mu    sync.Mutex
	noise []string // everything that the console said
}

func newBrowser(t *testing.T, flags ...chromedp.ExecAllocatorOption) *browser {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		path = needs(t, "chromium", "no page is ever used")
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox)
	}
	ctx, stop := context.WithTimeout(t.Context(), 3*time.Minute)
	t.Cleanup(stop)
	ctx, stopAlloc := chromedp.NewExecAllocator(ctx, append(opts, flags...)...)
	t.Cleanup(stopAlloc)
	ctx, stopTab := chromedp.NewContext(ctx)
	t.Cleanup(stopTab)
	b := &browser{t: t, ctx: ctx}
	require.NoError(t, chromedp.Listen(ctx, b.hear))
	_, err := chromedp.Call(ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err)
	// A page that still glides is clicked beside what was aimed at.
	_, err = chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}})
	require.NoError(t, err)
	b.do(chromedp.EmulateViewport(1280, 900))
	return b
}

// hear keeps what the console says; a violation of the policy is among it.
func (b *browser) hear(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *cdplog.EventEntryAdded:
		b.noise = append(b.noise, string(e.Entry.Level)+": "+e.Entry.Text+" "+e.Entry.URL)
	case *runtime.EventConsoleAPICalled:
		b.noise = append(b.noise, "console call: "+string(e.Type))
	case *runtime.EventExceptionThrown:
		b.noise = append(b.noise, "exception: "+e.ExceptionDetails.Text)
	case *page.EventJavascriptDialogOpening: // whether to leave what was typed
		go func() {
			_, _ = chromedp.Call(b.ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{Accept: true}) // the next action tells
		}()
	}
}

// quiet demands that the console has said nothing since the last look, but for
// the statuses that pages were meant to have.
func (b *browser) quiet(statuses ...string) {
	b.t.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, n := range b.noise {
		meant := false
		for _, s := range statuses {
			meant = meant || strings.Contains(n, "the server responded with a status of "+s)
		}
		require.True(b.t, meant, "the console said %s", n)
	}
	b.noise = nil
}

func (b *browser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	require.NoError(b.t, chromedp.Do(b.ctx, actions...))
}

func (b *browser) open(url string) {
	b.t.Helper()
	b.do(chromedp.Navigate(url))
}

// eval is the text that an expression gives.
func (b *browser) eval(js string) string {
	b.t.Helper()
	s, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](js))
	require.NoError(b.t, err, js)
	return s
}

// text is what can be read in the page's main part.
func (b *browser) text() string {
	b.t.Helper()
	return b.eval(`document.querySelector("main").innerText`)
}

func (b *browser) value(field string) string {
	b.t.Helper()
	return b.eval(`document.getElementById("f-` + field + `").value`)
}

// leaves carries out actions that lead to another page, or to the next step of one
// that stays, and waits for it.
func (b *browser) leaves(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	b.eval(`(document.querySelector("main") || document.documentElement).shownBefore = "here"; ""`)
	b.do(actions...)
	eventually(b.t, "the next page is there", func() bool {
		ready, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](`(document.querySelector("main") || document.documentElement).shownBefore === undefined && document.readyState === "complete"`))
		return err == nil && ready // while it changes there is nothing to ask
	})
}

// press clicks what leads to another page.
func (b *browser) press(css string) {
	b.t.Helper()
	b.leaves(chromedp.Click(chromedp.CSS(css)))
}

// fill types into fields or chooses entries of lists by their text.
func (b *browser) fill(fields map[string]string) {
	b.t.Helper()
	for name, value := range fields {
		at := "#f-" + name
		b.eval(`document.querySelector("` + at + `").closest("details")?.setAttribute("open", ""); ""`)
		switch b.eval(`(() => { const f = document.querySelector("` + at + `"); return f.tagName + " " + f.type; })()`) {
		case "SELECT select-one":
			b.eval(`(() => { const f = document.querySelector("` + at + `"); f.value = [...f.options].find((o) => o.text === "` + value + `").value;
				f.dispatchEvent(new Event("change", { bubbles: true })); return ""; })()`)
		case "INPUT date":
			b.eval(`document.querySelector("` + at + `").value = "` + value + `"`)
		default:
			b.eval(`document.querySelector("` + at + `").select(); ""`)
			b.do(chromedp.Focus(chromedp.CSS(at)), chromedp.KeyEvent("\b"+value)) // over what was there
		}
	}
}

// fits demands that nothing scrolls sideways in a window as narrow as a phone.
func (b *browser) fits() {
	b.t.Helper()
	b.do(chromedp.EmulateViewport(320, 640))
	wide, err := chromedp.Run(b.ctx, chromedp.Evaluate[float64](`document.documentElement.scrollWidth`))
	require.NoError(b.t, err)
	require.LessOrEqual(b.t, wide, 320.0, b.eval(`location.pathname`))
	b.do(chromedp.EmulateViewport(1280, 900))
}

// shot keeps a picture of the page where CHAIRBLOCK_SHOTS names a folder.
func (b *browser) shot(name string) {
	b.t.Helper()
	dir := os.Getenv("CHAIRBLOCK_SHOTS")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
	require.NoError(b.t, err)
	require.NoError(b.t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
}
