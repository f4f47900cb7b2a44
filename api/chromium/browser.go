// Package chromium lets tests use pages as people do: in a real browser that is
// asked what it shows, whether anybody is shut out by it, and what it weighs.
//
// axe.min.js is axe-core 4.14.1 by Deque Systems under the Mozilla Public License
// 2.0, unchanged; it is part of tests only.
package chromium

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

//go:embed axe.min.js
var axe string

// Browser is a real one.
type Browser struct {
	T   testing.TB
	Ctx context.Context // of its tab, for actions of chromedp

	mu    sync.Mutex
	noise []string // everything that the console said
	bytes float64  // received since the last look
	away  []string // requests to elsewhere
}

// shared is the one process in which New opens its browsers while Shared runs, nil ctx
// before the first of them.
var shared struct {
	sync.Mutex
	on   bool
	ctx  context.Context
	stop func()
}

// Shared runs the tests of a package with one process of Chromium for all of them: a
// browser that New gives is a profile of its own in it, which shares nothing with
// another but the process, and takes less than half as long to start. As private
// windows do, such a profile keeps nothing on disk. Call it from TestMain.
func Shared(run func() int) int {
	shared.on = true
	defer func() {
		if shared.stop != nil {
			shared.stop()
		}
	}()
	return run()
}

// New gives a browser with nothing on record, in a process of its own where flags are
// given or Shared does not run. Without Chromium the test is skipped, and fails where
// CI=true promises it.
func New(t testing.TB, flags ...chromedp.ExecAllocatorOption) *Browser {
	t.Helper()
	b := &Browser{T: t, Ctx: tab(t, flags)}
	require.NoError(t, chromedp.Listen(b.Ctx, b.hear))
	_, err := chromedp.Call(b.Ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	_, err = chromedp.Call(b.Ctx, emulation.SetFocusEmulationEnabled, emulation.SetFocusEmulationEnabledParams{Enabled: true})
	require.NoError(t, err)
	// A page that still glides is clicked beside what was aimed at.
	b.Media("prefers-reduced-motion", "reduce")
	b.Window(1280, 900)
	return b
}

// tab opens the browser's first tab. It is closed with the test, or after some minutes.
func tab(t testing.TB, flags []chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	parent, opts := t.Context(), []chromedp.ContextOption(nil)
	if len(flags) == 0 && shared.on {
		parent, opts = process(t), append(opts, chromedp.WithNewBrowserContext())
	} else {
		var stop func()
		parent, stop = chromedp.NewExecAllocator(parent, options(t, flags...)...)
		t.Cleanup(stop)
	}
	parent, stop := context.WithTimeout(parent, 8*time.Minute)
	t.Cleanup(stop)
	ctx, stopTab := chromedp.NewContext(parent, opts...)
	t.Cleanup(stopTab)
	return ctx
}

// process is the shared one, started when it is asked for first.
func process(t testing.TB) context.Context {
	t.Helper()
	shared.Lock()
	defer shared.Unlock()
	if shared.ctx != nil && shared.ctx.Err() == nil {
		return shared.ctx
	}
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options(t)...)
	ctx, stopFirst := chromedp.NewContext(ctx)
	shared.stop = func() { stopFirst(); stop() }
	require.NoError(t, chromedp.Do(ctx)) // starts it
	shared.ctx = ctx
	return ctx
}

func options(t testing.TB, flags ...chromedp.ExecAllocatorOption) []chromedp.ExecAllocatorOption {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(findChromium(t)),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox)
	}
	return append(opts, flags...)
}

func findChromium(t testing.TB) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome", "chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	const words = "NO BROWSER: install chromium, otherwise no page is ever used"
	if os.Getenv("CI") == "true" {
		t.Fatal(words)
	}
	t.Skip(words)
	return ""
}

func (b *Browser) hear(ev any) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e := ev.(type) {
	case *cdplog.EventEntryAdded:
		b.noise = append(b.noise, string(e.Entry.Level)+": "+e.Entry.Text+" "+e.Entry.URL)
	case *runtime.EventConsoleAPICalled:
		b.noise = append(b.noise, "console call: "+string(e.Type))
	case *runtime.EventExceptionThrown:
		words := "exception: " + e.ExceptionDetails.Text
		if thrown := e.ExceptionDetails.Exception; thrown != nil {
			words += " " + thrown.Description
		}
		b.noise = append(b.noise, words)
	case *network.EventLoadingFinished:
		b.bytes += e.EncodedDataLength
	case *page.EventJavascriptDialogOpening: // whether to leave what was typed
		go func() {
			_, _ = chromedp.Call(b.Ctx, page.HandleJavaScriptDialog, page.HandleJavaScriptDialogParams{Accept: true}) // the next action tells
		}()
	case *network.EventRequestWillBeSent:
		if host(e.Request.URL) != host(e.DocumentURL) && !strings.HasPrefix(e.Request.URL, "data:") {
			b.away = append(b.away, e.Request.URL)
		}
	}
}

func host(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	return u.Host
}

// Quiet demands that the console has said nothing since the last look, but for
// the statuses that pages were meant to have, and that no page asked anything of
// another server than its own.
func (b *Browser) Quiet(statuses ...string) {
	b.T.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	require.Empty(b.T, b.away)
	for _, n := range b.noise {
		meant := strings.HasPrefix(n, "info: Clear-Site-Data header") || // as signing out does
			strings.HasPrefix(n, "info: Autofocus processing was blocked because a document already has a focused element") // whoever is quicker than the page
		for _, s := range statuses {
			meant = meant || strings.Contains(n, "the server responded with a status of "+s)
		}
		require.True(b.T, meant, "the console said %s", n)
	}
	b.noise = nil
}

// Forget drops what the console has said about words, where that was meant.
func (b *Browser) Forget(words string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.noise = slices.DeleteFunc(b.noise, func(n string) bool { return strings.Contains(n, words) })
}

// Bytes is what was received since it was asked last, as transferred.
func (b *Browser) Bytes() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := b.bytes
	b.bytes = 0
	return int(n)
}

// Do carries out actions.
func (b *Browser) Do(actions ...chromedp.Action[chromedp.Void]) {
	b.T.Helper()
	require.NoError(b.T, chromedp.Do(b.Ctx, actions...))
}

// Window sets the size of what is seen.
func (b *Browser) Window(width, height int64) {
	b.T.Helper()
	b.Do(chromedp.EmulateViewport(width, height))
}

// Media sets what the page is told of its reader, in pairs of feature and value,
// such as "prefers-color-scheme", "dark".
func (b *Browser) Media(pairs ...string) {
	b.T.Helper()
	m := emulation.SetEmulatedMediaParams{}
	for i := 0; i+1 < len(pairs); i += 2 {
		m.Features = append(m.Features, &emulation.MediaFeature{Name: pairs[i], Value: pairs[i+1]})
	}
	_, err := chromedp.Call(b.Ctx, emulation.SetEmulatedMedia, m)
	require.NoError(b.T, err)
}

// Scripts switches the page's scripts off or on, from the next page on.
func (b *Browser) Scripts(on bool) {
	b.T.Helper()
	_, err := chromedp.Call(b.Ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on})
	require.NoError(b.T, err)
}

// Offline cuts the network off, for pages and their service workers, or brings it
// back.
func (b *Browser) Offline(off bool) {
	b.T.Helper()
	p := network.EmulateNetworkConditionsByRuleParams{EmulateOfflineServiceWorker: &off}
	if off {
		p.MatchedNetworkConditions = []*network.Conditions{{Offline: off, DownloadThroughput: -1, UploadThroughput: -1}}
	}
	b.network(p)
}

// PhoneLine makes the network that of a phone with a poor connection: 150 ms there
// and back, 1.6 Mbit/s down, 750 kbit/s up, and the machine four times as slow.
func (b *Browser) PhoneLine() {
	b.T.Helper()
	b.network(network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{
		{Latency: 150, DownloadThroughput: 1.6e6 / 8, UploadThroughput: 750e3 / 8}}})
	_, err := chromedp.Call(b.Ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 4})
	require.NoError(b.T, err)
}

type networkConditions struct {
	network.EmulateNetworkConditionsByRuleParams
	Offline bool `json:"offline"`
}

var conditionsByRule = cdp.Command[networkConditions, network.EmulateNetworkConditionsByRuleResult]{Method: network.CommandEmulateNetworkConditionsByRule}

func (b *Browser) network(p network.EmulateNetworkConditionsByRuleParams) {
	b.T.Helper()
	if p.MatchedNetworkConditions == nil {
		p.MatchedNetworkConditions = []*network.Conditions{}
	}
	// Browsers up to 148 at least want to be told of all rules together whether they
	// are offline; later ones read it in each rule and pass over what they do not know.
	_, err := chromedp.Call(b.Ctx, conditionsByRule, networkConditions{p, p.EmulateOfflineServiceWorker != nil && *p.EmulateOfflineServiceWorker})
	require.NoError(b.T, err)
}

// Open goes to an address. The button of a link that signs somebody in is pressed, too.
func (b *Browser) Open(address string) {
	b.T.Helper()
	b.Do(chromedp.Navigate(address))
	if strings.Contains(address, "/open/") && b.Eval(`String(document.querySelectorAll("form[action$='/enter']").length)`) == "1" {
		b.Press("form button")
	}
}

// Before runs a script in every page from the next one on, before the page's own.
func (b *Browser) Before(js string) {
	b.T.Helper()
	_, err := chromedp.Call(b.Ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: js})
	require.NoError(b.T, err)
}

// Eval is the text that an expression gives.
func (b *Browser) Eval(js string) string {
	b.T.Helper()
	s, err := chromedp.Run(b.Ctx, chromedp.Evaluate[string](js))
	require.NoError(b.T, err, js)
	return s
}

// Number is the number that an expression gives.
func (b *Browser) Number(js string) float64 {
	b.T.Helper()
	n, err := chromedp.Run(b.Ctx, chromedp.Evaluate[float64](js))
	require.NoError(b.T, err, js)
	return n
}

// Text is what can be read in the page's main part.
func (b *Browser) Text() string {
	b.T.Helper()
	return b.Eval(`document.querySelector("main").innerText`)
}

// Value is what stands in a field.
func (b *Browser) Value(field string) string {
	b.T.Helper()
	return b.Eval(`document.getElementById("f-` + field + `").value`)
}

// Leaves carries out actions that lead to another page, or to the next step of one
// that stays, and waits for it.
func (b *Browser) Leaves(actions ...chromedp.Action[chromedp.Void]) {
	b.T.Helper()
	b.Eval(`(document.querySelector("main") || document.documentElement).shownBefore = "here"; ""`)
	b.Do(actions...)
	b.Until("the next page is there", `(document.querySelector("main") || document.documentElement).shownBefore === undefined && document.readyState === "complete"`)
}

// Until waits until an expression is true, at most half a minute.
func (b *Browser) Until(what, js string) {
	b.T.Helper()
	require.Eventually(b.T, func() bool {
		ok, err := chromedp.Run(b.Ctx, chromedp.Evaluate[bool](js))
		return err == nil && ok // while a page changes there is nothing to ask
	}, time.Minute, 30*time.Millisecond, what)
}

// Press clicks what leads to another page.
func (b *Browser) Press(css string) {
	b.T.Helper()
	b.Leaves(chromedp.Click(chromedp.CSS(css)))
}

// Click clicks what stays on the page.
func (b *Browser) Click(css string) {
	b.T.Helper()
	b.Do(chromedp.Click(chromedp.CSS(css)))
}

// Keys presses keys, one after the other, where the focus is.
func (b *Browser) Keys(keys string) {
	b.T.Helper()
	b.Do(chromedp.KeyEvent(keys))
}

// Fill types into fields or chooses entries of lists by their text.
func (b *Browser) Fill(fields map[string]string) {
	b.T.Helper()
	for name, value := range fields {
		at := "#f-" + name
		text, err := json.Marshal(value)
		require.NoError(b.T, err)
		b.Eval(`document.querySelector("` + at + `").closest("details")?.setAttribute("open", ""); ""`)
		switch b.Eval(`(() => { const f = document.querySelector("` + at + `"); return f.tagName + " " + f.type; })()`) {
		case "SELECT select-one":
			b.Eval(`(() => { const f = document.querySelector("` + at + `"); f.value = [...f.options].find((o) => o.text === ` + string(text) + `).value;
				f.dispatchEvent(new Event("change", { bubbles: true })); return ""; })()`)
		case "INPUT date", "INPUT time", "INPUT datetime-local":
			b.Eval(`(() => { const f = document.querySelector("` + at + `"); f.value = ` + string(text) + `;
				f.dispatchEvent(new Event("change", { bubbles: true })); return ""; })()`)
		case "INPUT checkbox", "INPUT radio":
			b.Eval(`(() => { const f = document.querySelector("` + at + `"); if (f.checked !== (` + string(text) + ` === "true")) f.click(); return ""; })()`)
		default:
			b.Eval(`document.querySelector("` + at + `").select(); ""`)
			b.Do(chromedp.Focus(chromedp.CSS(at)), chromedp.KeyEvent("\b"+value)) // over what was there
		}
	}
}

// Fits demands that nothing scrolls sideways from the width of a small phone to
// that of a large screen, nor with text twice as large.
func (b *Browser) Fits() {
	b.T.Helper()
	for _, w := range []int64{320, 390, 768, 1280, 1920} {
		b.Window(w, 800)
		require.LessOrEqual(b.T, b.Number(`document.documentElement.scrollWidth`), float64(w), "%s at %d", b.Eval(`location.pathname`), w)
	}
	b.Window(1280, 900)
}

// OpenToAll demands that axe finds nothing against WCAG 2.2 AA or its best
// practice, in light, dark and forced colours and on a small phone. Of other colours
// it is asked what depends on them; a page is otherwise the same in them.
func (b *Browser) OpenToAll() {
	b.T.Helper()
	b.openTo(1280, allRules)
	b.openTo(1280, colourRules, "prefers-color-scheme", "dark")
	b.openTo(1280, colourRules, "forced-colors", "active")
	b.openTo(320, allRules)
}

// OpenTo demands the same for one width and what the page is told of its reader,
// in pairs as Media takes them, by all rules.
func (b *Browser) OpenTo(width int64, media ...string) {
	b.T.Helper()
	b.openTo(width, allRules, media...)
}

// What axe is asked: what WCAG 2.2 AA demands and best practice, and those of these
// rules that look at colours.
const (
	allRules    = `["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]`
	colourRules = `["color-contrast", "link-in-text-block"]`
)

func (b *Browser) openTo(width int64, rules string, media ...string) {
	b.T.Helper()
	b.Window(width, 900)
	b.Media(append([]string{"prefers-reduced-motion", "reduce"}, media...)...)
	require.Empty(b.T, b.axe(rules), "%s at %d %v", b.Eval(`location.pathname`), width, media)
	require.Empty(b.T, b.Eval(hiddenWords), "%s %v: words in the colour of the ground that forced colours give them", b.Eval(`location.pathname`), media)
	b.Media("prefers-reduced-motion", "reduce")
	b.Window(1280, 900)
}

// hiddenWords are texts that a page in forced colours writes in the colour of the
// ground which the browser puts behind each of them.
const hiddenWords = `(() => {
	if (!matchMedia("(forced-colors: active)").matches) return "";
	const probe = document.body.appendChild(document.createElement("i"));
	probe.style.color = "Canvas";
	const ground = getComputedStyle(probe).color;
	probe.remove();
	return [...document.querySelectorAll("body *:not(svg, svg *, script, style, option)")]
		.filter((e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim()) && getComputedStyle(e).color === ground)
		.map((e) => e.tagName + " " + e.className + ": " + e.textContent.trim()).join("; ");
})()`

// axe lists what axe finds on the page. It is sent once to each page, half a megabyte,
// and works out in full only what is wrong.
func (b *Browser) axe(rules string) string {
	b.T.Helper()
	if b.Eval(`typeof window.axe`) == "undefined" {
		b.Eval(axe + `; ""`)
	}
	found, err := chromedp.Run(b.Ctx, chromedp.Evaluate[string](`window.axe.run(document, { runOnly: `+rules+`, resultTypes: ["violations"] })
		.then((r) => r.violations.map((v) => v.id + ": " + v.nodes.map((n) => n.target + " " + n.failureSummary).join("; ")).join("\n"))`, chromedp.EvalAwaitPromise))
	require.NoError(b.T, err)
	return found
}

// Light demands that opening an address afresh takes less than 100 KB as
// transferred, all of it counted but pictures that are files of their own.
func (b *Browser) Light(address string) {
	b.T.Helper()
	_, err := chromedp.Call(b.Ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true})
	require.NoError(b.T, err)
	b.Bytes()
	b.Open(address)
	b.Until("it is loaded", `document.readyState === "complete"`)
	n := b.Bytes()
	require.Less(b.T, n, 100<<10, address)
	b.T.Logf("%s: %d bytes", b.Eval(`location.pathname`), n)
	_, err = chromedp.Call(b.Ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: false})
	require.NoError(b.T, err)
}

// Picture is the whole page as PNG.
func (b *Browser) Picture() []byte {
	b.T.Helper()
	png, err := chromedp.Run(b.Ctx, chromedp.FullScreenshot(100))
	require.NoError(b.T, err)
	return png
}

// Shot keeps a picture of the whole page where CHAIRBLOCK_SHOTS names a folder.
func (b *Browser) Shot(name string) {
	b.T.Helper()
	dir := os.Getenv("CHAIRBLOCK_SHOTS")
	if dir == "" {
		return
	}
	png := b.Picture()
	require.NoError(b.T, os.MkdirAll(dir, 0o755))
	require.NoError(b.T, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644))
}

// Shots keeps pictures of the page as a screen, a phone and a dark screen show it.
func (b *Browser) Shots(name string) {
	b.T.Helper()
	if os.Getenv("CHAIRBLOCK_SHOTS") == "" {
		return
	}
	b.Shot(name)
	b.Window(390, 844)
	b.Shot(fmt.Sprintf("%s-phone", name))
	b.Window(1280, 900)
	b.Media("prefers-reduced-motion", "reduce", "prefers-color-scheme", "dark")
	b.Shot(fmt.Sprintf("%s-dark", name))
	b.Media("prefers-reduced-motion", "reduce")
}
