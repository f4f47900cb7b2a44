package allpages_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/chromium"
	"chairblock/api/web"
	"chairblock/api/web/board"
	"chairblock/api/web/desk"
	"chairblock/api/web/owner"
	"chairblock/api/web/signin"
	"chairblock/api/web/stylist"
	"chairblock/api/web/webtest"
	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestMain(m *testing.M) {
	os.Exit(chromium.Shared(func() int { return storetest.Main(m, store.Migrate, migrations.Hash()) }))
}

// everything registers the pages that the program has.
var everything = []func(*web.Site){signin.Mount, board.Mount, desk.Mount, stylist.Mount, owner.Mount}

// ids are what differs between two addresses of one kind of page.
var ids = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}(?:-\d+)?|\d{4}-\d{2}-\d{2}|[a-z]_[a-z0-9]+_[A-Za-z0-9_-]{43}`)

// kindOf is the address without what differs between pages of one kind.
func kindOf(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	var names []string
	for name := range u.Query() {
		names = append(names, name)
	}
	kind := ids.ReplaceAllString(u.Path, ":id")
	if len(names) > 0 {
		kind += "?" + strings.Join(names, "&")
	}
	return kind
}

// leadsOn reports whether a link leads to another page of the server.
func leadsOn(address, server string) bool {
	if !strings.HasPrefix(address, server+"/") {
		return false
	}
	path := strings.TrimPrefix(address, server)
	for _, no := range []string{"/open/", "/cal/", "/assets/", "/v1/", "/sign-out"} {
		if strings.HasPrefix(path, no) {
			return false
		}
	}
	return !strings.Contains(path, ".json") && !strings.Contains(path, ".ics")
}

// hidden are the fields of the page that hide what is typed, each after the address
// that its form goes to.
func hidden(b *chromium.Browser) []string {
	list := b.Eval(`[...document.querySelectorAll("form input[type=password], form .masked input")].map((i) => new URL(i.form.action).pathname + " " + i.name).join("\n")`)
	return strings.FieldsFunc(list, func(r rune) bool { return r == '\n' })
}

// busy is a salon in the middle of a day in which much has happened.
func busy(t testing.TB) *webtest.Salon {
	s := webtest.New(t, everything...)
	s.Crowd(40)
	s.At(webtest.Start.Add(27 * time.Hour)) // Tuesday, half past eleven by the clock of the salon
	return s
}

// walk opens a page of each kind that can be reached from address, and hands each
// to look.
func walk(b *chromium.Browser, server string, address string, look func(kind, address string)) []string {
	var seen []string
	known := map[string]bool{}
	queue := []string{address}
	known[kindOf(address)] = true
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		b.Open(at)
		if landed := b.Eval(`location.href`); kindOf(landed) != kindOf(at) {
			if known[kindOf(landed)] {
				continue
			}
			known[kindOf(landed)] = true
		}
		kind := kindOf(at)
		seen = append(seen, kind)
		look(kind, at)
		var links []string
		require.NoError(b.T, json.Unmarshal([]byte(b.Eval(`JSON.stringify([...document.querySelectorAll("a[href]")]
			.filter((a) => !a.hasAttribute("download")).map((a) => a.href.baseVal === undefined ? a.href : new URL(a.href.baseVal, location.href).href))`)), &links))
		for _, l := range links {
			l, _, _ = strings.Cut(l, "#")
			if leadsOn(l, server) && !known[kindOf(l)] {
				known[kindOf(l)] = true
				queue = append(queue, l)
			}
		}
	}
	return seen
}

// TestEveryPageIsOpenToAllAndLight follows every link from where an owner who is
// on the rota, too, lands.
func TestEveryPageIsOpenToAllAndLight(t *testing.T) {
	s := busy(t)
	b := chromium.New(t, chromedp.Flag("force-device-scale-factor", "1"))
	b.Open(s.Link(store.Owner, s.Ada))
	b.Quiet()
	seen := walk(b, s.URL, s.URL+"/", func(kind, address string) {
		b.Light(address)
		b.OpenTo(1280)
		b.OpenTo(320, "prefers-color-scheme", "dark")
		b.Fits()
		require.NotEmpty(t, b.Eval(`document.title`), kind)
		require.Equal(t, "1", b.Eval(`"" + document.querySelectorAll("h1").length`), kind)
		for _, at := range hidden(b) {
			action, field, _ := strings.Cut(at, " ")
			require.False(t, api.MayCarry(action, field), "what is typed into %s of %s waits in no page", field, action)
		}
		b.Shot("all" + strings.NewReplacer("/", "-", "?", "-", ":", "", "&", "-").Replace(kind))
		b.Quiet()
	})
	t.Logf("%d kinds of pages: %s", len(seen), strings.Join(seen, " "))
	for _, must := range []string{"/", "/book", "/visits/:id", "/clients/:id/erase", "/set-up/changes"} {
		require.Contains(t, seen, must)
	}
}

// TestPagesLeaveNothingBehind walks as the desk and asks each page for its headers.
func TestPagesLeaveNothingBehind(t *testing.T) {
	s := busy(t)
	b := chromium.New(t)
	b.Open(s.Link(store.Desk, ""))
	walk(b, s.URL, s.URL+"/", func(kind, address string) {
		var h map[string]string
		got, err := chromedp.Run(b.Ctx, chromedp.Evaluate[string](`fetch(location.href).then((r) => JSON.stringify(Object.fromEntries(r.headers)))`, chromedp.EvalAwaitPromise))
		require.NoError(t, err, kind)
		require.NoError(t, json.Unmarshal([]byte(got), &h), kind)
		require.Contains(t, h["content-security-policy"], "default-src 'none'", kind)
		require.Contains(t, h["cache-control"], "no-store", kind)
		require.Equal(t, "nosniff", h["x-content-type-options"], kind)
	})
}

// A request of the interface still needs its token when pages are mounted.
func TestASessionOpensNoDoorOfTheInterface(t *testing.T) {
	s := webtest.New(t, everything...)
	b := chromium.New(t)
	b.Open(s.Link(store.Owner, ""))
	b.Eval(`window.got = ""; fetch("/v1/salon").then((r) => { window.got = "got " + r.status; }); ""`)
	b.Until("the answer", `window.got !== ""`)
	require.Equal(t, "got 401", b.Eval(`window.got`))
	var day api.DayBody
	s.Ask(http.MethodGet, "/days/2026-06-09", nil, http.StatusOK, &day)
}
